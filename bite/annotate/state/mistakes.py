"""Clicks that cannot be right as they stand: said at once, never put right behind the clicker's back."""

from __future__ import annotations

from itertools import combinations
from math import hypot
from pathlib import Path

from bite.annotate.state.answer import Answer
from bite.annotate.state.clicks import ViewClicks
from bite.annotate.state.desk import PictureSize
from bite.evidence.clicks.corner_order import CornerFault, PictureAxes, corner_problems
from bite.files.corners import Corners
from bite.geometry.teeth import CORNERS, LOWER_CENTRAL, UPPER_CENTRAL, CrownWidth

_ALONG = 2.0
"""A row runs along the picture where it goes this many times farther across than down (our choice)."""
_SAME_PLACE_PX = 0.05
"""Two clicks nearer than this are one and the same: the finest nudge is 0.1 px (our choice)."""
_ROWS = (("upper", ("11d", "21d"), UPPER_CENTRAL), ("lower", ("41d", "31d"), LOWER_CENTRAL))
_MOST_SD = 4.0
"""Two central crowns this many sd from the published mean are somebody's, but rarely: said as a question."""
_LOWER_SHARE = (0.40, 0.92)
"""Lower over upper width of the two centrals together: 10.8 / 17.2 = 0.63 by the published means, with room
for perspective, a turned tooth and clicks (our choice)."""


def mistakes_in(
    clicks: ViewClicks,
    picture: PictureSize,
    *,
    axes: PictureAxes | None = None,
    px_per_mm: float | None = None,
) -> tuple[str, ...]:
    """Say in a sentence what speaks against the clicks of one picture; empty when nothing does.

    One at a time: rows that are swapped also look mirrored, and two names for one slip send people two ways.

    Parameters
    ----------
    clicks : ViewClicks
    picture : PictureSize
    axes : PictureAxes, optional
        Right and down of the solved model in this view: a mirrored picture then shows whatever way it is
        turned.
    px_per_mm : float, optional
        On the teeth: crown widths are then held against published ones.
    """
    corners = Corners(
        Path(), picture.name, picture.width_px, picture.height_px, clicks.points, clicks.landmarks
    )
    told = (*_order(corners, axes), *_same_places(clicks), *_widths(clicks, px_per_mm))
    return told[:1]


def _order(corners: Corners, axes: PictureAxes | None) -> list[str]:
    """Say what is wrong with the order of the corners, the likeliest first.

    Without a model the order alone allows a picture that hangs upside down. This window asks for corners by
    their side in an upright picture, so that a slip is likelier: a row from left to right below its partner
    means swapped rows, and one from right to left means mirrored clicks.
    """
    problems = corner_problems(corners, axes=axes)
    known = axes is not None or bool(corners.landmarks)
    way = None if known else _way_along_picture(corners)
    if way == -1 and not problems:
        return [
            "mirrored picture? 11 stands right of 21: in an upright picture, not mirrored, it stands left"
        ]
    found = [(p.fault, f"{p.fault}? {p.what}: {p.mend}") for p in problems]
    if way == 1 and any(fault is CornerFault.MIRRORED for fault, _ in found):
        return [
            "rows swapped? the corners called lower stand above the upper ones: 11 and 21 are the upper "
            "teeth, 41 and 31 the lower ones"
        ]
    rows = [text for fault, text in found if fault is CornerFault.ROWS]
    return rows + [text for fault, text in found if fault is not CornerFault.ROWS]


def _way_along_picture(corners: Corners) -> int | None:
    """Tell whether all rows run from left to right (1) or right to left (-1); None where they do not say."""
    ways = set()
    for _, (right, left), _ in _ROWS:
        a, b = corners.points.get(right), corners.points.get(left)
        if a is None or b is None or None in (a.x_px, a.y_px, b.x_px, b.y_px):
            continue
        dx, dy = float(b.x_px or 0) - float(a.x_px or 0), float(b.y_px or 0) - float(a.y_px or 0)
        ways.add(0 if abs(dx) <= _ALONG * abs(dy) else 1 if dx > 0 else -1)
    return ways.pop() if len(ways) == 1 and 0 not in ways else None


def _same_places(clicks: ViewClicks) -> list[str]:
    places = clicks.places
    return [
        f"{a} and {b} are on the same spot: one of them is meant for another corner"
        for a, b in combinations([code for code in CORNERS if code in places], 2)
        if hypot(places[a][0] - places[b][0], places[a][1] - places[b][1]) < _SAME_PLACE_PX
    ]


def _widths(clicks: ViewClicks, px_per_mm: float | None) -> list[str]:
    places, spans, found = clicks.places, {}, []
    for row, (right, left), crown in _ROWS:
        if right not in places or left not in places:
            continue
        spans[row] = hypot(places[left][0] - places[right][0], places[left][1] - places[right][1])
        if px_per_mm is not None:
            found += _width_told(row, right, left, spans[row] / px_per_mm, crown)
    if len(spans) == 2 and spans["upper"] > 0:
        share = spans["lower"] / spans["upper"]
        if not _LOWER_SHARE[0] <= share <= _LOWER_SHARE[1]:
            wide = share > _LOWER_SHARE[1]
            found.append(
                f"41d to 31d is {share:.2f} times 11d to 21d, teeth have about 0.63: are "
                + (
                    "41d and 31d on the teeth one farther out?"
                    if wide
                    else "11d and 21d on the teeth one farther out?"
                )
            )
    return found


def _width_told(row: str, right: str, left: str, width_mm: float, crown: CrownWidth) -> list[str]:
    mean, sd = 2.0 * crown.mean_mm, 2.0 * crown.sd_mm
    if abs(width_mm - mean) <= _MOST_SD * sd:
        return []
    return [
        f"{right} to {left} is {width_mm:.1f} mm, two {row} front teeth have about {mean:.1f} mm: "
        "is each on the outer corner of a middle tooth?"
    ]


class MistakeWatch:
    """Looks at the clicks once for each change, with whatever the last answer knows of axes and scale."""

    def __init__(self) -> None:
        self._seen: tuple[ViewClicks, Answer | None] | None = None
        self._told: tuple[str, ...] = ()

    def mistakes(self, clicks: ViewClicks, picture: PictureSize, answer: Answer | None) -> tuple[str, ...]:
        """Give what speaks against the clicks of a picture."""
        if self._seen is None or self._seen[0] is not clicks or self._seen[1] is not answer:
            axes = None if answer is None else answer.axes.get(picture.name)
            scale = None if answer is None else answer.px_per_mm.get(picture.name)
            self._told = mistakes_in(clicks, picture, axes=axes, px_per_mm=scale)
            self._seen = (clicks, answer)
        return self._told
