"""How noisy a depth map is and over what distance its errors hang together, from its own residuals on skin.

A solved skin is never perfect, so the residuals hold sensor noise and solve error together, and both belong in the sd. Depth
pixels are not independent: counting them as if they were would make the interval several times too short.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.fit.linear import robust_sd
from bite.geometry.rigid import Array

TAPER_MM = 40.0
"""Distance at which the autocovariance is taken to zero: beyond it, residuals of one face tell nothing of it."""
CLIP_SD = 3.0


@dataclass(frozen=True, slots=True)
class MapNoise:
    """Noise of a depth map.

    Parameters
    ----------
    skin_sd_mm, teeth_sd_mm : float, mm
    spectrum : array, real half-plane spectrum of the correlation function on a padded grid, or None before it is known
    padded : (int, int), shape of that grid
    correlation_px : float, lag at which the correlation first falls to 1/e, px
    inflation : float
        How many pixels count as one: the sum of the correlation function over all lags.
    """

    skin_sd_mm: float
    teeth_sd_mm: float
    spectrum: Array | None
    padded: tuple[int, int]
    correlation_px: float
    inflation: float


def assumed_noise(sd_mm: float, correlation_px: float) -> MapNoise:
    """Give a starting value, before any residual is known: Gaussian correlation of the stated length."""
    inflation = max(1.0, np.pi * correlation_px**2)
    return MapNoise(sd_mm, sd_mm, None, (0, 0), correlation_px, inflation)


def map_noise(
    residual_mm: Array,
    skin: NDArray[np.bool_],
    teeth: NDArray[np.bool_],
    *,
    mm_per_px: float,
    floor_mm: float,
    start: MapNoise,
) -> MapNoise:
    """Estimate scale and correlation of the residuals of a depth map.

    Autocovariance of the clipped skin residuals by FFT, divided by that of their mask, tapered to zero at 40 mm, and kept
    positive definite by cutting negative powers. With fewer than 50 skin or 10 teeth pixels the starting scale is kept.

    Parameters
    ----------
    residual_mm : array, shape (h, w), mm; only looked at inside the masks
    skin, teeth : array of bool, shape (h, w)
    mm_per_px : float, size of a depth pixel on the face
    floor_mm : float, no sd goes below (storage step / sqrt(12))
    start : MapNoise
    """
    skin_sd, teeth_sd = start.skin_sd_mm, start.teeth_sd_mm
    if teeth.sum() >= 10:
        teeth_sd = max(robust_sd(residual_mm[teeth]), floor_mm, 1e-6)
    if skin.sum() < 50:
        return MapNoise(
            skin_sd, teeth_sd, start.spectrum, start.padded, start.correlation_px, start.inflation
        )
    centred = residual_mm[skin] - np.median(residual_mm[skin])
    skin_sd = max(robust_sd(residual_mm[skin]), floor_mm, 1e-6)
    height, width = residual_mm.shape
    reach = int(np.ceil(TAPER_MM / mm_per_px))
    padded = (_smooth_size(height + min(reach, height)), _smooth_size(width + min(reach, width)))
    field = np.zeros((height, width))
    field[skin] = np.clip(centred, -CLIP_SD * skin_sd, CLIP_SD * skin_sd)
    power = np.fft.irfft2(np.abs(np.fft.rfft2(field, padded)) ** 2, padded)
    pairs = np.fft.irfft2(np.abs(np.fft.rfft2(skin.astype(np.float64), padded)) ** 2, padded)
    covariance = np.where(pairs > 30.0, power / np.maximum(pairs, 1.0), 0.0)
    lag_y = np.minimum(np.arange(padded[0]), padded[0] - np.arange(padded[0]))[:, None]
    lag_x = np.minimum(np.arange(padded[1]), padded[1] - np.arange(padded[1]))[None, :]
    distance = np.hypot(lag_y, lag_x)
    taper = np.where(distance * mm_per_px < TAPER_MM, np.cos(0.5 * np.pi * distance * mm_per_px / TAPER_MM) ** 2, 0.0)
    correlation = covariance * taper / covariance[0, 0]
    spectrum = np.maximum(np.fft.rfft2(correlation).real, 0.0)
    correlation = np.fft.irfft2(spectrum, padded)
    spectrum /= correlation[0, 0]
    correlation /= correlation[0, 0]
    return MapNoise(
        skin_sd,
        teeth_sd,
        spectrum,
        padded,
        _length(correlation, distance),
        float(max(1.0, spectrum[0, 0])),
    )


def correlated_meat(maps: Array, noise: MapNoise) -> Array:
    """Give M' C M for weighted slope maps M and the correlation C of the noise, without ever forming C.

    Parameters
    ----------
    maps : array, shape (k, h, w), zero outside the data

    Returns
    -------
    array, shape (k, k)
    """
    if noise.spectrum is None:
        flat = maps.reshape(len(maps), -1)
        return np.asarray(flat @ flat.T * noise.inflation)
    freq = np.fft.rfft2(maps, noise.padded)
    # the half plane stands for the whole: every column but the first (and the last of an even width) counts twice
    double = np.full(freq.shape[2], 2.0)
    double[0] = 1.0
    if noise.padded[1] % 2 == 0:
        double[-1] = 1.0
    weighted = freq * (noise.spectrum * double)
    k = len(maps)
    out = (weighted.reshape(k, -1) @ freq.reshape(k, -1).conj().T).real
    return np.asarray(out / (noise.padded[0] * noise.padded[1]))


def _length(correlation: Array, distance: Array) -> float:
    ring = np.rint(distance).astype(np.int64)
    count = np.bincount(ring.ravel())
    mean = np.bincount(ring.ravel(), correlation.ravel()) / np.maximum(count, 1)
    below = np.flatnonzero(mean < np.exp(-1.0))
    if not below.size:
        return float(len(mean))
    k = int(below[0])
    return float(k - 1 + (mean[k - 1] - np.exp(-1.0)) / (mean[k - 1] - mean[k])) if k else 0.0


def _smooth_size(n: int) -> int:
    """Give the next size that factors into 2, 3 and 5, which the FFT likes."""
    while True:
        m = n
        for p in (2, 3, 5):
            while m % p == 0:
                m //= p
        if m == 1:
            return n
        n += 1
