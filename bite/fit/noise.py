"""How noisy a depth map is and over what distance its errors hang together, from its own residuals on skin.

A solved skin is never perfect, so the residuals hold sensor noise and solve error together, and both belong
in the sd. Depth pixels are not independent: counted as if they were, the interval would be several times too
short.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from bite.fit.linear import MAD_TO_SD, robust_sd
from bite.geometry.rigid import Array, frozen

TAPER_MM = 14.0
"""Reach of the correlation of all residuals: longer waves of the skin are unknowns of their own."""
CLIP_SD = 3.0
"""Residuals are clipped at 3 sd before they are correlated: a wild pixel would correlate with all its
neighbours (our choice; 1 in 370 of normal noise is touched)."""
WAVE_MM = 6.0
"""Errors slower than this (sd of a Gaussian) are waves of the solved skin, not noise of the sensor."""
LEAST_SKIN = 50
"""Pixels of skin that a median absolute deviation needs: its own sd is then 16 % of it (our choice)."""
LEAST_TEETH = 100
"""With fewer pixels of pure enamel its noise is taken to be skin's."""
TEETH_FACTOR = 3.0
"""Enamel is at most so much noisier or calmer than skin (our choice): beyond, the teeth stand wrong."""
PATTERN_MM = (9.0, 18.0)
"""Pixels of one row so far apart share nothing but that row's own error: noise hangs together over 3 mm at
most, and skin's waves are slower (our choice)."""
PATTERN_SD, _BESIDE = 4.0, (4, 14)
"""A row's own error is believed from so many sds on; pairs so many rows apart tell the sd (our choice)."""
_LEAST_SHARE = 0.05
"""No frequency is given back more than 20 times its power: where next to nothing was left, that is chance
(our choice)."""


@dataclass(frozen=True, slots=True)
class MapNoise:
    """Noise of a depth map.

    Parameters
    ----------
    skin_sd_mm, teeth_sd_mm : float, mm
    spectrum : array, real half-plane spectrum of the covariance of the sensor's noise over sigma, or None
    before it is known
    whole_spectrum : array, the same of all residuals, slow misfit of the solved skin included
    padded : (int, int), shape of that grid
    correlation_px : float, lag at which the correlation of the noise first falls to 1/e, px
    inflation : float, how many pixels count as one: the sum of the correlation over its central lobe
    """

    skin_sd_mm: float
    teeth_sd_mm: float
    spectrum: Array | None
    whole_spectrum: Array | None
    padded: tuple[int, int]
    correlation_px: float
    inflation: float


