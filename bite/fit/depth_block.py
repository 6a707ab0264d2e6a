"""The depth map as evidence: render the solved model, smooth it as the sensor does, compare.

What each pixel sees of the model, and how that follows each unknown, is the mean over its area
(``area_view``); the whole is smoothed like the depth itself.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from bite.fit import depth_answers, depth_learned
from bite.fit.area_view import ENAMEL, LOWER_FORWARD, OTHER_SHARE, SKIN_OUT, SKIN_UP, AreaView, area_view
from bite.fit.block import ON_SKIN, ON_TEETH, Block, Look
from bite.fit.causes import PER_CENT, Cause, moved_head
from bite.fit.depth_prediction import Prediction
from bite.fit.head import Head
from bite.fit.linear import Linear
from bite.fit.noise import MapNoise, correlated_meat
from bite.fit.parameters import COUNT, GEOMETRIC, P
from bite.fit.seen_model import SeenModel, seen_model
from bite.fit.skin_moves import START_SPREAD, SkinMoves, SkinSpread
from bite.fit.smoothing import GAUSS, Kind, SensorFilter, Smoothed, smooth
from bite.fit.tooth_moves import NO_TOOTH_MOVES, ToothMoves
from bite.fit.tooth_moves import START_SD_MM as TOOTH_START_SD_MM
from bite.fit.which_filter import LEAST_PX, steepness
from bite.geometry.render import Grid
from bite.geometry.rigid import Array
from bite.geometry.teeth import LOWER, UPPER

NEAR_TEETH_MM = 20.0
"""Skin counts by exp(-(distance to the teeth / 20 mm)^2): far skin says little about how the head sits at
the mouth."""
FULL_DENSITY_MM, THINNING = 6.0, 3
"""Beyond this distance from teeth every third pixel of every third row is used, at nine times the weight."""
BOXY_SD, BOXY_TOLD_SD = 0.7, 0.05
"""A mean is 0 where it is a Gaussian, 1 where it is a box, and less than 0 where it is more peaked: how far
it may be from a Gaussian, and from what the device's table says (our choice)."""
_FARTHEST = 0.05
"""Nearness from which skin is looked at, 35 mm off the teeth: farther rims are rendered through pixels'
centres (our choice)."""
_COVERAGE_NEEDED, _OTHER_ALLOWED = 0.9, 0.1
"""Share of a smoothed pixel's weight that lies on solid surface, and of it on parts that are no evidence (our
choice: beyond, the prediction hangs on what the model does not hold)."""


