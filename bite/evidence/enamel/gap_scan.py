"""What follows below the upper incisal edges in the picture: enamel at once, or a dark band, and how wide."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from bite.evidence.enamel.band import Band, measure_bands
from bite.evidence.picture.luminance import Picture, check_picture, cie_lab, is_gray, luminance
from bite.evidence.picture.scan_lines import along_segment, sample_lines
from bite.geometry.rigid import Array, frozen

_INSIDE_UPPER_MM = 2.2
_BEYOND_LOWER_MM = 2.5
_STEP_PX = 0.25
"""A quarter of a pixel: its share of the sd stays below a tenth of a pixel."""
_CORRELATED_MM = 1.0
"""Nearer scan lines see the same piece of tooth: the effective count is the scanned width over this."""


class LineKind(IntEnum):
    """What one scan line shows below the upper edge."""

    NOT_READ = 0
    """It leaves the picture, or holds no enamel above the edge."""
    OVERLAP = 1
    """Enamel follows at once, at most with a line too faint to measure."""
    SHADOW_LINE = 2
    """A thin or faint dark line, then enamel: the upper edge stands before the lower teeth."""
    OPENING = 3
    """A wide dark band, then enamel."""
    OPEN_END = 4
    """Dark, or the colour of lips and gums, to the end: no lower enamel found."""


@dataclass(frozen=True, slots=True)
class LineShare:
    """Share of the scan lines that were read, with its sd from the effective count of lines."""

    value: float
    sd: float


@dataclass(frozen=True, slots=True)
class GapScan:
    """Scan lines from the upper into the lower teeth.

    Parameters
    ----------
    origins_px : array, shape (n, 2), px
        Where each scan line crosses the clicked upper edge.
    kind : array, shape (n,), of LineKind values
    width_mm, darkness : array, shape (n,)
        Width of the dark band, corrected for blur, and how far it falls below the darker of the two enamels
        (0 as bright, 1 black), on stored values. 0 wide where enamel follows at once; NaN width at an open
        end.
    overlap, shadow_line, opening, open_end : LineShare
    band_mm, band_sd_mm : float or None
        Median band width of the lines that end in enamel (0 for overlap), and its sd: scatter between
        lines, blur and scale. None when no line ends in enamel.
    opening_mm, opening_sd_mm : float or None
        The same over OPENING lines alone.
    band_darkness, band_darkness_sd : float or None
        Median darkness over the lines with a band, and its sd.
    open_end_mm : float or None
        How far below the edge the OPEN_END lines were followed (median): a gap there is at least that wide,
        unless a lip covers the lower teeth.
    colour_used : bool
        Lips and gums were told from enamel by redness as well as by luminance.
    lines_read, lines_tried : int
    """

    origins_px: Array
    kind: NDArray[np.int64]
    width_mm: Array
    darkness: Array
    overlap: LineShare
    shadow_line: LineShare
    opening: LineShare
    open_end: LineShare
    band_mm: float | None
    band_sd_mm: float | None
    opening_mm: float | None
    opening_sd_mm: float | None
    band_darkness: float | None
    band_darkness_sd: float | None
    open_end_mm: float | None
    colour_used: bool
    lines_read: int
    lines_tried: int


def scan_gap(
    picture: Picture,
    upper_edge_px: Array,
    *,
    down: tuple[float, float] | Array,
    mm_per_px: float,
    mm_per_px_sd: float = 0.0,
    lower_edge_px: Array | None = None,
    blur_sigma_px: float = 1.0,
    blur_sigma_sd_px: float = 0.5,
    reach_mm: float = 6.0,
    line_width_mm: float = 0.5,
    opening_darkness: float = 0.35,
) -> GapScan:
    """Scan from inside the upper crowns down into the lower ones.

    Parameters
    ----------
    picture : array, shape (h, w, 3), uint8, RGB
    upper_edge_px : array, shape (n, 2), px
        Upper corners in row order, two or more (``ToothRow.upper_edge_px``). With three or four the notch
        between the teeth is left out; with two the middle tenth is.
    down : pair of floats
        Direction from the upper to the lower teeth (``ToothRow.down``).
    mm_per_px, mm_per_px_sd : float
    lower_edge_px : array, shape (m, 2), px, optional
        Seen lower corners. The scan then ends 2.5 mm beyond them. Unknown or covered: it goes ``reach_mm``
        down.
    blur_sigma_px, blur_sigma_sd_px : float, px
        Edge width of the picture (``Sharpness``), taken out of the band's width.
    line_width_mm, opening_darkness : float
        A band counts as an opening when it is wider and darker than this; else it is the shadow line at which
        an upper edge overlaps lower teeth. Common practice, no source.

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
    reach_px = reach_mm / mm_per_px
    if lower_edge_px is not None and len(lower_edge_px):
        drop = float(((np.asarray(lower_edge_px, float) - edge.mean(0)) @ direction).max())
        reach_px = max(drop, 0.0) + _BEYOND_LOWER_MM / mm_per_px
    inside_px = _INSIDE_UPPER_MM / mm_per_px + 2 * blur_sigma_px
    distances = np.arange(-inside_px, reach_px + 2 * blur_sigma_px + _STEP_PX, _STEP_PX)
    directions = np.tile(direction, (len(origins), 1))
    box, offset = _box(picture, origins, direction, distances)
    light = _calmed(sample_lines(luminance(box), origins - offset, directions, distances))
    colour = not is_gray(box)
    redness = (
        _calmed(sample_lines(cie_lab(box)[..., 1], origins - offset, directions, distances))
        if colour
        else None
    )
    bands = measure_bands(light, redness, distances, mm_per_px=mm_per_px, blur_sigma_px=blur_sigma_px)
    blur_effect = _blur_effect(light, redness, distances, mm_per_px, blur_sigma_px, blur_sigma_sd_px, bands)
    width_mm = bands.width_px * mm_per_px
    # blur makes a narrow opening look faint; enough missing light is an opening all the same
    wide = (width_mm > line_width_mm) & (
        (bands.darkness >= opening_darkness) | (bands.black_px * mm_per_px > line_width_mm)
    )
    kind = np.select(
        [~bands.read, bands.open_end, ~bands.found, wide],
        [LineKind.NOT_READ, LineKind.OPEN_END, LineKind.OVERLAP, LineKind.OPENING],
        LineKind.SHADOW_LINE,
    ).astype(np.int64)
    length_mm = _edge_length(edge) * mm_per_px
    read = int(bands.read.sum())
    independent = max(min(read, length_mm / _CORRELATED_MM * read / max(len(origins), 1)), 1.0)
    relative_scale = mm_per_px_sd / mm_per_px

    def summary(chosen: NDArray[np.bool_]) -> tuple[float | None, float | None]:
        if not chosen.any():
            return None, None
        middle, sd = _median_sd(width_mm[chosen], max(independent * chosen.sum() / max(read, 1), 1.0))
        blur_mm = float(np.median(blur_effect[chosen])) * mm_per_px
        unresolved_mm = float(np.median(_unresolved(bands, blur_sigma_px)[chosen])) * mm_per_px
        parts = (sd, blur_mm, unresolved_mm, middle * relative_scale, _STEP_PX * mm_per_px / np.sqrt(12))
        return middle, float(np.sqrt(np.sum(np.square(parts))))

    ends_in_enamel = bands.read & ~bands.open_end
    band_mm, band_sd_mm = summary(ends_in_enamel)
    opening_mm, opening_sd_mm = summary(kind == LineKind.OPENING)
    dark = bands.darkness[bands.read & bands.found]
    darkness, darkness_sd = _median_sd(dark, max(independent, 1.0)) if len(dark) else (None, None)
    followed = bands.followed_px[kind == LineKind.OPEN_END] * mm_per_px
    return GapScan(
        origins_px=frozen(origins),
        kind=kind,
        width_mm=frozen(width_mm),
        darkness=frozen(bands.darkness),
        overlap=_line_share(kind, LineKind.OVERLAP, independent),
        shadow_line=_line_share(kind, LineKind.SHADOW_LINE, independent),
        opening=_line_share(kind, LineKind.OPENING, independent),
        open_end=_line_share(kind, LineKind.OPEN_END, independent),
        band_mm=band_mm,
        band_sd_mm=band_sd_mm,
        opening_mm=opening_mm,
        opening_sd_mm=opening_sd_mm,
        band_darkness=darkness,
        band_darkness_sd=darkness_sd,
        open_end_mm=float(np.median(followed)) if len(followed) else None,
        colour_used=colour,
        lines_read=read,
        lines_tried=len(origins),
    )


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


