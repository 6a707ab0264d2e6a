"""How sharp the incisors are: the width of their edges in px, apart for the two directions.

Focus blurs both directions alike; motion blurs along its own direction only.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.evidence.picture.edge_fit import StepFits, fit_steps
from bite.evidence.picture.luminance import Picture, check_picture, luminance
from bite.evidence.picture.scan_lines import along_segment, sample_lines
from bite.geometry.rigid import Array

RISE_PER_SIGMA = 2.563
"""10 % to 90 % rise of a Gaussian edge over its sd: twice the normal quantile of 0.9."""
_STEP_PX = 0.5
"""Half a pixel: finer holds nothing more."""
_LEAST_STEP_LEVELS = 12.0
"""Fainter edges than 12 of 255 levels are borders of gum and shade."""
_LEAST_CONTRAST_TO_NOISE = 8.0
"""An edge must stand so far out of its own noise for its width to mean anything (our choice)."""
_LEAST_EXPLAINED = 0.97
"""Lines of which a single blurred step explains less show two edges or none (our choice)."""
_MOST_RELATIVE_SD = 0.25
"""A width known no better than to a quarter says nothing of sharpness (our choice)."""
_LEAST_LINES = 8
"""Fewer lines than this give no median worth telling."""
_LEAST_SHARE = 0.15
"""Among many unfit candidates a few pass by chance; below this share those few say nothing."""
_LEAST_COSINE = 0.866
"""Edges count for a direction when their normal is within 30 degrees of it; slanting ones mix the two."""


@dataclass(frozen=True, slots=True)
class EdgeWidth:
    """Width of the edges that run one way, px, over the scan lines that crossed a clean step.

    ``sigma_px`` is the sd of the edge's line spread, the pixel's own aperture (sd 0.29 px) included.
    ``sigma_sd_px`` is the sd of that median, from the scatter between scan lines; ``lines_sd_px`` is the
    scatter itself.
    """

    sigma_px: float
    sigma_sd_px: float
    lines_sd_px: float
    lines_used: int
    lines_tried: int

    @property
    def rise_px(self) -> float:
        """10 % to 90 % width of the fitted edge, px."""
        return RISE_PER_SIGMA * self.sigma_px


@dataclass(frozen=True, slots=True)
class Sharpness:
    """Edge widths along and at right angles to the tooth row.

    ``sideways`` is blur along the row (seen on tooth sides), ``up_down`` blur at right angles to it (seen on
    incisal edges). Each is None where no edge could be used, and ``reason`` then says why; it is empty
    otherwise.
    """

    sideways: EdgeWidth | None
    up_down: EdgeWidth | None
    sideways_reason: str
    up_down_reason: str

    @property
    def worst(self) -> EdgeWidth | None:
        """The wider of the two, or the only one."""
        known = [w for w in (self.sideways, self.up_down) if w is not None]
        return max(known, key=lambda w: w.sigma_px, default=None)


def sharpness_at_edges(
    picture: Picture,
    segments_px: Array,
    *,
    across: tuple[float, float] | Array = (1.0, 0.0),
    half_length_px: float,
) -> Sharpness:
    """Measure the width of edges on scan lines across candidate segments.

    Most candidates are no clean step: an incisal edge often borders on a bright lower tooth with only a thin
    dark line between. Such lines fit a step badly and are left out, as are those with little contrast.

    Parameters
    ----------
    picture : array, shape (h, w, 3), uint8, RGB
    segments_px : array, shape (k, 2, 2), px
        Start and end of each candidate, such as ``ToothRegions.edges_px``.
    across : pair of floats
        Direction along the tooth row, px.
    half_length_px : float, px
        Scan lines reach this far to both sides; about a third of a crown width. Edges wider than half of this
        are left out.

    Notes
    -----
    The edge is fitted as a Gaussian-blurred step. A motion blur of length L reads as sigma 0.30 to 0.34 L (a
    box has sd 0.29 L). Scan lines across an edge at an angle a read 1 / cos(a) too wide: 1.5 % at 10 degrees.
    One side of a dark line narrower than about four sigma reads up to 30 % too sharp where it is not left
    out.
    """
    check_picture(picture)
    along = np.asarray(across, float) / np.hypot(*across)
    segments = np.asarray(segments_px, float).reshape(-1, 2, 2)
    lines: dict[bool, list[tuple[Array, Array]]] = {True: [], False: []}
    for start, end in segments:
        length = float(np.hypot(*(end - start)))
        if length < 1.0:
            continue
        normal = np.array([-(end - start)[1], (end - start)[0]]) / length
        origins = along_segment(start, end)
        toward = abs(float(normal @ along))
        if 0.5 < toward < _LEAST_COSINE:
            continue
        lines[toward >= _LEAST_COSINE].append((origins, np.tile(normal, (len(origins), 1))))
    box, offset = _box(picture, segments, half_length_px)
    plane = luminance(box)
    distances = np.arange(-half_length_px, half_length_px + 1e-9, _STEP_PX)
    width_sideways, why_sideways = _width(plane, lines[True], offset, distances)
    width_up_down, why_up_down = _width(plane, lines[False], offset, distances)
    return Sharpness(width_sideways, width_up_down, why_sideways, why_up_down)


def _box(picture: Picture, segments: Array, half_length_px: float) -> tuple[Picture, Array]:
    """Cut the picture around the segments, so that a large photo costs no more than its mouth."""
    size = np.array([picture.shape[1], picture.shape[0]])
    if len(segments) == 0:
        return picture[:1, :1], np.zeros(2)
    points = segments.reshape(-1, 2)
    margin = int(half_length_px) + 16
    low = np.clip(np.floor(points.min(0)).astype(int) - margin, 0, size - 1)
    high = np.clip(np.ceil(points.max(0)).astype(int) + margin, low + 1, size)
    return picture[low[1] : high[1], low[0] : high[0]], low.astype(float)


def _width(
    plane: Array, lines: list[tuple[Array, Array]], offset: Array, distances_px: Array
) -> tuple[EdgeWidth | None, str]:
    if not lines:
        return None, "no candidate edge runs this way"
    origins = np.concatenate([origin for origin, _ in lines]) - offset
    normals = np.concatenate([normal for _, normal in lines])
    fits = fit_steps(sample_lines(plane, origins, normals, distances_px), distances_px)
    strong = (np.abs(fits.step) >= _LEAST_STEP_LEVELS) & (
        np.abs(fits.step) >= _LEAST_CONTRAST_TO_NOISE * fits.residual
    )
    clean = strong & fits.complete & _is_clean(fits)
    used = int(clean.sum())
    needed = max(_LEAST_LINES, int(np.ceil(_LEAST_SHARE * len(origins))))
    if used < needed:
        return None, (
            f"{used} of {len(origins)} scan lines cross a clean step, needed {needed}: "
            f"{int(strong.sum())} have enough contrast to noise, "
            f"{int((strong & fits.complete).sum())} of these lie whole inside the scan line"
        )
    sigma = fits.sigma_px[clean]
    middle = float(np.median(sigma))
    scatter = float(1.4826 * np.median(np.abs(sigma - middle)))
    # scan lines nearer than the blur see the same pixels
    independent = max(used * min(1.0, 1.0 / (2 * middle)), 1.0)
    return EdgeWidth(middle, 1.2533 * scatter / float(np.sqrt(independent)), scatter, used, len(origins)), ""


def _is_clean(fits: StepFits) -> NDArray[np.bool_]:
    return np.asarray(
        (fits.explained >= _LEAST_EXPLAINED) & (fits.sigma_sd_px <= _MOST_RELATIVE_SD * fits.sigma_px)
    )
