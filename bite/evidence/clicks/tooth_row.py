"""Where the clicked incisors lie in the picture: axes, size, and how many mm a pixel stands for."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from itertools import combinations

import numpy as np

from bite.errors import DegenerateGeometryError
from bite.files.corners import Corners, CornerState
from bite.geometry.rigid import Array, frozen
from bite.geometry.teeth import LOWER_CENTRAL, LOWER_CORNERS, UPPER_CENTRAL, UPPER_CORNERS

_ABOVE = ("pronasale", "subnasale", "labrale_superius")
_BELOW = ("labrale_inferius", "pogonion")
_CROWN_EDGES = {
    "11d": 0.0,
    "11m": 1.0,
    "21m": 1.0,
    "21d": 2.0,
    "41d": 0.0,
    "41m": 1.0,
    "31m": 1.0,
    "31d": 2.0,
}
"""Place of each corner along its row, in crown widths; the two mesial angles touch."""


CLICK_PX = 1.0
"""Sd of a click where its file states none: common practice, no source."""
_ANGLE_INSIDE = 0.04
"""Relative sd, since rounded angles are clicked inside the crown's greatest width: an estimate, no source."""


class DownSource(StrEnum):
    """What told which side of the upper edge is down."""

    LANDMARKS = "landmarks"
    LOWER_ROW = "lower row"
    TOOTH_ORDER = "tooth order"


@dataclass(frozen=True, slots=True)
class PixelScale:
    """Millimetres a pixel stands for on the incisors, and where that comes from.

    ``sd_mm_per_px`` holds the clicks, the population's spread of crown widths, and that rounded angles are
    clicked inside the greatest width. A crown turned away looks narrower; that is not corrected.
    """

    mm_per_px: float
    sd_mm_per_px: float
    source: str


@dataclass(frozen=True, slots=True)
class ToothRow:
    """The upper central incisors in the picture.

    Parameters
    ----------
    across, down : array, shape (2,)
        Unit vectors, px: along the row from tooth 11 to tooth 21, and from the upper towards the lower teeth.
    upper_edge_px : array, shape (n, 2), px
        Usable upper corners in the order 11d 11m 21m 21d, two or more.
    lower_edge_px : array, shape (m, 2), px
        Usable lower corners (seen, unsure or covered) in the order 41d 41m 31m 31d; may be empty.
    lower_covered : bool
        Every lower point is only where a tooth's side disappears under the upper edge.
    crown_width_px : float
        Width of one upper central, px.
    down_from : DownSource
    mirrored : bool
        Tooth 11 stands where 21 should, judged by ``down``; never True when only the tooth order told what is
        down.
    """

    across: Array
    down: Array
    upper_edge_px: Array
    lower_edge_px: Array
    lower_covered: bool
    crown_width_px: float
    down_from: DownSource
    mirrored: bool


def usable_points(corners: Corners, codes: tuple[str, ...]) -> dict[str, Array]:
    """Give the positions of those corners that have one and are not hidden, px, in the order asked for."""
    found = {}
    for code in codes:
        point = corners.points.get(code)
        if point is None or point.state is CornerState.HIDDEN or point.x_px is None or point.y_px is None:
            continue
        found[code] = np.array([point.x_px, point.y_px])
    return found


