"""The incisal angle near a click, from the edge and the side of its tooth; or a reason why not.

Corner detectors that look at a small window are drawn to the neighbouring tooth or the glint beside it. Here
two lines are fitted over a third of a crown each, the incisal edge as a step in brightness, the side as the
dark line between two crowns or as a step, and the place between them is where the rounded angle's own outline
crosses their bisector. Anything that does not look like that is refused.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from bite.evidence.enamel.tooth_outline import STEP_PX, angle_back_px, edge_line, meeting_of, side_line
from bite.evidence.picture.luminance import Picture, luminance
from bite.evidence.picture.scan_lines import sample_lines
from bite.files.corners import CornerPoint, CornerState
from bite.geometry.rigid import Array
from bite.geometry.teeth import LOWER_CENTRAL, UPPER_CENTRAL, is_upper, mirrored

FARTHEST_SHARE = 0.13
"""A corner is looked for within this share of a crown's width around the click."""
LARGEST_SPREAD_SHARE = 0.02
"""The lines' own spread may be this share of a crown's width, 0.17 mm on an upper incisor (our choice)."""
MODEL_SHARE = 0.03
"""Error that repeating does not show, share of a crown's width per axis, 0.26 mm. With half of it, which
sufficed on computed heads, a quarter of 87 offers on 22 photographed mouths lay over 3 sd from a careful
click."""
_ROUNDING = {True: (-0.03, 0.11), False: (-0.03, 0.065)}
"""How far inside the meeting point a distal (True) or mesial angle's outline may lie, shares of a crown's
width: an angle of radius r lies 0.41 r inside, and distal ones are rounder."""
_ROUNDING_SD = {True: 0.06, False: 0.05}
"""Where the outline itself cannot be told, the middle of that range is taken, with this sd per axis, share of
a crown's width: twice that of anything in the range, since with that alone 2.4 % of the offers on
photographs lay over 3 sd from a careful click (``python -m tests.bench.real_snap``)."""
_BLOCKS = 6
"""Stretches of edge and side that are left out in turn to learn the sd of the corner."""
_UNCLEAR = "only part of the angle can be told from what lies behind it"
_SMALLEST_CROWN_PX = 12.0
"""The least width of a crown that can be clicked at all; as in the check `resolved`."""
_LEAST_SIGNAL = 5.0
"""Step of an edge over its own noise below which it is not clear (our choice)."""


@dataclass(frozen=True, slots=True)
class Snap:
    """A place offered for a corner.

    Parameters
    ----------
    place_px : (x, y), px
    meeting_px : (x, y), where the fitted edge and side themselves meet, px: outside a rounded angle
    moved_px : float, distance from the click
    sd_px : float, 1 sd per axis: from leaving out parts of both lines in turn, and `MODEL_SHARE`
    """

    place_px: tuple[float, float]
    meeting_px: tuple[float, float]
    moved_px: float
    sd_px: float


@dataclass(frozen=True, slots=True)
class NoSnap:
    """Why no place is offered, in words for the person who asked."""

    why: str


def snap_corner(picture: Picture, points: Mapping[str, CornerPoint], name: str) -> Snap | NoSnap:
    """Fit edge and side around a clicked corner.

    Parameters
    ----------
    picture : array, shape (h, w, 3), uint8, RGB
    points : the clicks of this picture; another corner of the same row tells size and direction
    name : str, the corner
    """
    point = points.get(name)
    if point is None or point.x_px is None or point.y_px is None:
        return NoSnap("it is not clicked yet")
    if point.state not in (CornerState.SEEN, CornerState.UNSURE):
        return NoSnap(f"a {point.state} corner has no angle to be seen")
    if not is_upper(name):
        # on 12 computed heads it was offered five times and was then 1 px off, the clicks 0.5 px
        return NoSnap("on lower teeth the fit has not been seen to beat a careful click")
    frame = _tooth_frame(points, name)
    if isinstance(frame, NoSnap):
        return frame
    across, crown_px = frame
    if crown_px < _SMALLEST_CROWN_PX:
        return NoSnap(
            f"the crown is {crown_px:.0f} px wide, too small to fit (needed {_SMALLEST_CROWN_PX:.0f})"
        )
    click = np.array([point.x_px, point.y_px])
    # into the tooth along the row, and out of its edge
    inward = across if name in ("11d", "21m") else -across
    outward = np.array([-across[1], across[0]])
    cut, origin = _cut_out(picture, click, crown_px)
    found = _fit(cut, click - origin, inward, outward, crown_px, distal=name.endswith("d"))
    if isinstance(found, NoSnap):
        return found
    place, meeting, sd, rounding_px = found
    moved = float(np.hypot(*(place + origin - click)))
    reach = FARTHEST_SHARE * crown_px
    if moved > reach:
        return NoSnap(
            f"edge and side meet {moved:.1f} px away, more than the {reach:.1f} px that are searched"
        )
    if not sd <= LARGEST_SPREAD_SHARE * crown_px:
        most = LARGEST_SPREAD_SHARE * crown_px
        return NoSnap(f"edge and side are too uncertain here (spread {sd:.2f} px, needed {most:.2f})")
    x, y = (float(v) for v in place + origin)
    mx, my = (float(v) for v in meeting + origin)
    return Snap((x, y), (mx, my), moved, float(np.linalg.norm([sd, rounding_px, MODEL_SHARE * crown_px])))


