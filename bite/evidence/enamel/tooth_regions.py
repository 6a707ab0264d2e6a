"""Enamel regions and edges built from clicked corners, for frames without a solved model.

With a solved model its rendered masks are better, and the caller passes those to the same measurements.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bite.evidence.clicks.tooth_row import ToothRow, tooth_row_from_corners
from bite.evidence.picture.luminance import Mask
from bite.files.corners import Corners
from bite.geometry.rigid import Array, frozen
from bite.geometry.teeth import LOWER_CENTRAL, UPPER_CENTRAL

CROWN_WIDTH_TO_HEIGHT = 0.845
"""Middle of the published means 0.81 to 0.88 for upper centrals (Nelson & Ash; Jordan photo study)."""
HEIGHT_SHARE = 0.6
"""Part of the upper crown to use, from the incisal edge up; the rest may lie under lip or gum; our choice."""
INSET_CROWNS = 0.08
"""Margin kept inside the clicked edge and sides: room for click errors and rounding (our choice)."""
_LOWER_SHOWN_MM = 3.0
"""Depth of the lower region. Lower crowns are 8 to 9 mm high; an overbite of 5 mm still leaves this much."""


@dataclass(frozen=True, slots=True)
class ToothRegions:
    """Polygons of enamel, px, and the lines where it may end in a step.

    Parameters
    ----------
    row : ToothRow
    upper_px : tuple of arrays, shape (4, 2), px
        One quadrilateral an upper central, or one for the piece between two corners.
    lower_px : array, shape (4, 2), px, or None
        None with fewer than two lower points at least half a lower crown apart.
    edges_px : array, shape (k, 2, 2), px
        Candidate segments (start, end): incisal edges, then tooth sides, of both rows.
    """

    row: ToothRow
    upper_px: tuple[Array, ...]
    lower_px: Array | None
    edges_px: Array

    def upper_mask(self, shape: tuple[int, int]) -> Mask:
        """Give the upper region as a mask over a picture of (height, width)."""
        return polygons_mask(self.upper_px, shape)

    def lower_mask(self, shape: tuple[int, int]) -> Mask:
        """Give the lower region as a mask over a picture of (height, width); empty where there is none."""
        return polygons_mask(() if self.lower_px is None else (self.lower_px,), shape)


def teeth_box_from_corners(
    corners: Corners,
    *,
    upper_shown_px: float | None = None,
    lower_shown_px: float | None = None,
) -> ToothRegions:
    """Build the enamel regions of the central incisors from the clicked corners.

    Parameters
    ----------
    corners : Corners
    upper_shown_px, lower_shown_px : float, optional
        Heights of bare enamel where measured (``reach.py``). The regions then end nine
        tenths of the way, so that a low lip is not taken for enamel. A lower one thinner than two margins is
        left out.

    Raises
    ------
    DegenerateGeometryError
        When the upper corners do not determine the row.
    """
    row = tooth_row_from_corners(corners)
    inset = INSET_CROWNS * row.crown_width_px
    height = HEIGHT_SHARE * row.crown_width_px / CROWN_WIDTH_TO_HEIGHT
    if upper_shown_px is not None:
        height = max(min(height, 0.9 * upper_shown_px), inset + 1.0)
    quads, edges = [], []
    for start, end in _crowns(row):
        side = np.array(row.across) * inset
        # the edge may slope against the row's axis, so the region starts along the edge, not along the axis
        quads.append(_quad(start + side, end - side, -row.down * inset, -row.down * height))
        edges.append((start + 2 * side, end - 2 * side))
    sides = [
        (place - row.down * 0.25 * height, place - row.down * height)
        for place in (row.upper_edge_px[0], row.upper_edge_px[-1])
    ]
    lower = _lower_quad(row, inset, lower_shown_px)
    if lower is not None:
        width = row.crown_width_px
        for place in (row.lower_edge_px[0], row.lower_edge_px[-1]):
            sides.append((place + row.down * 0.15 * width, place + row.down * 0.4 * width))
        if not row.lower_covered:
            edges.append(
                (row.lower_edge_px[0] + row.across * inset, row.lower_edge_px[-1] - row.across * inset)
            )
    return ToothRegions(
        row,
        tuple(frozen(q) for q in quads),
        None if lower is None else frozen(lower),
        frozen(np.array(edges + sides)),
    )


def polygons_mask(polygons: tuple[Array, ...], shape: tuple[int, int]) -> Mask:
    """Give the pixels whose centres lie inside any of some polygons (even-odd rule), cut at the picture.

    Examples
    --------
    >>> box = np.array([[0.5, 0.5], [2.5, 0.5], [2.5, 1.5], [0.5, 1.5]])
    >>> polygons_mask((box,), (3, 4)).astype(int).tolist()
    [[0, 0, 0, 0], [0, 1, 1, 0], [0, 0, 0, 0]]
    """
    mask = np.zeros(shape, bool)
    for polygon in polygons:
        low = np.clip(np.floor(polygon.min(0)).astype(int), 0, None)
        high = np.minimum(np.ceil(polygon.max(0)).astype(int) + 1, [shape[1], shape[0]])
        if (high <= low).any():
            continue
        x = np.arange(low[0], high[0])[None, :]
        y = np.arange(low[1], high[1])[:, None]
        inside = np.zeros((high[1] - low[1], high[0] - low[0]), bool)
        for (x0, y0), (x1, y1) in zip(polygon, np.roll(polygon, -1, 0), strict=True):
            if y0 == y1:
                continue
            crossed = (y0 > y) != (y1 > y)
            inside ^= crossed & (x < x0 + (y - y0) * (x1 - x0) / (y1 - y0))
        mask[low[1] : high[1], low[0] : high[0]] |= inside
    return mask


def _crowns(row: ToothRow) -> list[tuple[Array, Array]]:
    """Give the incisal edge of each upper central, or of the clicked piece, in row order."""
    points = row.upper_edge_px
    along = (points - points[0]) @ row.across / row.crown_width_px
    if along[-1] < 1.5:
        return [(points[0], points[-1])]
    inner = points[1:-1]
    middle = inner.mean(0) if len(inner) else 0.5 * (points[0] + points[-1])
    left = inner[0] if len(inner) else middle
    right = inner[-1] if len(inner) else middle
    return [(points[0], left), (right, points[-1])]


def _lower_quad(row: ToothRow, inset: float, shown_px: float | None) -> Array | None:
    points = row.lower_edge_px
    mm = row.crown_width_px / UPPER_CENTRAL.mean_mm
    if len(points) < 2:
        return None
    width = float((points[-1] - points[0]) @ row.across)
    if width < 0.5 * LOWER_CENTRAL.mean_mm * mm:
        return None
    side = np.array(row.across) * min(inset, 0.2 * width)
    # a covered point lies in the shadow that the upper edge throws, so start a little lower there
    start = (1.0 if row.lower_covered else 0.0) * mm + inset
    end = start + _LOWER_SHOWN_MM * mm
    if shown_px is not None:
        end = min(end, 0.9 * shown_px)
    if end - start < 2 * inset:
        return None
    return _quad(points[0] + side, points[-1] - side, row.down * start, row.down * end)


def _quad(start: Array, end: Array, near: Array, far: Array) -> Array:
    return np.array([start + near, end + near, end + far, start + far])
