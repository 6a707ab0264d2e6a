"""Noise of a depth map from itself, where no solved skin is at hand to take residuals from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.fit.linear import robust_sd
from bite.geometry.rigid import Array

_LAGS = (1, 4)
"""Pixels apart, near and far; see `grain_of`."""
_LEAST = 200
"""So many second differences give a sd to 6 % (our choice)."""
_LONGEST_PX = 4.0
"""The longest correlation that four pixels can tell (our choice)."""


@dataclass(frozen=True, slots=True)
class Grain:
    """Noise sd of a pixel, mm, and the sd of the Gaussian that would make white noise so smooth, px."""

    noise_mm: float
    correlation_px: float


def grain_of(depth_mm: Array, skin: NDArray[np.bool_]) -> Grain | None:
    """Measure a map's noise by second differences along its rows, at lags of one and of four pixels.

    A smooth face has hardly any second difference; that of noise with correlation c is
    sigma^2 (6 - 8 c(lag) + 2 c(2 lag)). At four pixels it holds nearly all of the noise, at one pixel what
    neighbours do not share, and their ratio tells the length. Curved skin makes the answer a little large.

    Parameters
    ----------
    depth_mm : array, shape (h, w), NaN without a reading
    skin : array of bool, shape (h, w), where to look

    Returns
    -------
    Grain, or None with fewer than 200 differences
    """
    spreads = []
    for lag in _LAGS:
        left, middle, right = depth_mm[:, : -2 * lag], depth_mm[:, lag:-lag], depth_mm[:, 2 * lag :]
        inside = skin[:, : -2 * lag] & skin[:, lag:-lag] & skin[:, 2 * lag :]
        second = (left - 2 * middle + right)[inside]
        second = second[np.isfinite(second)]
        if second.size < _LEAST:
            return None
        spreads.append(robust_sd(second) ** 2)
    lengths = np.linspace(0.05, _LONGEST_PX, 160)
    near, far = (_share(lag, lengths) for lag in _LAGS)
    if spreads[1] <= 0:
        return Grain(0.0, 0.0)
    best = int(np.argmin(np.abs(near / far - spreads[0] / spreads[1])))
    return Grain(float(np.sqrt(spreads[1] / far[best])), float(lengths[best]))


def _share(lag: int, lengths: Array) -> Array:
    once, twice = (np.exp(-(d**2) / (4 * lengths**2)) for d in (lag, 2 * lag))
    return np.asarray(6 - 8 * once + 2 * twice)
