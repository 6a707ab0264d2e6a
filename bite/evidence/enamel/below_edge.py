"""What the picture shows below the upper incisal edge: lower enamel, a lip, or the dark of an open mouth.

One reading a frame, from which every check takes its words. A dark valley below the edge has a width and a
depth whatever stands on its other side; a shadow line that follows the upper edge of closed teeth is thin
or faint, an open mouth is wide and nearly black. That needs luminance alone, so that it reads the same in a
grey picture. Lower enamel is told from lip by colour as well: in a grey picture the two look alike, and
nothing is said about it.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from bite.evidence.enamel.below_lines import LineKind, enamel_shown, line_kinds
from bite.evidence.enamel.valley import find_valleys
from bite.evidence.picture.luminance import Picture, check_picture, cie_lab, is_gray, luminance
from bite.evidence.picture.scan_lines import along_segment, sample_lines
from bite.geometry.rigid import Array, frozen

MOST, SHOWS = 0.5, 0.4
"""Share of the scan lines that must be open, or show lower enamel (our choice)."""
FEWEST = 5
"""Fewer scan lines are a corner of a tooth (our choice)."""
_INSIDE_MM, _REACH_MM, _STEP_PX = 3.0, 10.0, 0.25
"""From inside the shortest strip of enamel to below a lip or a wide opening; four samples a pixel lose
nothing of it."""
_LEAST_REACH_MM = 2.5
"""A picture that ends sooner below the edge does not hold what follows it (our choice)."""
_BLUR_SD_PX = 0.3
"""How well the blur of the picture's edges is known, px (our choice)."""
_CORRELATED_MM = 1.0
"""Nearer scan lines see the same piece of tooth: the effective count is the width over this (our choice)."""


class Below(StrEnum):
    """What follows the upper edge."""

    ENAMEL = "lower enamel"
    """At once, or after a thin shadow line."""
    APART = "an opening"
    DOUBT = "a dark band that may be shadow or a small opening"
    UNSEEN = "no lower enamel"
    """A lip, or enamel too dim to be told from one."""
    NOT_READ = "nothing that could be read"


@dataclass(frozen=True, slots=True)
class BelowEdge:
    """The reading, over scan lines one px apart.

    Parameters
    ----------
    kind : Below
    origins_px : array, shape (n, 2), px, where each scan line crosses the clicked edge
    lines : array of int, shape (n,), LineKind values
    band_mm, band_sd_mm : float or None
        Width of the dark valley on the lines of this kind, blur taken out, and its sd: scatter, blur and
        scale. None without a valley.
    darkness : float or None, luminance of the valley's bottom as a share of the upper enamel's
    shown_mm, shown_sd_mm : float or None
        Height of lower enamel below the edge or its shadow line; None where it is not what follows.
    share : float, of the read lines that show this kind
    colour_used : bool
    lines_read : int
    shown_to_end : bool, most scan lines were on lower enamel to their end: at least so much shows
    """

    kind: Below
    origins_px: Array
    lines: NDArray[np.int64]
    band_mm: float | None
    band_sd_mm: float | None
    darkness: float | None
    shown_mm: float | None
    shown_sd_mm: float | None
    share: float
    colour_used: bool
    lines_read: int
    shown_to_end: bool


