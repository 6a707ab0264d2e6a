"""A depth profile as evidence: measured depths along a line beside the solved model's along the same line.

A profile has no camera, so the head's six unknowns shrink to an offset and a slope along the line.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from bite.fit.block import ON_SKIN, ON_TEETH, Block, Look
from bite.fit.causes import PER_CENT, PER_DEG, Cause, in_order
from bite.fit.linear import Linear, huber_weight, robust_sd
from bite.fit.noise import CLIP_SD
from bite.fit.parameters import COUNT, P
from bite.geometry.rigid import Array

MISPLACED_MM = 0.3
"""A solved lip edge stands no better than this along the line: a profile has no unknown of its own for it
(our choice)."""
LEAST_ROW = 3
"""A row needs so many readings to be asked for an offset of its own (our choice: two tell a slope of the
line as well)."""
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
class ProfileBlock(Block):
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
    def many(self) -> bool:
        """A line tells how many of its residuals are clipped."""
        return True

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
        """Give D J' W C W J D', shape (d, d), for directions D, (d, 14); ``extra``, (e, n), more slopes."""
        slopes = seen.slopes if extra is None else np.column_stack([seen.slopes, extra.T])
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

    def clipped_scatter(self, seen: ProfilePrediction, directions: Array, extra: Array) -> Array:
        """Give the covariance of the summed clipped residuals: the scatter, less what clipping took."""
        used, linear = seen.used, self.linear_of(seen)
        laid = np.zeros((len(self.along_mm), len(extra)))
        laid[used] = self.slope_rows(seen, extra) * self.sigma_mm[used, None]
        trust = huber_weight(linear.residual)
        shrunk = np.mean((linear.residual * trust) ** 2) / max(float(np.mean(trust**2)), 1e-300)
        return np.asarray(self.scatter(seen, directions, laid.T) * shrunk)

    def slope_rows(self, seen: ProfilePrediction, slopes: Array) -> Array:
        """Give slopes at the readings in use, over sigma, shape (m, k)."""
        return np.asarray(slopes[:, seen.used].T / self.sigma_mm[seen.used, None])

    def lower_forward(self, seen: ProfilePrediction) -> Array | None:
        """Slope by the lower row alone, (1, n), where either row has readings enough."""
        lower = self.lower & self.teeth
        if not lower.any() or lower.sum() == self.teeth.sum():
            return None
        enough = [(row & seen.used).sum() >= LEAST_ROW for row in (lower, self.teeth & ~lower)]
        return np.where(lower, seen.slopes[:, P.FORWARD_MM], 0.0)[None] if all(enough) else None

    def kinds(self, seen: ProfilePrediction) -> NDArray[np.str_]:
        """Tell depth on teeth from depth on skin."""
        return np.where(seen.teeth_share[seen.used] > 0.5, ON_TEETH, ON_SKIN)

    def cause_slopes(self, seen: ProfilePrediction, parameters: Array) -> Array:
        """Give d(predicted depth)/d(unknown) of every unknown along the line, shape (k, n), mm per unit.

        A line says nothing of size and roll, and its own offset and slope take up what a head does. The part
        of a slope that is the lower row's is taken by where its readings lie.
        """
        own = seen.slopes.T
        none = np.zeros((1, own.shape[1]))
        teeth = own[P.ENAMEL_BIAS_MM]
        arm = self.along_mm - (self.along_mm[self.teeth].mean() if self.teeth.any() else 0.0)
        skin_forward = float(np.median(self.by_motion[0][~self.teeth])) if not self.teeth.all() else 0.0
        down = 1.0
        if self.lower.any() and (self.teeth & ~self.lower).any():
            upper = self.along_mm[self.teeth & ~self.lower].mean()
            down = np.sign(self.along_mm[self.lower].mean() - upper)
        return in_order(
            {
                Cause.FORWARD: own[[P.FORWARD_MM]],
                Cause.LATERAL: own[[P.RIGHT_MM, P.UP_MM]],
                Cause.SIZE: none,
                Cause.TURN: np.stack([-down * arm * own[P.FORWARD_MM] * PER_DEG, none[0]]),
                Cause.ROWS: np.where(self.lower, own[[P.FORWARD_MM, P.UP_MM]], 0.0),
                # skin forward is nearer by as much as teeth forward are, where there is no tooth
                Cause.LIPS: (skin_forward * (1.0 - teeth))[None],
                Cause.HEAD: np.concatenate([none, none, own[[P.PROFILE_OFFSET_MM]]]),
                Cause.ENAMEL: teeth[None],
                Cause.SCALE: np.nan_to_num(seen.depth_mm)[None] * PER_CENT,
            }
        )

    def with_cause(self, cause: Cause, values: Array) -> ProfileBlock:
        """Give the block with its solved depths mended, or its readings where their scale is off."""
        if cause is Cause.SCALE:
            return replace(self, measured_mm=self.measured_mm / (1.0 + PER_CENT * values[0]))
        return replace(self, solved_mm=self.solved_mm + self._moved_mm(cause, values))

    def _moved_mm(self, cause: Cause, values: Array) -> Array:
        """Give what a cause adds to the sharp depths, mm, to first order."""
        teeth, forward, up = self.teeth, self.by_motion[0], self.by_motion[2]
        if cause is Cause.FORWARD:
            return np.asarray(values[0] * forward * teeth)
        if cause is Cause.LATERAL:
            return np.asarray((values[0] * self.by_motion[1] + values[1] * up) * teeth)
        if cause is Cause.ROWS:
            return np.asarray((values[0] * forward + values[1] * up) * self.lower)
        if cause is Cause.LIPS and not teeth.all():
            return np.where(teeth, 0.0, values[0] * np.median(forward[~teeth]))
        # what a line hardly tells is left to the slopes alone
        return np.zeros(len(teeth))

    def alone(self, look: Look) -> float:
        """Give the variance that the line brings to the offset, mm^2."""
        return float(self.scatter(look.seen, look.direction[None]).item())

    def apart(self, look: Look, other: Look) -> float | None:
        """None: what two looks at one line share is told by its model (``recheck.profile_looks``)."""
        return None
