"""Where the solved lips end before enamel, as the reference view would see it: one scan line a column.

A rim counts only where it must lie on enamel: so near the incisal edges that no crown is short enough to show
its gum there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.evidence.teeth_in_view import TeethInView
from bite.fit.head import Head
from bite.geometry.rigid import Array
from bite.geometry.teeth import LOWER, LOWER_CORNERS, SKIN, UPPER, UPPER_CORNERS

SURELY_CROWN_MM = 6.0
"""Enamel reaches at least this far from the incisal edge: the shortest front crowns are 9 mm on average
(reference/crown_widths.toml); a third is left for wear, short crowns and the gum's points between teeth (our
choice)."""
ASIDE_MM = 14.0
"""Beyond the canines rows curve away and the corners of the mouth are dark (our choice)."""
_BEND = 4
"""A rim follows a polynomial of this degree, from which it takes its direction."""


@dataclass(frozen=True, slots=True)
class LipRim:
    """Scan lines across the rim of one solved lip.

    Parameters
    ----------
    origins_px, outward : array, shape (n, 2), pixels of the piece: where the rim is, and the unit direction
        from enamel to lip
    room_px : array, shape (n,), how far enamel reaches inward before the other lip or the dark
    along_mm : array, shape (n,), to the right from the middle of the teeth
    points_mm : array, shape (n, 3), of the solved skin there, in the reference frame
    face : array of int, shape (n,), the skin's face there
    """

    origins_px: Array
    outward: Array
    room_px: Array
    along_mm: Array
    points_mm: Array
    face: NDArray[np.int64]


def lip_rim(seen: TeethInView, head: Head, *, upper: bool) -> LipRim | None:
    """Find the rim of one solved lip before the front teeth; None where it lies on no enamel for sure.

    Parameters
    ----------
    seen : TeethInView, of the solved model as it was given
    head : Head, the same model
    upper : bool, which lip
    """
    low, high = seen.grid.camera.project(np.stack([head.centre_mm, head.centre_mm + head.up]))
    up_px = high - low
    # scan lines follow the columns of the piece, or its rows where the head lies on its side
    lying = bool(abs(up_px[0]) > abs(up_px[1]))
    part = seen.part.T if lying else seen.part
    toward_lip = int(np.sign(up_px[0 if lying else 1])) * (1 if upper else -1)
    tooth = (part == UPPER) | (part == LOWER)
    row, column = np.nonzero(tooth & (np.roll(part, -toward_lip, axis=0) == SKIN))
    inner = (row > 0) & (row < len(part) - 1)
    row, column = row[inner], column[inner]

    def swapped(first: NDArray[np.int64], second: NDArray[np.int64]) -> tuple[NDArray[np.int64], ...]:
        return (second, first) if lying else (first, second)

    on_tooth = _points(seen, *swapped(row, column))
    aside_mm = (on_tooth - head.centre_mm) @ head.right
    sure = _on_crown(head, on_tooth, part[row, column]) & (np.abs(aside_mm) < ASIDE_MM)
    row, column = row[sure], column[sure]
    if len(np.unique(column)) <= 2 * _BEND:
        return None
    on_skin = swapped(row + toward_lip, column)
    edge = np.asarray(row + 0.5 * toward_lip, np.float64)
    slope = _slope(column.astype(np.float64), edge)
    outward = np.column_stack([-toward_lip * slope, np.full(len(row), float(toward_lip))])
    outward /= np.linalg.norm(outward, axis=1)[:, None]
    origins = np.column_stack([column, edge])
    return LipRim(
        origins[:, ::-1] if lying else origins,
        outward[:, ::-1] if lying else outward,
        _room(tooth, row, column, -toward_lip),
        aside_mm[sure],
        _points(seen, *on_skin),
        seen.face[on_skin],
    )


def _points(seen: TeethInView, row: NDArray[np.int64], column: NDArray[np.int64]) -> Array:
    """Give the points that pixels see, shape (n, 3), in the reference frame."""
    rays = np.column_stack([seen.grid.slopes[row, column], np.ones(len(row))])
    local = rays * seen.depth_mm[row, column][:, None]
    return seen.grid.camera.camera_from_reference.inverse().apply(local)


def _on_crown(head: Head, on_tooth_mm: Array, part: NDArray[np.int8]) -> NDArray[np.bool_]:
    """Tell which points of teeth lie so near their row's incisal edges that they are enamel for sure."""
    sure = np.zeros(len(on_tooth_mm), dtype=bool)
    for label, codes, away in ((UPPER, UPPER_CORNERS, head.up), (LOWER, LOWER_CORNERS, -head.up)):
        edge = [head.corners[code] for code in codes if code in head.corners]
        if edge:
            beyond_mm = (on_tooth_mm - np.mean(edge, axis=0)) @ away
            sure |= (part == label) & (beyond_mm < SURELY_CROWN_MM)
    return sure


def _slope(x: Array, y: Array) -> Array:
    """Give the slope of a smooth curve through points."""
    middle, half = float(x.mean()), max(float(np.ptp(x)) / 2, 1.0)
    scaled = (x - middle) / half
    return np.asarray(np.polyval(np.polyder(np.polyfit(scaled, y, _BEND)), scaled) / half)


def _room(
    tooth: NDArray[np.bool_], row: NDArray[np.int64], column: NDArray[np.int64], step: int
) -> Array:
    """Count the tooth pixels in a row from some of them on, in steps up or down."""
    last = len(tooth) - 1
    going, at, count = np.ones(len(row), dtype=bool), row, np.full(len(row), 0.5)
    while going.any():
        at = at + step
        going &= (at >= 0) & (at <= last) & tooth[np.clip(at, 0, last), column]
        count += going
    return count
