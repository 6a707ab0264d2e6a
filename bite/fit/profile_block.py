"""A depth profile as evidence: measured depths along a line beside the solved model's along the same line.

A profile has no camera, so the head's six unknowns shrink to an offset and a slope along the line.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from bite.fit.linear import Linear, robust_sd
from bite.fit.noise import CLIP_SD
from bite.fit.parameters import COUNT, P
from bite.geometry.rigid import Array

MISPLACED_MM = 0.3
"""A solved lip edge stands no better than this along the line: a profile has no unknown of its own for it
(our choice)."""
REACH_MM = 20.0
"""Farthest lag at which residuals of a profile count as correlated."""


@dataclass(frozen=True, slots=True)
class ProfilePrediction:
    """What the sensor would see along the line; shape (n,) and slopes (n, 14), mm."""

    depth_mm: Array
    sharp_mm: Array
    slopes: Array
    teeth_share: Array
    used: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class ProfileBlock:
    """A measured profile.

    Parameters
    ----------
    along_mm, measured_mm, solved_mm : array, shape (n,), mm; NaN for no reading or no surface
    teeth, lower : array of bool, shape (n,): the solved model's surface there is enamel, and of the lower row
    sigma_mm : array, shape (n,): sd of each reading, mm
    by_motion : array, shape (3, n): depth change per mm of teeth forward, right and up, at each reading on
    enamel
    correlation : array, shape (n,), correlation of the noise at lag k readings, or None before it is known
    """

    along_mm: Array
    measured_mm: Array
    solved_mm: Array
    teeth: NDArray[np.bool_]
    lower: NDArray[np.bool_]
    sigma_mm: Array
    by_motion: Array
    correlation: Array | None = None

    @property
    def extra_precision(self) -> Array:
        """No unknowns of its own."""
        return np.zeros(0)

    @property
    def shares_with(self) -> str:
        """Nothing."""
        return ""

    @property
    def name(self) -> str:
        """Kind of evidence."""
        return "depth"

    @property
    def spacing_mm(self) -> float:
        """Median distance between readings, mm: the unit of this block's smoothing."""
        return float(np.median(np.diff(self.along_mm)))

    @property
    def inflation(self) -> float:
        """How many readings count as one."""
        if self.correlation is None:
            return 3.0
        return float(max(1.0, 2.0 * self.correlation.sum() - self.correlation[0]))

    def predict(self, parameters: Array) -> ProfilePrediction:
        """Give what the sensor would see and how that changes with each parameter."""
        arm = self.along_mm - self.along_mm.mean()
        solid = np.isfinite(self.solved_mm)
        slopes = np.zeros((len(arm), COUNT))
        slopes[:, P.PROFILE_OFFSET_MM] = 1.0
        slopes[:, P.PROFILE_SLOPE] = arm
        for k, index in enumerate((P.FORWARD_MM, P.RIGHT_MM, P.UP_MM)):
            slopes[:, index] = self.by_motion[k] * self.teeth
        slopes[:, P.ENAMEL_BIAS_MM] = self.teeth
        sharp = self.solved_mm + slopes @ parameters
        s_mm = float(parameters[P.SMOOTHING_PX]) * self.spacing_mm
        lag = self.along_mm[:, None] - self.along_mm[None, :]
        cell = np.gradient(self.along_mm) * solid
        weights = np.exp(-0.5 * (lag / s_mm) ** 2) * cell
        total = weights.sum(1)
        by_s = weights * (lag**2 / s_mm**3) * self.spacing_mm
        filled = np.where(solid, sharp, 0.0)
        with np.errstate(divide="ignore", invalid="ignore"):
            depth = weights @ filled / total
            first = (by_s @ filled - depth * by_s.sum(1)) / total
            slopes = weights @ slopes / total[:, None]
        slopes[:, P.SMOOTHING_PX] = first
        used = solid & np.isfinite(self.measured_mm)
        return ProfilePrediction(depth, sharp, slopes, slopes[:, P.ENAMEL_BIAS_MM], used)

    @property
    def _doubt_mm(self) -> Array:
        """What a small shift of the solved lips along the line does, mm; signed like the slope."""
        from scipy.ndimage import gaussian_filter1d

        good = np.isfinite(self.solved_mm)
        filled = np.interp(self.along_mm, self.along_mm[good], self.solved_mm[good])
        return np.asarray(np.gradient(gaussian_filter1d(filled, 2.0), self.along_mm) * MISPLACED_MM)

    def linear_of(self, seen: ProfilePrediction) -> Linear:
        """Turn a prediction into residuals over sigma."""
        used, sigma = seen.used, self.sigma_mm[seen.used]
        return Linear(
            (self.measured_mm - seen.depth_mm)[used] / sigma,
            seen.slopes[used] / sigma[:, None],
            1.0 / self.inflation / (1.0 + (self._doubt_mm[used] / self.sigma_mm[used]) ** 2),
        )

    def with_noise_from(
        self, seen: ProfilePrediction, parameters: Array, covariance: Array | None
    ) -> ProfileBlock:
        """Give the block with its sigmas scaled, and their correlation measured, on skin residuals."""
        skin = seen.used & (seen.teeth_share < 0.05)
        if skin.sum() < 8:
            skin = seen.used
        residual = (self.measured_mm - seen.depth_mm) / self.sigma_mm
        scale = max(robust_sd(residual[skin]), 1e-6)
        field = np.where(
            skin, np.clip(residual - np.median(residual[skin]), -CLIP_SD * scale, CLIP_SD * scale), 0.0
        )
        n = len(field)
        power = np.correlate(field, field, "full")[n - 1 :]
        pairs = np.correlate(skin.astype(float), skin.astype(float), "full")[n - 1 :]
        raw = np.where(pairs > 5, power / np.maximum(pairs, 1.0), 0.0)
        lag_mm = np.arange(n) * self.spacing_mm
        # a short line holds few independent stretches: what it says about its own far lags is mostly chance
        reach = min(REACH_MM, 0.25 * (self.along_mm[-1] - self.along_mm[0]))
        # the fit took an offset and a slope with it, which leaves far lags anticorrelated where noise itself
        # is not
        far = (lag_mm > 0.5 * reach) & (lag_mm < 1.5 * reach) & (pairs > 5)
        taken = -min(float(raw[far].mean() / raw[0]), 0.0) if far.any() else 0.0
        taper = np.where(lag_mm < reach, np.cos(0.5 * np.pi * lag_mm / reach) ** 2, 0.0)
        correlation = (raw / raw[0] + taken) / (1.0 + taken) * taper
        return replace(self, sigma_mm=self.sigma_mm * scale, correlation=correlation)

    def scatter(
        self, seen: ProfilePrediction, directions: Array, extra: Array | None = None, *, whole: bool = False
    ) -> Array:
        """Give D J' W C W J D', shape (d, d), for directions D, (d, 14); ``extra`` is one more slope."""
        slopes = seen.slopes if extra is None else np.column_stack([seen.slopes, extra])
        weight = np.zeros(len(self.along_mm))
        weight[seen.used] = self.linear_of(seen).robust_weight / self.sigma_mm[seen.used]
        weighted = np.where(seen.used[:, None], slopes, 0.0) @ directions.T * weight[:, None]
        if self.correlation is None:
            return np.asarray(weighted.T @ weighted * self.inflation)
        n = len(self.along_mm)
        # circulant embedding: negative powers cut, so that the variance cannot come out negative
        ring = np.concatenate([self.correlation, [0.0], self.correlation[:0:-1]])
        power = np.maximum(np.fft.rfft(ring).real, 0.0)
        spread = np.fft.irfft(np.fft.rfft(weighted, 2 * n, axis=0) * power[:, None], 2 * n, axis=0)[:n]
        total = weighted.T @ spread
        # either lip may stand a little higher or lower than solved, which no residual on skin tells
        middle = self.along_mm[self.teeth].mean() if self.teeth.any() else self.along_mm.mean()
        for side in (self.along_mm < middle, self.along_mm >= middle):
            shifted = weighted.T @ np.where(side, self._doubt_mm / self.sigma_mm, 0.0)
            total = total + np.outer(shifted, shifted)
        return np.asarray(total)