def tooth_row_from_corners(corners: Corners) -> ToothRow:
    """Find the row's axes and crown width from clicked corners, for a picture rolled by any angle.

    The row runs along its farthest usable upper corners. Which side of it is down comes from landmarks, else
    from lower corners at least half a crown away from the edge, else from the rule that in an unmirrored
    picture tooth 11 stands on the left of 21 when the head is upright.

    Raises
    ------
    DegenerateGeometryError
        When fewer than two upper corners can be used or they coincide.
    """
    upper = {
        code: place
        for code, place in usable_points(corners, UPPER_CORNERS).items()
        if corners.points[code].state is not CornerState.COVERED
    }
    spread = [(abs(_CROWN_EDGES[b] - _CROWN_EDGES[a]), a, b) for a, b in combinations(upper, 2)]
    crowns, first, last = max(spread, default=(0.0, "", ""))
    if crowns == 0:
        raise DegenerateGeometryError(
            f"{len(upper)} usable upper corners in {corners.path}, needed two on one or both upper centrals, "
            "such as 11d and 21d"
        )
    span = upper[last] - upper[first]
    length = float(np.hypot(*span))
    if length < 2.0:
        raise DegenerateGeometryError(
            f"corners {first} and {last} are {length:.1f} px apart in {corners.path}"
        )
    across = span / length
    upper_points = np.array(list(upper.values()))
    lower = usable_points(corners, LOWER_CORNERS)
    lower_points = np.array(list(lower.values())).reshape(-1, 2)
    width = length / crowns
    by_order = np.array([-across[1], across[0]])
    down, source = by_order, DownSource.TOOTH_ORDER
    middle = upper_points.mean(0)
    sides = [
        sign * float((np.array([mark.x_px, mark.y_px]) - middle) @ by_order)
        for sign, names in ((-1.0, _ABOVE), (1.0, _BELOW))
        for name in names
        if (mark := corners.landmarks.get(name)) is not None
    ]
    drop = float((lower_points - middle).mean(0) @ by_order) if len(lower_points) else 0.0
    if sides:
        down, source = by_order * np.sign(sum(sides) or 1.0), DownSource.LANDMARKS
    elif abs(drop) > 0.5 * width:
        down, source = by_order * np.sign(drop), DownSource.LOWER_ROW
    return ToothRow(
        across=frozen(across),
        down=frozen(down),
        upper_edge_px=frozen(upper_points),
        lower_edge_px=frozen(lower_points),
        lower_covered=bool(lower) and all(corners.points[c].state is CornerState.COVERED for c in lower),
        crown_width_px=width,
        down_from=source,
        mirrored=bool(down @ by_order < 0),
    )


def mm_per_px_from_corners(corners: Corners) -> PixelScale:
    """Give mm per pixel on the incisors from the population's crown widths, when nothing better is known.

    Of all pairs of corners of a row the one with the smallest relative sd is used; averaging pairs would gain
    little, since teeth of one mouth are large or small together. Covered lower points are no corners and are
    left out.

    Parameters
    ----------
    corners : Corners

    Raises
    ------
    DegenerateGeometryError
        When no row has two usable corners.

    Notes
    -----
    Source: crown widths of ``bite.geometry.teeth`` (reference/crown_widths.toml); mean 8.6 mm, sd 0.6 mm, so
    about 7 %.
    """
    best: PixelScale | None = None
    for codes, crown in ((UPPER_CORNERS, UPPER_CENTRAL), (LOWER_CORNERS, LOWER_CENTRAL)):
        places = usable_points(corners, codes)
        places = {c: p for c, p in places.items() if corners.points[c].state is not CornerState.COVERED}
        for a, b in combinations(places, 2):
            crowns = abs(_CROWN_EDGES[b] - _CROWN_EDGES[a])
            length = float(np.hypot(*(places[b] - places[a])))
            if crowns == 0 or length < 2.0:
                continue
            click = np.hypot(_sigma_px(corners, a), _sigma_px(corners, b))
            relative = float(np.hypot(np.hypot(crown.sd_mm / crown.mean_mm, _ANGLE_INSIDE), click / length))
            scale = crowns * crown.mean_mm / length
            if best is None or relative < best.sd_mm_per_px / best.mm_per_px:
                best = PixelScale(scale, scale * relative, f"{a} to {b}, {crowns:.0f} x {crown.mean_mm:g} mm")
    if best is None:
        raise DegenerateGeometryError(
            f"no two usable corners of one row in {corners.path}: no mm per pixel without two of them"
        )
    return best


def _sigma_px(corners: Corners, code: str) -> float:
    point = corners.points[code]
    sigma = CLICK_PX if point.sigma_px is None else point.sigma_px
    return 3.0 * sigma if point.state is CornerState.UNSURE else sigma
