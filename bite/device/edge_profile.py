"""The edge spread function in depth: readings against their distance from the card's edge, filters fitted.

The slanted-edge method of ISO 12233 (its principle, from memory), on depth in place of brightness: an edge at
a slope to the grid is met by pixels at every fraction of a pixel, so that readings sorted by their distance
to the fitted line sample the profile much finer than the grid does.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from bite.device.band import Band
from bite.device.filters import (
    Profile,
    edge_preserving_profile,
    median_profile,
    smoothing_of,
    step_profile,
    window_of,
)
from bite.device.flat_noise import FlatNoise
from bite.fit.linear import HUBER, huber_weight
from bite.geometry.rigid import Array

_MEDIAN_WINDOWS = (3, 5, 7, 9)
"""Windows that depth sensors are known to use, from memory; larger ones lose any strip of teeth."""
_RANGE_SHARES = (0.04, 0.08, 0.14, 0.22, 0.32, 0.45, 0.65, 0.95)
"""How far in depth an edge-preserving filter looks, as shares of the step, evenly in their logarithm."""
_LARGEST_PX = 8.0
"""A sensor that smooths with a larger sd shows no teeth at all."""
_LEAST_REACH_PX = 0.7
"""A filter that reaches less far does nothing to neighbours a pixel apart."""
_PULLS = (1.0, 0.6)
"""A median thins correlated noise less than white noise, so that there was less of it before."""
_PLACES = 7
"""Place, turn and bend of the edge, and level and slope on either side."""
_RISE_PX = 0.02
"""Slopes of a profile are taken over this much: small beside a pixel, large beside rounding."""


@dataclass(frozen=True, slots=True)
class FilterFit:
    """One filter fitted to a band.

    Parameters
    ----------
    kind : str, "gauss", "box", "median", "edge-preserving" or "none"
    smoothing_px : float, sd of its window, px
    variance_sd : float, sd of smoothing_px squared; infinite where it was not fitted
    place : array, shape (7,)
        Shift, turn and bend of the edge against the band's first line, px; level and slope along the edge of
        the card's and of the wall's readings, shares of the step.
    at_px : array, shape (n,), distances from the fitted edge
    residual : array, shape (n,), (measured - fitted) / sigma
    profile : function from distance to share of the wall
    """

    kind: str
    smoothing_px: float
    variance_sd: float
    place: Array
    at_px: Array
    residual: Array
    profile: Profile

    @property
    def loss(self) -> Array:
        """Huber loss of each reading, shape (n,)."""
        return huber_loss(self.residual)


def fit_linear(band: Band, kind: str, correlation_px: float, *, fixed_px: float | None = None) -> FilterFit:
    """Fit a Gaussian or a box of unknown size, with the edge's place, turn and bend and both levels.

    The sd counts how the noise is correlated: a sandwich, with the noise's own correlation in the middle.

    Parameters
    ----------
    band : Band
    kind : str, "gauss" or "box"
    correlation_px : float, of the noise, px
    fixed_px : float, optional
        The smoothing, where it is not to be fitted.
    """

    def profile_at(size: float) -> Profile:
        if kind == "gauss":
            return lambda x: step_profile(x, band.normal, gauss_px=max(size, 0.0))
        return lambda x: step_profile(x, band.normal, window_px=window_of(max(size, 0.0)))

    if fixed_px is not None:
        place, residual, at = _fit_place(band, profile_at(fixed_px))
        name = "none" if fixed_px == 0 else kind
        return FilterFit(name, fixed_px, np.inf, place, at, residual, profile_at(fixed_px))
    size, place, residual, at = _fit_size(band, profile_at)
    variance_sd = _variance_sd(band, profile_at, size, place, residual, correlation_px)
    return FilterFit(kind, size, variance_sd, place, at, residual, profile_at(size))


def best_median(band: Band, noise: tuple[FlatNoise, FlatNoise], start: FilterFit) -> FilterFit:
    """Fit the profile behind medians of 3 to 9 pixels, and give the best.

    Parameters
    ----------
    band : Band
    noise : (FlatNoise, FlatNoise), of card and wall
    start : FilterFit, of this band: where the edge lies
    """
    shares = (noise[0].noise_mm / band.step_mm, noise[1].noise_mm / band.step_mm)
    offered: list[tuple[float, Profile]] = []
    for window in _MEDIAN_WINDOWS:
        for part in _PULLS:
            noise_before = (part * shares[0], part * shares[1])
            profile = partial(median_profile, normal=band.normal, window_px=window, noise=noise_before)
            offered.append((smoothing_of(window), profile))
    return _best(band, "median", offered, start)


def best_edge_preserving(band: Band, correlation_px: float, start: FilterFit) -> FilterFit:
    """Fit edge-preserving filters of several reaches and strengths, and give the best.

    Parameters
    ----------
    band : Band
    correlation_px : float
        Of the noise: where the filter made it, the sd of its window.
    start : FilterFit
        A Gaussian's, of this band: where the edge lies, and where it is not sharp, how far the window reaches
        at least.
    """
    around = (correlation_px, 1.2 * start.smoothing_px, 1.6 * start.smoothing_px)
    offered = [
        (reach_px, edge_preserving_profile(band.normal, reach_px=reach_px, range_share=range_share))
        for reach_px in sorted({round(max(reach, _LEAST_REACH_PX), 2) for reach in around})
        for range_share in _RANGE_SHARES
    ]
    return _best(band, "edge-preserving", offered, start)


def _best(band: Band, kind: str, offered: Sequence[tuple[float, Profile]], start: FilterFit) -> FilterFit:
    """Take the profile that fits best with the edge where it was found, and fit the edge's place again."""
    losses = [
        float(huber_loss((band.share - _predict(band, profile, start.place)[1]) / band.sigma).sum())
        for _, profile in offered
    ]
    size, profile = offered[int(np.argmin(losses))]
    place, residual, at = _fit_place(band, profile)
    return FilterFit(kind, size, np.inf, place, at, residual, profile)