def _tooth_frame(points: Mapping[str, CornerPoint], name: str) -> tuple[Array, float] | NoSnap:
    """Give the direction from tooth 11 to 21 and the width of one crown, px, from another click."""
    places = {
        code: np.array([p.x_px, p.y_px])
        for code, p in points.items()
        if p.x_px is not None and p.y_px is not None and p.state is not CornerState.HIDDEN
    }
    for a, b, crowns in (
        ("11d", "21d", 2.0),
        ("11d", "11m", 1.0),
        ("21m", "21d", 1.0),
        # the lower row tells size and direction through the published widths
        ("41d", "31d", 2.0 * LOWER_CENTRAL.mean_mm / UPPER_CENTRAL.mean_mm),
    ):
        if a in places and b in places:
            step = places[b] - places[a]
            length = float(np.hypot(*step))
            if length > 0:
                return step / length, length / crowns
    return NoSnap(f"click {mirrored(name)} too: the distance between them tells how large the teeth are")


def _cut_out(picture: Picture, click: Array, crown_px: float) -> tuple[Array, Array]:
    """Give the luminance around a click and where its top left pixel lies."""
    reach = int(np.ceil(1.0 * crown_px)) + 16
    x, y = (round(float(v)) for v in click)
    left, top = max(0, x - reach), max(0, y - reach)
    part = picture[top : y + reach + 1, left : x + reach + 1]
    return luminance(np.ascontiguousarray(part)), np.array([float(left), float(top)])


def _fit(
    plane: Array, click: Array, inward: Array, outward: Array, crown_px: float, *, distal: bool
) -> tuple[Array, Array, float, float] | NoSnap:
    """Give the angle, the meeting point and the sds per axis of the lines and of the rounding, all px."""
    reach = FARTHEST_SHARE * crown_px
    offsets = np.arange(-reach - 3.0, reach + 3.0 + 1e-9, STEP_PX)
    edge_along = np.linspace(0.22, 0.62, 4 * _BLOCKS) * crown_px
    side_along = np.linspace(0.12, 0.45, 4 * _BLOCKS) * crown_px
    edge_lines = sample_lines(
        plane, click + inward * edge_along[:, None], np.repeat(outward[None], len(edge_along), 0), offsets
    )
    side_lines = sample_lines(
        plane, click - outward * side_along[:, None], np.repeat(-inward[None], len(side_along), 0), offsets
    )
    if not (np.isfinite(edge_lines).all() and np.isfinite(side_lines).all()):
        return NoSnap("the tooth reaches out of the picture here")
    every = np.ones(len(edge_along), bool)
    edge = edge_line(edge_lines, edge_along, offsets, every, reach)
    if edge.signal < _LEAST_SIGNAL:
        return NoSnap(f"no clear incisal edge here (signal {edge.signal:.1f}, needed {_LEAST_SIGNAL:g})")
    side = side_line(side_lines, side_along, offsets, every, reach)
    if side.signal < _LEAST_SIGNAL:
        return NoSnap(f"no clear side of the tooth here (signal {side.signal:.1f}, needed {_LEAST_SIGNAL:g})")
    least, most = _ROUNDING[distal]
    usual_px, rounding_px = 0.5 * (least + most) * crown_px, 0.0
    meeting, inside = meeting_of(click, inward, outward, edge, side)
    back_px = angle_back_px(plane, meeting, inside, crown_px)
    seen = back_px is not None
    if back_px is None:
        # a neighbour or the other row, as bright as the tooth, lies behind its angle
        back_px, rounding_px = usual_px, _ROUNDING_SD[distal] * crown_px
    if not least <= back_px / crown_px <= most:
        return NoSnap(f"the outline lies {back_px:.1f} px inside edge and side, which no such angle does")
    block = np.sort(np.arange(len(edge_along)) % _BLOCKS)
    parts = []
    for k in range(_BLOCKS):
        part_edge = edge_line(edge_lines, edge_along, offsets, block != k, reach, near=edge)
        part_side = side_line(side_lines, side_along, offsets, block != k, reach, near=side)
        part_meeting, part_inside = meeting_of(click, inward, outward, part_edge, part_side)
        part_px = angle_back_px(plane, part_meeting, part_inside, crown_px) if seen else usual_px
        if part_px is None:
            return NoSnap(_UNCLEAR)
        parts.append(part_meeting + part_px * part_inside)
    spread = np.array(parts) - np.mean(parts, axis=0)
    variance = (_BLOCKS - 1) / _BLOCKS * (spread**2).sum(0)
    return meeting + back_px * inside, meeting, float(np.sqrt(variance.mean())), rounding_px
