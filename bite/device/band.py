"""The readings about the card's edge, as shares of the step, and what is summed up over them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.device.card import FoundCard
from bite.device.filters import Normal
from bite.device.flat_noise import FlatNoise
from bite.fit.linear import robust_sd
from bite.geometry.rigid import Array

_TRIM_PX = 8.0
"""Ends of the card's edge that its corners may blur are left out."""
_WIDEST_PX, _LEAST_BAND_PX = 24.0, 6.0
"""The band about the edge holds four sds of the smoothing and a little flat, between these."""
_BLOCK_PX = 8.0
"""Pieces of the edge that count as independent are never shorter."""
_NEAR_EDGE_PX = (1.0, 2.0)
"""Where noise beside the edge is held against that on the flats: off the step, within a filter's reach."""
_MEDIAN_EFFICIENCY = 0.37
"""Of the median absolute deviation beside the sd, at the normal (from memory)."""


@dataclass(frozen=True, slots=True)
class Band:
    """Readings about the edge.

    Parameters
    ----------
    row, column : arrays, shape (n,), where they are
    distance_px, along_px : arrays, shape (n,), from the first line, and along it from its middle
    share : array, shape (n,), 0 on the card's plane, 1 on the wall's
    sigma : array, shape (n,), noise sd as a share of the step
    shape : (int, int), of the map
    step_mm : float, median step along the edge
    normal : (float, float), of the first line
    half_px : float, how far the band reaches to both sides
    """

    row: NDArray[np.int64]
    column: NDArray[np.int64]
    distance_px: Array
    along_px: Array
    share: Array
    sigma: Array
    shape: tuple[int, int]
    step_mm: float
    normal: Normal
    half_px: float

    @property
    def length_px(self) -> float:
        """Length of the edge that was used, px."""
        return float(np.ptp(self.along_px))


def band_of(
    depth_mm: Array, found: FoundCard, noise: tuple[FlatNoise, FlatNoise], *, half_px: float
) -> Band:
    """Take the readings about the edge, as shares of the step.

    Parameters
    ----------
    depth_mm : array, shape (h, w), mm
    found : FoundCard
    noise : (FlatNoise, FlatNoise), of card and wall
    half_px : float, how far to go to both sides, px
    """
    y, x = np.mgrid[0 : depth_mm.shape[0], 0 : depth_mm.shape[1]].astype(float)
    distance, along = found.line.distance(x, y), found.line.along(x, y)
    first, last = found.line.span
    near, far = (p.depth_mm(depth_mm.shape) for p in (found.card, found.wall))
    step = far - near
    used = (np.abs(distance) <= half_px) & (along >= first + _TRIM_PX) & (along <= last - _TRIM_PX)
    used &= np.isfinite(depth_mm) & np.isfinite(step)
    middle = float(np.median(step[used])) if used.any() else 0.0
    used &= step > 0.2 * abs(middle)
    row, column = np.nonzero(used)
    share = (depth_mm[used] - near[used]) / step[used]
    of_wall = np.clip(share, 0, 1)
    sigma = np.sqrt((1 - of_wall) * noise[0].noise_mm**2 + of_wall * noise[1].noise_mm**2) / step[used]
    return Band(
        row,
        column,
        distance[used],
        along[used] - 0.5 * (first + last),
        share,
        np.maximum(sigma, 1e-4),
        (depth_mm.shape[0], depth_mm.shape[1]),
        middle,
        found.line.normal,
        half_px,
    )


def band_width(smoothing_px: float) -> float:
    """Give how far a band should reach for such a smoothing, px."""
    return float(np.clip(4 * smoothing_px + 4, _LEAST_BAND_PX, _WIDEST_PX))


def block_sums(band: Band, values: Array, correlation_px: float) -> Array:
    """Add values up over pieces of the edge long enough to be independent of each other, shape (blocks,)."""
    length = max(_BLOCK_PX, 6 * correlation_px)
    pieces = np.floor((band.along_px - band.along_px.min()) / length).astype(int)
    return np.asarray(np.bincount(pieces, values), dtype=np.float64)


def binned(at_px: Array, values: Array, width_px: float, half_px: float) -> tuple[Array, Array]:
    """Give the mean distance and the mean value in bins of distance; empty bins are left out."""
    bins = np.floor((at_px + half_px) / width_px).astype(int)
    inside = (bins >= 0) & (bins < int(np.ceil(2 * half_px / width_px)))
    counts = np.bincount(bins[inside])
    filled = counts > 0
    mean_at = np.bincount(bins[inside], at_px[inside])[filled] / counts[filled]
    mean = np.bincount(bins[inside], values[inside])[filled] / counts[filled]
    return mean_at, mean


def noise_beside(band: Band, at_px: Array, residual: Array, correlation_px: float) -> tuple[float, float]:
    """Give the noise variance one to two pixels from the edge over that of the flats, and its sd.

    An averaging filter that stops at the edge has only half its readings there, so that its noise is larger:
    about twice in variance. Noise that merely comes correlated is the same everywhere.

    Parameters
    ----------
    at_px, residual : arrays, shape (n,), distance and (measured - fitted) / sigma of a fit without filter
    correlation_px : float, of the noise, px
    """
    ratios, counts = [], []
    for side in (-1, 1):
        at = side * at_px
        here = (at >= _NEAR_EDGE_PX[0]) & (at < _NEAR_EDGE_PX[1])
        values = residual[here]
        if values.size < 20:
            continue
        bins = np.floor((at[here] - _NEAR_EDGE_PX[0]) / 0.25).astype(int)
        means = np.array([np.median(values[bins == k]) if (bins == k).any() else 0.0 for k in range(4)])
        # by the median, since a few flying pixels would swell a mean of squares as well
        ratios.append(robust_sd(values - means[bins]) ** 2)
        counts.append(values.size)
    if not ratios:
        return 1.0, np.inf
    ratio = float(np.average(ratios, weights=counts))
    effective = sum(counts) / max(1.0, 3.5 * correlation_px)
    return ratio, ratio * float(np.sqrt(2 / (_MEDIAN_EFFICIENCY * effective)))