def huber_loss(residual: Array) -> Array:
    """Give Huber's loss of residuals over sigma, shape (n,)."""
    size = np.abs(residual)
    return np.where(size <= HUBER, 0.5 * size**2, HUBER * (size - 0.5 * HUBER))


def _predict(band: Band, profile: Profile, place: Array) -> tuple[Array, Array]:
    """Give distances from the moved edge and the shares predicted there."""
    along = band.along_px / max(0.5 * band.length_px, 1.0)
    at = band.distance_px - place[0] - place[1] * along - place[2] * along**2
    low, high = place[3] + place[4] * along, 1 + place[5] + place[6] * along
    return at, low + (high - low) * profile(at)


def _place_slopes(band: Band, profile: Profile, place: Array) -> Array:
    """Give the slopes of the predicted shares in the edge's place and both levels, shape (n, 7)."""
    along = band.along_px / max(0.5 * band.length_px, 1.0)
    at = band.distance_px - place[0] - place[1] * along - place[2] * along**2
    low, high = place[3] + place[4] * along, 1 + place[5] + place[6] * along
    share = profile(at)
    rise = (high - low) * (profile(at + _RISE_PX) - profile(at - _RISE_PX)) / (2 * _RISE_PX)
    moved = (-rise, -rise * along, -rise * along**2)
    return np.column_stack((*moved, 1 - share, (1 - share) * along, share, share * along))


def _fit_place(band: Band, profile: Profile) -> tuple[Array, Array, Array]:
    from scipy.optimize import least_squares

    def residual(place: Array) -> Array:
        return np.asarray((band.share - _predict(band, profile, place)[1]) / band.sigma)

    found = least_squares(
        residual,
        np.zeros(_PLACES),
        lambda place: -_place_slopes(band, profile, place) / band.sigma[:, None],
        loss="huber",
        f_scale=HUBER,
        x_scale=_scales(band),
    )
    return found.x, residual(found.x), _predict(band, profile, found.x)[0]


def _fit_size(band: Band, profile_at: Callable[[float], Profile]) -> tuple[float, Array, Array, Array]:
    from scipy.optimize import least_squares

    def residual(unknown: Array) -> Array:
        predicted = _predict(band, profile_at(float(unknown[0])), unknown[1:])[1]
        return np.asarray((band.share - predicted) / band.sigma)

    def slopes(unknown: Array) -> Array:
        size, place = float(unknown[0]), unknown[1:]
        step = 0.01
        low = max(size - step, 0.0)
        of_size = (
            _predict(band, profile_at(size + step), place)[1] - _predict(band, profile_at(low), place)[1]
        ) / (size + step - low)
        every = np.column_stack((of_size, _place_slopes(band, profile_at(size), place)))
        return np.asarray(-every / band.sigma[:, None])

    low, high = np.full(_PLACES + 1, -np.inf), np.full(_PLACES + 1, np.inf)
    low[0], high[0] = 0.0, _LARGEST_PX
    found = least_squares(
        residual,
        np.r_[1.5, np.zeros(_PLACES)],
        slopes,
        bounds=(low, high),
        loss="huber",
        f_scale=HUBER,
        x_scale=np.r_[0.3, _scales(band)],
    )
    size, place = float(found.x[0]), found.x[1:]
    return size, place, residual(found.x), _predict(band, profile_at(size), place)[0]


def _scales(band: Band) -> Array:
    level = max(float(np.median(band.sigma)), 1e-4)
    return np.array([0.1, 0.1, 0.1, level, level, level, level])


def _variance_sd(
    band: Band,
    profile_at: Callable[[float], Profile],
    size: float,
    place: Array,
    residual: Array,
    correlation_px: float,
) -> float:
    """Give the sd of the smoothing's variance, px^2: a sandwich with the noise's correlation inside."""
    variance = size**2
    step = max(0.02, 0.02 * variance)
    low, high = max(variance - step, 0.0), variance + step

    def predicted(v: float, p: Array) -> Array:
        return _predict(band, profile_at(float(np.sqrt(v))), p)[1]

    of_variance = (predicted(high, place) - predicted(low, place)) / (high - low)
    every = np.column_stack((of_variance, _place_slopes(band, profile_at(size), place)))
    slope = every / band.sigma[:, None]
    weighted = slope * huber_weight(residual)[:, None]
    inverse = np.linalg.pinv(slope.T @ weighted)
    reach = int(np.ceil(4 * correlation_px)) + 1
    shape = (band.shape[0] + reach, band.shape[1] + reach)  # room, so that nothing comes round the other side
    y, x = (np.fft.fftfreq(size, 1 / size) for size in shape)
    apart = x[None, :] ** 2 + y[:, None] ** 2
    kernel = np.where(apart <= reach**2, np.exp(-apart / (4 * max(correlation_px, 1e-3) ** 2)), 0.0)
    spectrum = np.fft.rfft2(kernel)
    spread = np.empty_like(weighted)
    for k in range(weighted.shape[1]):
        grid = np.zeros(shape)
        grid[band.row, band.column] = weighted[:, k]
        spread[:, k] = np.fft.irfft2(np.fft.rfft2(grid) * spectrum, shape)[band.row, band.column]
    covariance = inverse @ (weighted.T @ spread) @ inverse
    # residuals larger than the flats' noise (a profile that fits badly) widen the sd, smaller ones do not
    scale = max(1.0, float(np.sqrt(np.mean(np.minimum(np.abs(residual), 4.0) ** 2))))
    return float(np.sqrt(max(covariance[0, 0], 0.0))) * scale
