"""The depth map as evidence: render the solved model, smooth it as the sensor does, compare.

What each pixel sees of the model, and how that follows each unknown, is the mean over its area
(``area_view``); the whole is smoothed like the depth itself.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from bite.fit.area_view import ENAMEL, LOWER_FORWARD, OTHER_SHARE, SKIN_OUT, AreaView, area_view
from bite.fit.head import Head
from bite.fit.linear import Linear
from bite.fit.noise import MapNoise, correlated_meat, map_noise
from bite.fit.parameters import COUNT, GEOMETRIC, P
from bite.fit.skin_waves import START_SD_MM, SkinWaves, learned_sd_mm
from bite.fit.smoothing import smooth
from bite.geometry.render import Grid
from bite.geometry.rigid import Array
from bite.geometry.teeth import LOWER, SKIN, UPPER

NEAR_TEETH_MM = 20.0
"""Skin counts by exp(-(distance to the teeth / 20 mm)^2): far skin says little about how the head sits at
the mouth."""
MISREGISTRATION_PX = 0.1
"""Depth steps are trusted no better than this shift of map against model (common practice, no source)."""
FULL_DENSITY_MM, THINNING = 6.0, 3
"""Beyond this distance from teeth every third pixel of every third row is used, at nine times the weight."""
_FARTHEST = 0.05
_COVERAGE_NEEDED, _OTHER_ALLOWED = 0.9, 0.1


@dataclass(frozen=True, slots=True)
class Prediction:
    """What the sensor would see, at one point of parameter space; arrays are (h, w) on the block's grid.

    Parameters
    ----------
    sharp_mm : before smoothing, mean over each pixel, NaN where the model has no surface
    part : sharp part labels, -1 where there is none
    depth_mm : after smoothing
    slopes : shape (14, h, w), d(depth)/d(parameter)
    wave_slope : d(depth)/d(skin out along its normal)
    bumps : shape (p, j), value of each skin bump at the pixels in use
    teeth_share : share of each smoothed pixel that comes from enamel
    lower_forward : the part of the forward slope that lower teeth give
    nearness : 1 on teeth, falling over skin with distance from them
    readable : pixels with a reading and a prediction
    used : those that enter the fit
    weight : trust, before scaling by noise
    """

    sharp_mm: Array
    part: NDArray[np.int8]
    depth_mm: Array
    slopes: Array
    wave_slope: Array
    bumps: Array
    teeth_share: Array
    lower_forward: Array
    nearness: Array
    readable: NDArray[np.bool_]
    used: NDArray[np.bool_]
    weight: Array

    def all_slopes(self) -> Array:
        """Slopes by every unknown, skin bumps included, zero outside the pixels in use, (14 + j, h, w)."""
        count = self.bumps.shape[1]
        maps = np.zeros((COUNT + count, *self.used.shape))
        maps[:COUNT] = np.where(self.used, self.slopes, 0.0)
        maps[COUNT:, self.used] = (self.bumps * self.wave_slope[self.used, None]).T
        return maps


@dataclass(frozen=True, slots=True)
class DepthBlock:
    """A measured depth map (mm, NaN for no reading) on a grid of its camera, beside a solved head."""

    head: Head
    waves: SkinWaves
    grid: Grid
    measured_mm: Array
    noise: MapNoise
    step_mm: float
    mm_per_px: float
    wave_sd_mm: float = START_SD_MM
    relative_sd: Array | None = None
    """how much noisier than most a pixel is, shape (h, w); None: all alike"""

    @property
    def name(self) -> str:
        """Kind of evidence."""
        return "depth"

    @property
    def extra_precision(self) -> Array:
        """Precision of the prior of each skin bump, 1 / mm^2, shape (j,)."""
        return np.full(self.waves.count, self.wave_sd_mm**-2)

    @property
    def shares_with(self) -> str:
        """Nothing."""
        return ""

    def _waved(self, parameters: Array) -> Head:
        """Give the solved model with the waves of its skin; unknowns of later blocks may follow."""
        own = parameters[COUNT : COUNT + self.waves.count]
        return replace(self.head, points_mm=self.waves.displaced(self.head.points_mm, own))

    def area_view(self, parameters: Array) -> AreaView:
        """Give what each pixel sees of the model before the sensor smooths it, and its slopes."""
        return area_view(self.grid, self._waved(parameters), parameters, self.mm_per_px)

    def appearance(self, parameters: Array) -> tuple[Array, Array, Array]:
        """Give what the sensor would see: sharp and smoothed depth, mm, and the share of enamel."""
        sharp = self.area_view(parameters)
        enamel = sharp.maps[ENAMEL]
        biased = sharp.depth_mm + parameters[P.ENAMEL_BIAS_MM] * enamel
        maps = smooth(np.stack([biased, enamel]), sharp.part >= 0, float(parameters[P.SMOOTHING_PX])).maps
        return sharp.depth_mm, maps[0], maps[1]

    def predict(self, parameters: Array) -> Prediction:
        """Give what the sensor would see and how that changes with each unknown."""
        if len(parameters) == COUNT:
            parameters = np.concatenate([parameters, np.zeros(self.waves.count)])
        sharp = self.area_view(parameters)
        part, maps = sharp.part, sharp.maps
        solid, teeth = part >= 0, (part == UPPER) | (part == LOWER)
        smoothing_px = float(parameters[P.SMOOTHING_PX])
        biased = sharp.depth_mm + parameters[P.ENAMEL_BIAS_MM] * maps[ENAMEL]
        blurred = smooth(np.concatenate([biased[None], maps]), solid, smoothing_px)
        depth_mm, blurred_maps = blurred.maps[0], blurred.maps[1:]
        teeth_share, wave_slope, other_share, lower_forward = (
            blurred_maps[k] for k in (ENAMEL, SKIN_OUT, OTHER_SHARE, LOWER_FORWARD)
        )
        slopes = np.zeros((COUNT, *part.shape))
        slopes[: len(GEOMETRIC)] = blurred_maps[: len(GEOMETRIC)]
        slopes[P.ENAMEL_BIAS_MM] = teeth_share
        slopes[P.SMOOTHING_PX] = blurred.first_by_smoothing

        # near the cut of the window the sensor smoothed over surface that is not rendered here
        rim = int(np.ceil(3.0 * smoothing_px))
        readable = np.zeros(part.shape, dtype=bool)
        readable[rim:-rim, rim:-rim] = True
        readable &= np.isfinite(self.measured_mm) & solid
        readable &= (blurred.coverage > _COVERAGE_NEEDED) & (other_share < _OTHER_ALLOWED)
        nearness, density = self._nearness(teeth)
        doubt = self._doubt(solid, readable, biased, depth_mm, smoothing_px) / self.sigma_mm(teeth_share) ** 2
        weight = nearness * density / (1.0 + doubt)
        readable &= nearness > _FARTHEST
        used = readable & (weight > 0)
        bumps = self.waves.at(self.head, sharp.points_mm[used[solid]])
        return Prediction(
            sharp.depth_mm, part, depth_mm, slopes, wave_slope, bumps, teeth_share, lower_forward, nearness,
            readable, used, np.where(used, weight, 0.0),
        )  # fmt: skip

    def _nearness(self, teeth: NDArray[np.bool_]) -> tuple[Array, Array]:
        """Give how much a pixel counts by its distance from the teeth, and how many pixels it stands for."""
        from scipy.ndimage import distance_transform_edt

        away_mm = np.zeros(teeth.shape)
        if teeth.any():
            away_mm = distance_transform_edt(~teeth) * self.mm_per_px
        kept = np.zeros(teeth.shape, dtype=bool)
        kept[::THINNING, ::THINNING] = True
        density = np.where(away_mm < FULL_DENSITY_MM, 1.0, np.where(kept, float(THINNING**2), 0.0))
        return np.exp(-((away_mm / NEAR_TEETH_MM) ** 2)), density

    def _doubt(
        self,
        solid: NDArray[np.bool_],
        readable: NDArray[np.bool_],
        biased_mm: Array,
        depth_mm: Array,
        smoothing_px: float,
    ) -> Array:
        """Give the variance, mm^2, of what the model cannot say of a pixel."""
        # holes: did the sensor smooth before or after it lost them? Where that matters, trust the pixel less
        both = smooth(biased_mm[None], solid & np.isfinite(self.measured_mm), smoothing_px).maps[0]
        filled = np.where(np.isfinite(depth_mm), depth_mm, np.nanmedian(depth_mm))
        steep = np.hypot(*np.gradient(filled)) * MISREGISTRATION_PX
        return np.where(readable, np.nan_to_num(depth_mm - both) ** 2 + steep**2, 0.0)

    def sigma_mm(self, teeth_share: Array) -> Array:
        """Give the sd of each pixel, mm: skin's or enamel's."""
        sd = np.where(teeth_share > 0.5, self.noise.teeth_sd_mm, self.noise.skin_sd_mm)
        return sd if self.relative_sd is None else sd * self.relative_sd

    def linear_of(self, seen: Prediction) -> Linear:
        """Turn a prediction into residuals over sigma; the weight also says how many pixels count as one."""
        used = seen.used
        sigma = self.sigma_mm(seen.teeth_share)[used]
        residual = (self.measured_mm[used] - seen.depth_mm[used]) / sigma
        slope = np.empty((len(sigma), COUNT + seen.bumps.shape[1]))
        slope[:, :COUNT] = seen.slopes[:, used].T
        slope[:, COUNT:] = seen.bumps * seen.wave_slope[used, None]
        slope /= sigma[:, None]
        return Linear(residual, slope, seen.weight[used] / self.noise.inflation)

    def with_noise_from(self, seen: Prediction, parameters: Array, covariance: Array | None) -> DepthBlock:
        """Give the block with noise and the spread of skin waves learned from how things stand."""
        residual_mm = np.where(seen.readable, self.measured_mm - seen.depth_mm, 0.0)
        if self.relative_sd is not None:
            residual_mm = residual_mm / self.relative_sd
        skin = seen.readable & (seen.part == SKIN) & (seen.teeth_share < 0.02)
        noise = map_noise(
            residual_mm,
            skin,
            seen.readable & (seen.teeth_share > 0.9),
            mm_per_px=self.mm_per_px,
            floor_mm=self.step_mm / np.sqrt(12.0),
            start=self.noise,
        )
        wave_sd_mm = self.wave_sd_mm
        if covariance is not None:
            wave_sd_mm = learned_sd_mm(parameters[COUNT:], np.diag(covariance)[COUNT:], self.wave_sd_mm)
        return replace(self, noise=noise, wave_sd_mm=wave_sd_mm)

    def scatter(
        self, seen: Prediction, directions: Array, extra: Array | None = None, *, whole: bool = False
    ) -> Array:
        """Give D J' W C W J D', shape (d, d), for directions D, shape (d, 14 + j).

        The maps are combined first, so that the noise is applied once a direction and not once an unknown.
        ``extra``, shape (h, w), is one more slope map; directions then have one more column. ``whole`` counts
        the slow misfit of the skin as noise too.
        """
        maps = seen.all_slopes()
        if extra is not None:
            maps = np.concatenate([maps, np.where(seen.used, extra, 0.0)[None]])
        weight = np.zeros(seen.used.shape)
        weight[seen.used] = self.linear_of(seen).robust_weight
        combined = np.tensordot(directions, maps, axes=1)
        return correlated_meat(combined * (weight / self.sigma_mm(seen.teeth_share)), self.noise, whole=whole)