def assumed_noise(sd_mm: float, correlation_px: float) -> MapNoise:
    """Give a starting value, before any residual is known: Gaussian correlation of the stated length."""
    return MapNoise(sd_mm, sd_mm, None, None, (0, 0), correlation_px, max(1.0, np.pi * correlation_px**2))


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

    Scale, correlation length and the number of pixels that count as one come from the residuals less their
    slow part. Two covariances are kept for the sd, that of the noise alone and that of all residuals:
    autocovariance by FFT, divided by that of the mask, tapered, and kept positive definite by cutting
    negative powers. With fewer than 50 skin pixels the starting noise is kept; with fewer than 100 enamel
    pixels enamel is taken to be as noisy as skin, and never more than three times more or less.

    Parameters
    ----------
    residual_mm : array, shape (h, w), mm; only looked at inside the masks
    skin, teeth : array of bool, shape (h, w)
    mm_per_px : float, size of a depth pixel on the face
    floor_mm : float, no sd goes below (storage step / sqrt(12))
    start : MapNoise
    """
    if skin.sum() < LEAST_SKIN:
        return start
    quick = _without_waves(residual_mm, skin, WAVE_MM / mm_per_px)
    skin_sd = max(robust_sd(quick[skin]), floor_mm, 1e-6)
    teeth_sd = skin_sd
    if teeth.sum() >= LEAST_TEETH:
        # about zero, not about the median: while the teeth still stand wrong, all are off together and none
        # is an outlier
        scatter = MAD_TO_SD * float(np.median(np.abs(residual_mm[teeth])))
        teeth_sd = float(np.clip(scatter, skin_sd / TEETH_FACTOR, skin_sd * TEETH_FACTOR))
    lags = _Lags.of(skin, mm_per_px)
    limit = CLIP_SD * skin_sd
    clipped = np.clip(quick, -limit, limit)
    covariance = lags.covariance(clipped)
    short = covariance / covariance[0, 0]
    length_px = _length(short, lags.distance_px)
    lobe = np.maximum(short, 0.0)[lags.distance_px <= max(3.0 * length_px, 1.0)]

    away_mm = lags.distance_px * mm_per_px
    quick_covariance = covariance / skin_sd**2
    pattern = _Pattern.of(quick_covariance, lags.known, mm_per_px)
    short_range = _given_back(pattern.less(quick_covariance), away_mm, mm_per_px)
    slow = residual_mm - quick
    whole = lags.covariance(clipped + slow - np.median(slow[skin])) / skin_sd**2
    return MapNoise(
        skin_sd,
        teeth_sd,
        pattern.added(short_range, lags.padded),
        pattern.added(_restored(pattern.less(whole), away_mm, lags.known, TAPER_MM), lags.padded),
        lags.padded,
        length_px,
        float(max(1.0, lobe.sum())),
    )


@dataclass(frozen=True, slots=True)
class _Pattern:
    """Variance over sigma squared that whole rows, and whole columns, of a sensor share; 0 where none shows.

    However far apart two pixels of a row are, they share its error, which a taper would cut off.
    """

    rows: float
    columns: float

    @classmethod
    def of(cls, covariance: Array, known: NDArray[np.bool_], mm_per_px: float) -> _Pattern:
        """Compare pairs far apart in one row with pairs as far apart in rows a little way off."""
        first, last = (round(end / mm_per_px) for end in PATTERN_MM)

        def shared(products: Array, sure: NDArray[np.bool_]) -> float:
            lag = slice(first, min(last, products.shape[1] // 2))
            beside = slice(*(min(end, len(products) // 2) for end in _BESIDE))
            if not (sure[0, lag].any() and sure[beside, lag].all() and sure[beside, lag].any()):
                return 0.0
            others = products[beside, lag].mean(1)
            excess = float(products[0, lag][sure[0, lag]].mean() - others.mean())
            return excess if excess > PATTERN_SD * float(others.std(ddof=1)) else 0.0

        return cls(shared(covariance, known), shared(covariance.T, known.T))

    def less(self, covariance: Array) -> Array:
        """Take the shared part out of a covariance, at lags within one row or one column."""
        rest = covariance.copy()
        rest[0] -= self.rows
        rest[:, 0] -= self.columns
        return rest

    def added(self, spectrum: Array, padded: tuple[int, int]) -> Array:
        """Add its power to a half-plane spectrum: constant along a row, of every row apart."""
        out = spectrum.copy()
        out[:, 0] += self.rows * padded[1]
        out[0] += self.columns * padded[0]
        return out


def _given_back(covariance: Array, away_mm: Array, mm_per_px: float) -> Array:
    """Give the spectrum of noise from the covariance of what is left of it without its slow part.

    Taking a Gaussian mean out left a share (1 - G)^2 of the power at each frequency. What it comes to after
    the same taper is known, and divided by: without it the sd of a strip's mean came out 7 % too small under
    white noise and 27 % under noise blurred over 1.8 px.
    """
    spectrum = np.fft.rfft2(covariance * _short_taper(away_mm)).real
    share = _share_left(covariance.shape, mm_per_px)
    return np.maximum(spectrum / np.maximum(share, _LEAST_SHARE), 0.0)


def _short_taper(away_mm: Array) -> Array:
    end_mm = 1.5 * WAVE_MM
    return np.where(away_mm < end_mm, np.cos(0.5 * np.pi * away_mm / end_mm) ** 2, 0.0)


@lru_cache(maxsize=4)
def _share_left(padded: tuple[int, ...], mm_per_px: float) -> Array:
    """Give the share of each frequency's power that is left: the same in every round of a fit."""
    rows, columns = (np.fft.fftfreq(n) for n in padded)
    width_px = WAVE_MM / mm_per_px
    lost = np.exp(-2.0 * np.pi**2 * width_px**2 * (rows[:, None] ** 2 + columns[None, :] ** 2))
    left = np.fft.ifft2((1.0 - lost) ** 2).real * _short_taper(_distance_px(padded) * mm_per_px)
    return frozen(np.fft.rfft2(left).real)