@dataclass(frozen=True, slots=True)
class DepthBlock(Block):
    """A measured depth map (mm, NaN for no reading) on a grid of its camera, beside a solved head."""

    head: Head
    skin: SkinMoves
    grid: Grid
    measured_mm: Array
    noise: MapNoise
    step_mm: float
    mm_per_px: float
    spread: SkinSpread = START_SPREAD
    teeth: ToothMoves = NO_TOOTH_MOVES
    tooth_sd_mm: float = TOOTH_START_SD_MM
    relative_sd: Array | None = None
    """how much noisier than most a pixel is, shape (h, w); None: all alike"""
    sensor: SensorFilter = GAUSS
    told: bool = False
    """whether the device's table names the kind of filter, so that no other is tried"""
    step_px: float = LEAST_PX
    """shift of map against model that the steps leave open"""
    trust: Array | None = None
    """share of its weight that a pixel keeps beside strange patches of skin, shape (h, w); None: all of it"""

    @property
    def name(self) -> str:
        """Kind of evidence."""
        return "depth"

    @property
    def extra_precision(self) -> Array:
        """Precision of the priors: shapes of the skin, bumps of the teeth, how boxy the filter is."""
        teeth = self.teeth.precision(self.tooth_sd_mm)
        boxy_sd = BOXY_TOLD_SD if self.told else BOXY_SD
        return np.concatenate([self.skin.precision(self.spread), teeth, [boxy_sd**-2]])

    @property
    def boxy_place(self) -> int:
        """Where among the block's parameters stands how boxy the filter is."""
        return COUNT + self.skin.count + self.teeth.count

    def own(self, parameters: Array) -> tuple[Array, Array]:
        """Give the heights of the skin's shapes and of the teeth's bumps."""
        own = parameters[COUNT : self.boxy_place]
        return own[: self.skin.count], own[self.skin.count :]

    @property
    def many(self) -> bool:
        """A map tells how many of its residuals are clipped."""
        return True

    def _waved(self, parameters: Array) -> Head:
        """Give the solved model with skin and crowns moved; unknowns of later blocks may follow."""
        skin, teeth = self.own(parameters)
        moved = self.teeth.displaced(self.skin.displaced(self.head.points_mm, skin), teeth)
        return replace(self.head, points_mm=moved)

    def area_view(self, parameters: Array, *, slopes: bool = True) -> AreaView:
        """Give what each pixel sees of the model before the sensor smooths it, and its slopes if asked."""
        head = self._waved(parameters)
        return area_view(self._seen(head, parameters), head, parameters, slopes=slopes)

    def _seen(self, head: Head, parameters: Array) -> SeenModel:
        return seen_model(self.grid, head, parameters, self.mm_per_px)

    def appearance(self, parameters: Array) -> tuple[Array, Array, Array]:
        """Give what the sensor would see: sharp and smoothed depth, mm, and the share of enamel."""
        return self.appearance_of(self.area_view(parameters, slopes=False), parameters)

    def appearance_of(self, sharp: AreaView, parameters: Array) -> tuple[Array, Array, Array]:
        """Give what the sensor would see of what each pixel sees there; see ``appearance``."""
        enamel = sharp.enamel
        biased = sharp.depth_mm + parameters[P.ENAMEL_BIAS_MM] * enamel
        solid = sharp.part >= 0
        seen_mm, share = self.sensed(np.stack([biased, enamel]), solid, parameters).maps
        if len(parameters) > self.boxy_place:
            slope = self._boxy_slope(biased, seen_mm, solid, float(parameters[P.SMOOTHING_PX]))
            seen_mm = seen_mm + parameters[self.boxy_place] * slope
        return sharp.depth_mm, seen_mm, share

    def sensed(
        self, maps: Array, solid: NDArray[np.bool_], parameters: Array, *, slope: bool = False
    ) -> Smoothed:
        """Filter maps as the sensor does its own; a median goes by the first."""
        return smooth(maps, solid, float(parameters[P.SMOOTHING_PX]), self.sensor, slope=slope)

    def _boxy_slope(self, sharp_mm: Array, smoothed_mm: Array, solid: NDArray[np.bool_], px: float) -> Array:
        """Give how a box of the same blur would differ from a Gaussian; nothing for other filters."""
        if self.sensor.kind is not Kind.GAUSS:
            return np.zeros(solid.shape)
        boxed = smooth(sharp_mm[None], solid, px, SensorFilter(Kind.BOX), slope=False).maps[0]
        return np.asarray(boxed - smoothed_mm)

    def predict(self, parameters: Array) -> Prediction:
        """Give what the sensor would see and how that changes with each unknown."""
        if len(parameters) == COUNT:
            parameters = np.concatenate([parameters, np.zeros(self.boxy_place + 1 - COUNT)])
        head = self._waved(parameters)
        model = self._seen(head, parameters)
        sharp = area_view(model, head, parameters)
        part, maps = sharp.part, sharp.maps
        solid, teeth = part >= 0, (part == UPPER) | (part == LOWER)
        smoothing_px = float(parameters[P.SMOOTHING_PX])
        biased = sharp.depth_mm + parameters[P.ENAMEL_BIAS_MM] * maps[ENAMEL]
        blurred = self.sensed(np.concatenate([biased[None], maps]), solid, parameters, slope=True)
        assert blurred.first_by_smoothing is not None
        depth_mm, blurred_maps = blurred.maps[0], blurred.maps[1:]
        teeth_share, skin_out, skin_up, other_share, lower_forward = (
            blurred_maps[k] for k in (ENAMEL, SKIN_OUT, SKIN_UP, OTHER_SHARE, LOWER_FORWARD)
        )
        boxy_slope = self._boxy_slope(biased, depth_mm, solid, smoothing_px)
        depth_mm = depth_mm + parameters[self.boxy_place] * boxy_slope
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
        doubt = self._doubt(solid, readable, biased, depth_mm, parameters) / self.sigma_mm(teeth_share) ** 2
        plain = weight = nearness * density / (1.0 + doubt)
        if self.trust is not None:
            weight = weight * self.trust
        readable &= nearness > _FARTHEST
        used = readable & (weight > 0)
        points_mm = sharp.points_mm[used[solid]]
        by_skin = self.skin.at(self.head, points_mm)
        by_skin *= np.where(self.skin.along_up, skin_up[used, None], skin_out[used, None])
        lower_by = lower_forward[used]
        by_teeth = self.teeth.slopes(self.head, points_mm, slopes[P.FORWARD_MM, used] - lower_by, lower_by)
        own_slopes = np.concatenate([by_skin, by_teeth, boxy_slope[used, None]], axis=1)
        return Prediction(
            biased, part, depth_mm, slopes, own_slopes, teeth_share, lower_forward, nearness,
            readable, used, np.where(used, weight, 0.0), np.where(used, plain, 0.0), model,
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
        parameters: Array,
    ) -> Array:
        """Give the variance, mm^2, of what the model cannot say of a pixel."""
        # holes: did the sensor smooth before or after it lost them? Where that matters, trust the pixel less
        both = self.sensed(biased_mm[None], solid & np.isfinite(self.measured_mm), parameters).maps[0]
        steep = steepness(depth_mm) * self.step_px
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
        slope = np.empty((len(sigma), COUNT + seen.own_slopes.shape[1]))
        slope[:, :COUNT] = seen.slopes[:, used].T
        slope[:, COUNT:] = seen.own_slopes
        slope /= sigma[:, None]
        return Linear(residual, slope, seen.weight[used] / self.noise.inflation, seen.plain_weight[used])

    def with_noise_from(self, seen: Prediction, parameters: Array, covariance: Array | None) -> DepthBlock:
        """Give the block with noise and the spreads of its skin's unknowns learned from how things stand."""
        return depth_learned.with_noise_from(self, seen, parameters, covariance)

    def scatter(
        self, seen: Prediction, directions: Array, extra: Array | None = None, *, whole: bool = False
    ) -> Array:
        """Give D J' W C W J D', shape (d, d), for directions D, shape (d, 14 + j).

        Slopes are combined first, so that the noise is applied once a direction and not once an unknown.
        ``extra``, shape (e, h, w), is more slope maps; directions then have as many more columns. ``whole``
        counts the slow misfit of the skin as noise too.
        """
        used = seen.used
        columns = [seen.slopes[:, used].T, seen.own_slopes]
        if extra is not None:
            columns.append(extra[:, used].T)
        trust = self.linear_of(seen).robust_weight / self.sigma_mm(seen.teeth_share)[used]
        maps = np.zeros((len(directions), *used.shape))
        maps[:, used] = directions @ np.concatenate(columns, axis=1).T * trust
        return correlated_meat(maps, self.noise, whole=whole)

    def clipped_scatter(self, seen: Prediction, directions: Array, extra: Array) -> Array:
        """Give the covariance of the summed clipped residuals, learned from those residuals."""
        return depth_answers.clipped_scatter(self, seen, directions, extra)

    def slope_rows(self, seen: Prediction, slopes: Array) -> Array:
        """Give slope maps at the pixels in use, over sigma, shape (m, k)."""
        return np.asarray(slopes[:, seen.used].T / self.sigma_mm(seen.teeth_share)[seen.used, None])

    def lower_forward(self, seen: Prediction) -> Array | None:
        """Slope map by the lower row alone, where both rows show."""
        return depth_answers.lower_forward(seen)

    def kinds(self, seen: Prediction) -> NDArray[np.str_]:
        """Tell depth on teeth from depth on skin."""
        return np.where(seen.teeth_share[seen.used] > 0.5, ON_TEETH, ON_SKIN)

    def cause_slopes(self, seen: Prediction, parameters: Array) -> Array:
        """Slope maps by every unknown of every cause, zero where no pixel is in use."""
        return np.where(seen.used, depth_answers.cause_slopes(self, seen, parameters), 0.0)

    def with_cause(self, cause: Cause, values: Array) -> DepthBlock:
        """Give the block with its model mended, or its readings where their scale is off."""
        if cause is Cause.SCALE:
            return replace(self, measured_mm=self.measured_mm / (1.0 + PER_CENT * values[0]))
        return replace(self, head=moved_head(self.head, cause, values))

    def alone(self, look: Look) -> float:
        """Give the variance that the map brings to the offset, mm^2."""
        return depth_answers.alone(self, look)

    def apart(self, look: Look, other: Look) -> float | None:
        """Give what one map in two windows leaves in the difference, mm^2."""
        two = other.block
        return depth_answers.apart(self, look, two, other) if isinstance(two, DepthBlock) else None