def _edge_length(edge: Array) -> float:
    return float(np.hypot(*np.diff(edge, axis=0).T).sum())


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


def _blur_effect(
    light: Array,
    redness: Array | None,
    distances: Array,
    mm_per_px: float,
    sigma_px: float,
    sigma_sd_px: float,
    bands: Band,
) -> Array:
    """Give the change of each width when the blur is one sd larger, px."""
    if not sigma_sd_px > 0:
        return np.zeros(len(light))
    other = measure_bands(
        light, redness, distances, mm_per_px=mm_per_px, blur_sigma_px=sigma_px + sigma_sd_px
    )
    return np.nan_to_num(np.abs(other.width_px - bands.width_px))


def _unresolved(bands: Band, sigma_px: float) -> Array:
    """Give the sd that a width has because the blur is as wide as the band, px.

    Below a width of about one sigma half-depth crossings stand still, and depth alone cannot tell thin and
    black from wide and gray. Without any band, one too faint to be found (6 % deep) may still be 0.15 sigma
    wide.
    """
    share = np.clip(1 - np.nan_to_num(bands.width_px) / (3 * sigma_px), 0.0, 1.0) if sigma_px > 0 else 0.0
    return np.where(bands.found, 0.5 * sigma_px * share, 0.15 * sigma_px)


def _median_sd(values: Array, independent: float) -> tuple[float, float]:
    middle = float(np.median(values))
    scatter = float(1.4826 * np.median(np.abs(values - middle)))
    return middle, 1.2533 * scatter / float(np.sqrt(independent))


def _line_share(kind: NDArray[np.int64], which: LineKind, independent: float) -> LineShare:
    read = kind != LineKind.NOT_READ
    if not read.any():
        return LineShare(float("nan"), float("nan"))
    share = float((kind[read] == which).mean())
    softened = (share * independent + 0.5) / (independent + 1)
    return LineShare(share, float(np.sqrt(softened * (1 - softened) / (independent + 1))))
