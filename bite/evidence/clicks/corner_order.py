"""Are the clicked corners in the order that teeth stand in? Mirrored pictures, swapped sides, swapped rows.

The annotation window asks the same question while somebody clicks; the check refuses frames that fail it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from bite.errors import InputError
from bite.files.bundle import BiteFrame, LoadedView
from bite.files.corners import Corners, CornerState
from bite.fit.head import Head
from bite.geometry.rigid import Array, frozen
from bite.geometry.teeth import LOWER_CORNERS, UPPER_CORNERS, is_upper

_PLACE = {"11d": 0, "11m": 1, "21m": 1, "21d": 2, "41d": 0, "41m": 1, "31m": 1, "31d": 2}
_ABOVE, _BELOW = (
    ("pronasale", "subnasale", "labrale_superius"),
    ("labrale_inferius", "pogonion"),
)
_LEAST_DROP = 0.12
"""Rows nearer than this share of an upper crown do not tell which is below: clicks scatter by as much."""
_SEEN_REVERSE = 0.25
"""The same where only an upright row tells a reverse bite from a mirrored picture turned upside down."""
_DEEPEST_REVERSE = 0.8
"""Share of an upper crown by which a lower edge may stand above the upper one: 7 mm of reverse overlap."""


class CornerFault(StrEnum):
    """What is wrong with the order of the clicks."""

    MIRRORED = "mirrored picture"
    SIDES = "left and right swapped"
    ROWS = "rows swapped"


@dataclass(frozen=True, slots=True)
class CornerProblem:
    """One thing wrong with the order of the clicks: which corners, what was found, what to do."""

    fault: CornerFault
    corners: tuple[str, ...]
    what: str
    mend: str


@dataclass(frozen=True, slots=True)
class PictureAxes:
    """Directions in a picture, unit vectors, px: from tooth 11 to tooth 21, and from upper to lower teeth."""

    across: Array
    down: Array


def corner_problems(corners: Corners, *, axes: PictureAxes | None = None) -> tuple[CornerProblem, ...]:
    """Find what is wrong with the order of clicked corners.

    Right and left are told from the solved model's own axes where given; else from landmarks above and below
    the mouth; else from which row stands below the other, which holds however the picture is turned; else, in
    a row that runs clearly along the picture's width, from tooth 11 standing on the left.

    Parameters
    ----------
    corners : Corners
    axes : PictureAxes, optional
        Of the solved model, seen in the same view.

    Examples
    --------
    >>> from pathlib import Path
    >>> from bite.files.corners import CornerPoint
    >>> at = {"11d": 90.0, "21d": 10.0}
    >>> seen = {code: CornerPoint(CornerState.SEEN, x, 50.0) for code, x in at.items()}
    >>> corner_problems(Corners(Path("a.json"), "a.png", 100, 100, seen))[0].fault
    <CornerFault.MIRRORED: 'mirrored picture'>
    """
    points = _positions(corners)
    rows = {
        upper: {code: points[code] for code in codes if code in points}
        for upper, codes in ((True, UPPER_CORNERS), (False, LOWER_CORNERS))
    }
    across = {upper: _across(row) for upper, row in rows.items()}
    crown_px = _crown_px(rows)
    drop = None
    if rows[True] and rows[False]:
        drop = np.mean(list(rows[False].values()), axis=0) - np.mean(list(rows[True].values()), axis=0)
    reference = axes or _from_landmarks(corners, rows)
    swapped_widths = _rows_look_swapped(rows)
    upright = _from_picture(across)
    if reference is None and drop is not None and crown_px and not _reverse(corners, drop, crown_px, across):
        reference = _from_rows(across, drop, crown_px, swapped_widths)
    if reference is None:
        reference = upright
    if reference is None:
        return ()
    found: list[CornerProblem] = []
    opposed = {u: a is not None and float(a @ reference.across) < -0.3 for u, a in across.items()}
    if (opposed[True] and (opposed[False] or across[False] is None)) or (
        opposed[False] and across[True] is None
    ):
        codes = tuple(points)
        found.append(
            CornerProblem(
                CornerFault.MIRRORED,
                codes,
                f"the row runs the wrong way: {_order(rows)} stand in mirrored order",
                "use the unmirrored picture, or click again: tooth 11 is the performer's upper right and "
                "stands on "
                "the left of the picture",
            )
        )
    else:
        for upper, name in ((True, "upper"), (False, "lower")):
            if opposed[upper]:
                codes = tuple(rows[upper])
                found.append(
                    CornerProblem(
                        CornerFault.SIDES,
                        codes,
                        f"{codes[0]} and {codes[-1]} stand the wrong way round in the {name} row",
                        f"swap left and right of the {name} row: "
                        + ("11 is left of 21" if upper else "41 is left of 31"),
                    )
                )
    if drop is not None and crown_px:
        below = float(drop @ reference.down) / crown_px
        if below < -_DEEPEST_REVERSE or (below < -0.03 and swapped_widths):
            found.append(
                CornerProblem(
                    CornerFault.ROWS,
                    tuple(points),
                    f"the lower row stands {-below:.1f} crown widths above the upper one",
                    "swap the rows: 11 and 21 are the upper teeth, 41 and 31 the lower ones",
                )
            )
    return tuple(found)


def axes_in_view(head: Head, view: LoadedView) -> PictureAxes | None:
    """Project a solved model's right and down at its incisors into a view; None behind the camera."""
    tips = head.centre_mm + np.array([np.zeros(3), head.right, -head.up])
    pixels = view.camera.project(tips)
    steps = pixels[1:] - pixels[0]
    length = np.linalg.norm(steps, axis=1)
    if not (np.isfinite(pixels).all() and (length > 1e-6).all()):
        return None
    return PictureAxes(frozen(steps[0] / length[0]), frozen(steps[1] / length[1]))


