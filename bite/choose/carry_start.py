"""The clicked frame of a take as the start of carrying: its corners, and what of the rows can be followed."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from bite.choose.row_match import Piece, features_in, piece_around
from bite.evidence.clicks.tooth_row import (
    ToothRow,
    mm_per_px_from_corners,
    tooth_row_from_corners,
    usable_points,
)
from bite.evidence.enamel.area import enamel_area
from bite.evidence.enamel.reach import ENAMEL_LIGHT
from bite.evidence.enamel.tooth_regions import polygons_mask
from bite.evidence.picture.luminance import Picture
from bite.files.corners import Corners, CornerState
from bite.geometry.rigid import Array, frozen
from bite.geometry.teeth import LOWER_CORNERS, UPPER_CORNERS

_SHADED_LIGHT = 0.35
"""Lower teeth stand in the shadow of the upper ones: the level at which they are still told from the dark."""
_RIM_CROWNS, _LIP_CROWNS = 0.06, 0.15
"""Kept off a row's own rim, and off the lip, in crown widths: edges there belong to what moves otherwise
(our choice)."""


@dataclass(frozen=True, slots=True)
class Anchor:
    """The clicked frame.

    Parameters
    ----------
    corners : Corners
    crown_px : float, width of an upper central incisor
    middle_px, low_middle_px : array, shape (2,), of the upper edge, and half a crown below the lower one
    down : array, shape (2,), unit vector from the upper to the lower teeth
    piece : Piece, the picture around the teeth
    core : array of bool, the size of the piece: upper teeth to be told again by
    upper_px, lower_px : array, shape (n, 2), px, features of the rows; the lower one is empty where no lower
        corner was seen, since nothing then moves with it
    """

    corners: Corners
    crown_px: float
    middle_px: Array
    low_middle_px: Array
    down: Array
    piece: Piece
    core: NDArray[np.bool_]
    upper_px: Array
    lower_px: Array


def anchor_of(image: Picture, corners: Corners) -> Anchor:
    """Look at the clicked frame.

    Raises
    ------
    DegenerateGeometryError
        When the upper corners do not determine the row.
    """
    row = tooth_row_from_corners(corners)
    crown, across, down = row.crown_width_px, row.across, row.down
    middle = row.upper_edge_px.mean(0)
    piece = piece_around(grey(image), middle, crown)
    shape = (piece.plane.shape[0], piece.plane.shape[1])

    def box(aside: float, above: float, below: float, centre: Array) -> NDArray[np.bool_]:
        corner = centre - piece.origin
        quad = np.array(
            [
                corner + crown * (sign * aside * across + height * down)
                for sign, height in ((-1, above), (1, above), (1, below), (-1, below))
            ]
        )
        return polygons_mask((quad,), shape)

    low = row.lower_edge_px.mean(0) if len(row.lower_edge_px) else middle
    up_teeth = _away_from_lip(_teeth(image, corners, row, piece, ENAMEL_LIGHT), -down, _LIP_CROWNS * crown)
    low_teeth = _away_from_lip(
        _teeth(image, corners, row, piece, _SHADED_LIGHT), np.array(down), _LIP_CROWNS * crown
    )
    upper_px = features_in(piece, box(2.6, -1.2, 0.12, middle) & up_teeth, crown)
    own = np.array(list(usable_points(corners, UPPER_CORNERS).values())).reshape(-1, 2)
    lower_px = np.zeros((0, 2))
    if any(corners.points[c].state is not CornerState.COVERED for c in usable_points(corners, LOWER_CORNERS)):
        lower_px = features_in(piece, box(2.2, 0.22, 1.1, low) & low_teeth, crown)
    return Anchor(
        corners, crown, frozen(middle), frozen(low + 0.5 * crown * down), frozen(np.array(down)), piece,
        box(1.6, -1.2, 0.08, middle) & up_teeth, frozen(np.concatenate([own, upper_px])),
        frozen(lower_px),
    )  # fmt: skip


def _teeth(
    image: Picture, corners: Corners, row: ToothRow, piece: Piece, least_light: float
) -> NDArray[np.bool_]:
    """Give bare enamel in a piece, gaps between teeth closed: lips do not move with the teeth."""
    import cv2

    side = piece.plane.shape[0]
    low = np.array([piece.left, piece.top])
    size = np.array(image.shape[1::-1])
    start, end = np.clip(low, 0, size - 1), np.clip(low + side, 1, size)
    cut = image[start[1] : end[1], start[0] : end[0]]
    local = replace(
        row,
        upper_edge_px=frozen(row.upper_edge_px - start),
        lower_edge_px=frozen(row.lower_edge_px - start),
    )
    scale = mm_per_px_from_corners(corners).mm_per_px
    found = enamel_area(cut, local, mm_per_px=scale, least_light=least_light)
    teeth = np.zeros((side, side), dtype=bool)
    if found is None:
        return teeth
    rim = np.ones((2 * max(1, round(_RIM_CROWNS * row.crown_width_px)) + 1,) * 2, np.uint8)
    whole = cv2.morphologyEx(found.mask.astype(np.uint8), cv2.MORPH_CLOSE, rim)
    at = start - low
    teeth[at[1] : at[1] + whole.shape[0], at[0] : at[0] + whole.shape[1]] = whole.astype(bool)
    return teeth


def _away_from_lip(teeth: NDArray[np.bool_], towards_lip: Array, least_px: float) -> NDArray[np.bool_]:
    """Leave out what lies nearer to a lip than ``least_px``: the lip would be followed, not the tooth."""
    x, y = np.rint(-least_px * towards_lip).astype(int)
    return teeth & np.roll(teeth, (y, x), axis=(0, 1))


def grey(image: Picture) -> NDArray[np.uint8]:
    """Give the grey of a picture as whole levels; fast, since whole frames pass through it."""
    import cv2

    return np.asarray(cv2.cvtColor(image, cv2.COLOR_RGB2GRAY), dtype=np.uint8)