def _distance_px(padded: tuple[int, ...]) -> Array:
    """Give the length of each lag of a grid without wrap-round, px."""
    down, across = (np.minimum(np.arange(n), n - np.arange(n)) for n in padded)
    return np.hypot(down[:, None], across)


def _restored(covariance: Array, away_mm: Array, known: NDArray[np.bool_], reach_mm: float) -> Array:
    """Give the spectrum of a covariance measured on residuals, taken to zero at 1.5 times its reach.

    Whatever took the slow part out of the residuals, a fit or a filter, left them anticorrelated at a
    distance where the noise itself is not: that offset, read in a ring about the reach, is given back.
    Negative powers are cut.
    """
    ring = (away_mm > 0.75 * reach_mm) & (away_mm < 1.25 * reach_mm) & known
    taken = -min(float(covariance[ring].mean()), 0.0) if ring.any() else 0.0
    end_mm = 1.5 * reach_mm
    taper = np.where(away_mm < end_mm, np.cos(0.5 * np.pi * away_mm / end_mm) ** 2, 0.0)
    return np.maximum(np.fft.rfft2((covariance + taken) * taper).real, 0.0)


@dataclass(frozen=True, slots=True)
class _Lags:
    """A mask and the number of its pixel pairs at every lag, on a grid without wrap-round."""

    mask: NDArray[np.bool_]
    padded: tuple[int, int]
    pairs: Array
    distance_px: Array

    @classmethod
    def of(cls, mask: NDArray[np.bool_], mm_per_px: float) -> _Lags:
        from scipy.fft import next_fast_len

        reach = int(np.ceil(1.5 * TAPER_MM / mm_per_px))
        # sizes that factor into small primes, which the FFT likes
        padded_y, padded_x = (next_fast_len(n + min(reach, n), real=True) for n in mask.shape)
        padded = (padded_y, padded_x)
        pairs = np.fft.irfft2(np.abs(np.fft.rfft2(mask.astype(np.float64), padded)) ** 2, padded)
        return cls(mask, padded, pairs, _distance_px(padded))

    @property
    def known(self) -> NDArray[np.bool_]:
        """Lags with enough pairs to say anything: more than 30, whatever the FFT's rounding makes of 30."""
        return self.pairs > 30.5

    def covariance(self, field: Array) -> Array:
        """Give the mean product of pixel pairs at every lag, zero where too few pairs are known."""
        power = np.fft.irfft2(
            np.abs(np.fft.rfft2(np.where(self.mask, field, 0.0), self.padded)) ** 2, self.padded
        )
        return np.where(self.known, power / np.maximum(self.pairs, 1.0), 0.0)


def _without_waves(values: Array, mask: NDArray[np.bool_], width_px: float) -> Array:
    """Take the slow part out of a field: values less their Gaussian mean over the mask; zero outside."""
    from scipy.ndimage import gaussian_filter

    limit = 6.0 * robust_sd(values[mask])
    kept = np.where(mask, np.clip(values, -limit, limit), 0.0)
    weight = gaussian_filter(mask.astype(np.float64), width_px, mode="constant", truncate=3.0)
    slow = gaussian_filter(kept, width_px, mode="constant", truncate=3.0) / np.maximum(weight, 1e-9)
    return np.where(mask, values - slow, 0.0)


def correlated_meat(maps: Array, noise: MapNoise, *, whole: bool = False) -> Array:
    """Give M' C M for weighted slope maps M and the correlation C of the noise, without ever forming C.

    Parameters
    ----------
    maps : array, shape (k, h, w), zero outside the data
    whole : bool, use the covariance of all residuals instead of that of the noise alone

    Returns
    -------
    array, shape (k, k)
    """
    spectrum = noise.whole_spectrum if whole else noise.spectrum
    if spectrum is None:
        flat = maps.reshape(len(maps), -1)
        return np.asarray(flat @ flat.T * noise.inflation)
    freq = np.fft.rfft2(maps, noise.padded)
    # the half plane stands for the whole: every column but the first (and the last of an even width) counts
    # twice
    double = np.full(freq.shape[2], 2.0)
    double[0] = 1.0
    if noise.padded[1] % 2 == 0:
        double[-1] = 1.0
    weighted = freq * (spectrum * double)
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