def read_below_edge(
    picture: Picture,
    upper_edge_px: Array,
    *,
    down: tuple[float, float] | Array,
    mm_per_px: float,
    mm_per_px_sd: float = 0.0,
    blur_sigma_px: float = 1.0,
    reach_mm: float = _REACH_MM,
) -> BelowEdge:
    """Scan from inside the upper crowns downwards.

    Parameters
    ----------
    picture : array, shape (h, w, 3), uint8, RGB
    upper_edge_px : array, shape (n, 2), px
        Upper corners in row order, two or more (``ToothRow.upper_edge_px``).
    down : pair of floats, direction from the upper to the lower teeth (``ToothRow.down``)
    mm_per_px, mm_per_px_sd : float
    blur_sigma_px : float, px, sd of the picture's edges, taken out of the valley's width
    reach_mm : float, how far below the edge is looked

    Raises
    ------
    ValueError
        When fewer than two edge points are given or the scale is not positive.
    """
    check_picture(picture)
    edge = np.asarray(upper_edge_px, float).reshape(-1, 2)
    if len(edge) < 2 or not mm_per_px > 0:
        raise ValueError(
            f"got {len(edge)} edge points at {mm_per_px} mm per px, needed 2 or more and a scale"
        )
    direction = np.asarray(down, float) / np.hypot(*down)
    origins = _origins(edge)
    clear_mm = max(0.0, blur_sigma_px * mm_per_px - 0.3)
    inside_px = (_INSIDE_MM + 2 * clear_mm) / mm_per_px
    distances = np.arange(-inside_px, reach_mm / mm_per_px, _STEP_PX)
    box, offset = _box(picture, origins, direction, distances)
    directions = np.tile(direction, (len(origins), 1))
    light = _calmed(sample_lines(luminance(box), origins - offset, directions, distances))
    colour = not is_gray(box)
    redness = None
    if colour:
        redness = _calmed(sample_lines(cie_lab(box)[..., 1], origins - offset, directions, distances))
    # a picture that ends sooner is read as far as it goes
    kept = int(np.argmin(np.append(np.isfinite(light).mean(0) >= 0.9, False)))
    light, redness = light[:, :kept], None if redness is None else redness[:, :kept]
    mm = distances[:kept] * mm_per_px
    if kept < 2 or mm[-1] < _LEAST_REACH_MM:
        return _nothing(origins, colour)
    valleys = find_valleys(light, mm, blur_mm=blur_sigma_px * mm_per_px, clear_mm=clear_mm)
    shown = enamel_shown(light, redness, mm, valleys, clear_mm)
    kinds = line_kinds(valleys, shown)
    read = int(valleys.read.sum())
    kind, own = _frame_kind(kinds, read)
    independent = max(
        1.0, min(float(read), float(np.hypot(*np.diff(edge, axis=0).T).sum()) * mm_per_px / _CORRELATED_MM)
    )
    relative = mm_per_px_sd / mm_per_px
    wide = own & valleys.found & np.isfinite(valleys.width_mm)
    band = _median(valleys.width_mm[wide], independent, relative, 0.5 * _BLUR_SD_PX * mm_per_px)
    tall = own & np.isfinite(shown) & (shown > 0)
    height = _median(shown[tall], independent, relative, _STEP_PX * mm_per_px)
    return BelowEdge(
        kind=kind,
        origins_px=frozen(origins),
        lines=kinds,
        band_mm=None if band is None else band[0],
        band_sd_mm=None if band is None else band[1],
        darkness=float(np.median(valleys.bottom[wide])) if wide.any() else None,
        shown_mm=height[0] if height is not None and kind is Below.ENAMEL else None,
        shown_sd_mm=height[1] if height is not None and kind is Below.ENAMEL else None,
        share=float(own.sum()) / read if read else 0.0,
        colour_used=colour,
        lines_read=read,
        shown_to_end=bool(tall.any() and np.median((valleys.end_mm + shown)[tall]) >= mm[-1] - 0.2),
    )


def _nothing(origins: Array, colour: bool) -> BelowEdge:
    lines = np.zeros(len(origins), np.int64)
    return BelowEdge(
        Below.NOT_READ, frozen(origins), lines, None, None, None, None, None, 0.0, colour, 0, False
    )


def _frame_kind(kinds: NDArray[np.int64], read: int) -> tuple[Below, NDArray[np.bool_]]:
    """Give the frame's reading, and the lines that show it."""
    share = {kind: float((kinds == kind).sum()) / max(read, 1) for kind in LineKind}
    if read < FEWEST:
        return Below.NOT_READ, np.zeros(len(kinds), bool)
    if share[LineKind.APART] > MOST:
        return Below.APART, kinds == LineKind.APART
    if share[LineKind.APART] + share[LineKind.DOUBT] > MOST:
        return Below.DOUBT, (kinds == LineKind.APART) | (kinds == LineKind.DOUBT)
    if share[LineKind.ENAMEL] > SHOWS:
        return Below.ENAMEL, kinds == LineKind.ENAMEL
    return Below.UNSEEN, kinds == LineKind.UNSEEN


def _median(
    values: Array, independent: float, relative: float, apart_mm: float
) -> tuple[float, float] | None:
    if not len(values):
        return None
    middle = float(np.median(values))
    scatter = 1.2533 * 1.4826 * float(np.median(np.abs(values - middle)))
    return middle, float(np.sqrt(scatter**2 / independent + (relative * middle) ** 2 + apart_mm**2))


def _origins(edge: Array) -> Array:
    """Give scan line origins one px apart, away from the rounded angles and the notch between the teeth."""
    if len(edge) == 2:
        ends = edge[0] + np.array([0.1, 0.45, 0.55, 0.9])[:, None] * (edge[1] - edge[0])
        pieces = [(ends[0], ends[1]), (ends[2], ends[3])]
    else:
        longest = max(float(np.hypot(*(b - a))) for a, b in pairwise(edge))
        pieces = [
            (a + 0.15 * (b - a), b - 0.15 * (b - a))
            for a, b in pairwise(edge)
            if np.hypot(*(b - a)) > 0.4 * longest
        ]
    return np.concatenate([along_segment(a, b) for a, b in pieces])


def _box(picture: Picture, origins: Array, direction: Array, distances: Array) -> tuple[Picture, Array]:
    ends = np.concatenate([origins + distances[0] * direction, origins + distances[-1] * direction])
    low = np.clip(np.floor(ends.min(0)).astype(int) - 16, 0, None)
    high = np.maximum(np.ceil(ends.max(0)).astype(int) + 17, low + 1)
    low = np.minimum(low, [picture.shape[1] - 1, picture.shape[0] - 1])
    return picture[low[1] : high[1], low[0] : high[0]], low.astype(float)


def _calmed(lines: Array) -> Array:
    """Average each scan line with its two neighbours: noise falls, a band across the lines stays as wide."""
    padded = np.concatenate([lines[:1], lines, lines[-1:]])
    return np.asarray((padded[:-2] + padded[1:-1] + padded[2:]) / 3)