def refuse_swapped_corners(frame: BiteFrame, head: Head | None) -> None:
    """Raise for the first view whose clicks are in an order that teeth never stand in.

    Raises
    ------
    InputError
    """
    for view in frame.views:
        if view.corners is None:
            continue
        axes = None if head is None else axes_in_view(head, view)
        for problem in corner_problems(view.corners, axes=axes):
            mend = problem.mend
            if axes is not None:
                mend += "; if the clicks are right, check [solved] axes and pose"
            raise InputError(view.corners.path, f"points ({problem.fault})", problem.what, mend)


def _positions(corners: Corners) -> dict[str, Array]:
    found = {}
    for code in (*UPPER_CORNERS, *LOWER_CORNERS):
        point = corners.points.get(code)
        if point is None or point.state is CornerState.HIDDEN or point.x_px is None or point.y_px is None:
            continue
        if point.state is CornerState.COVERED and is_upper(code):
            continue
        found[code] = np.array([point.x_px, point.y_px])
    return found


def _across(row: Mapping[str, Array]) -> Array | None:
    """Give the unit direction in which the corners of a row follow each other, 1x to 2x or 4x to 3x."""
    if len(row) < 2:
        return None
    place = np.array([_PLACE[code] for code in row], dtype=float)
    if np.ptp(place) == 0:
        return None
    centred = place - place.mean()
    step = centred @ np.array(list(row.values())) / (centred @ centred)
    length = float(np.hypot(*step))
    return np.asarray(step / length) if length > 1e-9 else None


def _spread(row: Mapping[str, Array]) -> tuple[float, float]:
    """Give crowns spanned and the px they take, by the outermost corners."""
    codes = sorted(row, key=lambda code: _PLACE[code])
    crowns = float(_PLACE[codes[-1]] - _PLACE[codes[0]])
    return crowns, float(np.hypot(*(row[codes[-1]] - row[codes[0]])))


def _crown_px(rows: Mapping[bool, Mapping[str, Array]]) -> float | None:
    for upper, share in ((True, 1.0), (False, 1.59)):
        if len(rows[upper]) >= 2:
            crowns, length = _spread(rows[upper])
            if crowns > 0 and length > 1e-9:
                return share * length / crowns
    return None


def _rows_look_swapped(rows: Mapping[bool, Mapping[str, Array]]) -> bool:
    """Tell whether the row called lower has the wider crowns; true ones are as 8.6 to 5.4 mm."""
    if len(rows[True]) < 2 or len(rows[False]) < 2:
        return False
    (upper_crowns, upper_px), (lower_crowns, lower_px) = _spread(rows[True]), _spread(rows[False])
    if not (upper_crowns and lower_crowns):
        return False
    return upper_px / upper_crowns < lower_px / lower_crowns


def _turned(down: Array) -> PictureAxes:
    down = down / np.hypot(*down)
    return PictureAxes(frozen([down[1], -down[0]]), frozen(down))


def _from_landmarks(corners: Corners, rows: Mapping[bool, Mapping[str, Array]]) -> PictureAxes | None:
    marks = corners.landmarks
    teeth = [*rows[True].values(), *rows[False].values()]
    if not teeth:
        return None
    middle = np.mean(teeth, axis=0)
    steps = [
        sign * (np.array([marks[name].x_px, marks[name].y_px]) - middle)
        for sign, names in ((-1.0, _ABOVE), (1.0, _BELOW))
        for name in names
        if name in marks
    ]
    return _turned(np.sum(steps, axis=0)) if steps and np.hypot(*np.sum(steps, axis=0)) > 1e-9 else None


def _from_rows(
    across: Mapping[bool, Array | None], drop: Array, crown_px: float, swapped_widths: bool
) -> PictureAxes | None:
    along = across[True] if across[True] is not None else across[False]
    if along is None:
        return None
    side = np.array([-along[1], along[0]])
    fall = float(drop @ side)
    if abs(fall) < _LEAST_DROP * crown_px:
        return None
    return _turned(side * np.sign(fall) * (-1.0 if swapped_widths else 1.0))


def _reverse(corners: Corners, drop: Array, crown_px: float, across: Mapping[bool, Array | None]) -> bool:
    """Tell a reverse bite from a mirrored picture: both have the lower row above the upper one.

    In a reverse bite of an upright picture tooth 11 stands on the left all the same, and the lower edges
    are seen, for they stand in front. A mirrored picture turned upside down looks alike: it is the rarer of
    the two.
    """
    upright = [a is None or (a[0] > 2.0 * abs(a[1])) for a in across.values()]
    seen = [
        code
        for code in LOWER_CORNERS
        if (point := corners.points.get(code)) is not None
        and point.state in (CornerState.SEEN, CornerState.UNSURE)
    ]
    return all(upright) and bool(seen) and -_SEEN_REVERSE * crown_px < float(drop[1]) < 0.0


def _from_picture(across: Mapping[bool, Array | None]) -> PictureAxes | None:
    known = [a for a in across.values() if a is not None]
    if known and all(abs(a[0]) > 2.0 * abs(a[1]) for a in known):
        return PictureAxes(frozen([1.0, 0.0]), frozen([0.0, 1.0]))
    return None


def _order(rows: Mapping[bool, Mapping[str, Array]]) -> str:
    return ", ".join(code for row in rows.values() for code in row)
