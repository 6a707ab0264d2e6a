"""What a depth sensor's own blur does to a map with gaps: a Gaussian over the pixels that exist."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.geometry.rigid import Array


@dataclass(frozen=True, slots=True)
class Smoothed:
    """Smoothed maps, shape (k, h, w); the first map's slope by the blur; the kernel's share with data."""

    maps: Array
    first_by_smoothing: Array
    coverage: Array


def kernel(smoothing_px: float) -> tuple[Array, Array]:
    """Give a unit-sum Gaussian and its derivative by its sd, both sampled at whole pixels, shape (2 r + 1,).

    Examples
    --------
    >>> weights, slope = kernel(1.5)
    >>> round(float(weights.sum()), 12), round(float(abs(slope.sum())), 12)
    (1.0, 0.0)
    """
    radius = max(1, int(np.ceil(4.0 * smoothing_px)))
    at = np.arange(-radius, radius + 1, dtype=np.float64)
    weights = np.exp(-0.5 * (at / smoothing_px) ** 2)
    slope = weights * at**2 / smoothing_px**3
    total = weights.sum()
    return weights / total, slope / total - weights * slope.sum() / total**2


def smooth(maps: Array, mask: NDArray[np.bool_], smoothing_px: float) -> Smoothed:
    """Smooth maps under one mask: blur(map * mask) / blur(mask).

    Parameters
    ----------
    maps : array, shape (k, h, w); values outside the mask are ignored
    mask : array of bool, shape (h, w)
    smoothing_px : float, sd of the blur in pixels
    """
    from scipy.ndimage import correlate1d

    weights, slope = kernel(smoothing_px)
    stack = np.concatenate([np.where(mask, maps, 0.0), mask[None].astype(np.float64)])
    along_x = correlate1d(stack, weights, axis=2, mode="constant")
    blurred = correlate1d(along_x, weights, axis=1, mode="constant")
    first = stack[[0, -1]]
    by_s = correlate1d(correlate1d(first, slope, axis=2, mode="constant"), weights, axis=1, mode="constant")
    by_s += correlate1d(along_x[[0, -1]], slope, axis=1, mode="constant")
    coverage = blurred[-1]
    with np.errstate(divide="ignore", invalid="ignore"):
        out = blurred[:-1] / coverage
        first_by_s = (by_s[0] - out[0] * by_s[1]) / coverage
    # the border of the window is not a gap in the data: judge coverage against what the window could have
    # given
    ones = np.ones(mask.shape)
    full = correlate1d(correlate1d(ones, weights, axis=1, mode="constant"), weights, axis=0, mode="constant")
    return Smoothed(out, first_by_s, coverage / full)
