"""The depth map as evidence: render the solved model, smooth it as the sensor does, compare.

A point on the ray d (d_z = 1) of a surface with normal n moves along its ray by (n . delta) / (n . d) when the surface
moves by delta. That map is built on the sharp image for each parameter and then smoothed like the depth itself.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from bite.fit.head import Head, face_moves_with_teeth
from bite.fit.linear import Linear
from bite.fit.noise import MapNoise, correlated_meat, map_noise
from bite.fit.parameters import COUNT, GEOMETRIC, P
from bite.fit.smoothing import smooth
from bite.geometry.render import Grid, face_normals, render
from bite.geometry.rigid import Array
from bite.geometry.teeth import LOWER, OTHER, SKIN, UPPER

NEAR_TEETH_MM = 12.0
"""Skin counts by exp(-(distance to the teeth / 12 mm)^2): far skin says little about how the head sits at the mouth."""
MISREGISTRATION_PX = 0.2
"""Depth steps are trusted no better than this shift of the map against the model (common practice, no source)."""
_GRAZING = 0.1
_COVERAGE_NEEDED = 0.9
_OTHER_ALLOWED = 0.1
_WEIGHT_KEPT = 1e-3


@dataclass(frozen=True, slots=True)
class Prediction:
    """What the sensor would see, at one point of parameter space; arrays are (h, w) on the block's grid.

    Parameters
    ----------
    sharp_mm : before smoothing, NaN where the model has no surface
    part : sharp part labels, -1 where there is none
    depth_mm : after smoothing
    slopes : shape (14, h, w), d(depth)/d(parameter)
    teeth_share : share of each smoothed pixel that comes from enamel
    lower_forward : the part of the forward slope that lower teeth give
    used : pixels with a reading, a prediction and enough trust
    weight : trust in 0..1 before scaling by noise
    """

    sharp_mm: Array
    part: NDArray[np.int8]
    depth_mm: Array
    slopes: Array
    teeth_share: Array
    lower_forward: Array
    used: NDArray[np.bool_]
    weight: Array


@dataclass(frozen=True, slots=True)
class DepthBlock:
    """A measured depth map (mm, NaN for no reading) on a grid of its camera, beside a solved head."""

    head: Head
    grid: Grid
    measured_mm: Array
    noise: MapNoise
    step_mm: float
    mm_per_px: float

    @property
    def name(self) -> str:
        """Kind of evidence."""
        return "depth"

    def sharp(self, parameters: Array) -> tuple[Array, NDArray[np.int8], Array, Array]:
        """Render the model: depth (h, w), part (h, w), seen points of the reference frame (p, 3), slope maps (10, h, w).

        The last map is 1 on enamel, for the enamel bias; the others are the geometric parameters.
        """
        camera = self.grid.camera
        placed = camera.camera_from_reference.apply(self.head.placed(parameters))
        seen = render(self.grid, placed, self.head.faces)
        hit = seen.face >= 0
        face = seen.face[hit]
        part = np.full(hit.shape, -1, dtype=np.int8)
        part[hit] = self.head.face_part[face]
        rays = np.concatenate([self.grid.slopes[hit], np.ones((len(face), 1))], axis=1)
        normal = face_normals(placed, self.head.faces[face])
        normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-300)
        facing = np.einsum("ij,ij->i", normal, rays)
        facing = np.where(np.abs(facing) < _GRAZING, np.copysign(_GRAZING, facing), facing)
        points = camera.camera_from_reference.inverse().apply(rays * seen.depth_mm[hit][:, None])
        moving = face_moves_with_teeth(self.head.face_part[face])
        speeds = camera.camera_from_reference.turn(self.head.speeds(points, moving, parameters))
        maps = np.zeros((len(GEOMETRIC) + 1, *hit.shape))
        maps[:-1, hit] = np.einsum("ij,kij->ki", normal, speeds) / facing
        maps[-1] = (part == UPPER) | (part == LOWER)
        return seen.depth_mm, part, points, maps

    def predict(self, parameters: Array) -> Prediction:
        """Give what the sensor would see and how that changes with each parameter."""
        sharp_mm, part, _, maps = self.sharp(parameters)
        solid = part >= 0
        teeth = maps[-1] > 0
        smoothing_px = float(parameters[P.SMOOTHING_PX])
        biased = sharp_mm + parameters[P.ENAMEL_BIAS_MM] * teeth
        lower = np.where(part == LOWER, maps[P.FORWARD_MM], 0.0)
        stack = np.concatenate([biased[None], maps, (part == OTHER)[None], lower[None]])
        blurred = smooth(stack, solid, smoothing_px)
        reading = np.isfinite(self.measured_mm)
        depth_mm = blurred.maps[0]
        slopes = np.zeros((COUNT, *part.shape))
        slopes[: len(GEOMETRIC)] = blurred.maps[1:-3]
        slopes[P.ENAMEL_BIAS_MM] = teeth_share = blurred.maps[-3]
        slopes[P.SMOOTHING_PX] = blurred.first_by_smoothing

        used = reading & solid & (blurred.coverage > _COVERAGE_NEEDED) & (blurred.maps[-2] < _OTHER_ALLOWED)
        weight = self._trust(part, used, teeth, teeth_share, biased, depth_mm, smoothing_px)
        used &= weight > _WEIGHT_KEPT
        return Prediction(
            sharp_mm, part, depth_mm, slopes, teeth_share, blurred.maps[-1], used, np.where(used, weight, 0.0)
        )

    def _trust(
        self,
        part: NDArray[np.int8],
        used: NDArray[np.bool_],
        teeth: NDArray[np.bool_],
        teeth_share: Array,
        biased_mm: Array,
        depth_mm: Array,
        smoothing_px: float,
    ) -> Array:
        from scipy.ndimage import distance_transform_edt

        if teeth.any():
            away_mm = distance_transform_edt(~teeth) * self.mm_per_px
        else:
            away_mm = np.zeros(part.shape)
        near = np.where(teeth_share > 0.5, 1.0, np.exp(-((away_mm / NEAR_TEETH_MM) ** 2)))
        # holes: did the sensor smooth before or after it lost them? Where the answer matters, trust the pixel less
        both = smooth(biased_mm[None], (part >= 0) & np.isfinite(self.measured_mm), smoothing_px).maps[0]
        filled = np.where(np.isfinite(depth_mm), depth_mm, np.nanmedian(depth_mm))
        steep = np.hypot(*np.gradient(filled)) * MISREGISTRATION_PX
        doubt = np.where(used, np.nan_to_num(depth_mm - both) ** 2 + steep**2, 0.0)
        return np.asarray(near / (1.0 + doubt / self.sigma_mm(teeth_share) ** 2))

    def sigma_mm(self, teeth_share: Array) -> Array:
        """Give the sd of each pixel, mm: skin's or enamel's."""
        return np.where(teeth_share > 0.5, self.noise.teeth_sd_mm, self.noise.skin_sd_mm)

    def linear_of(self, seen: Prediction) -> Linear:
        """Turn a prediction into residuals over sigma; the weight also says how many pixels count as one."""
        sigma = self.sigma_mm(seen.teeth_share)[seen.used]
        residual = (self.measured_mm - seen.depth_mm)[seen.used] / sigma
        return Linear(
            residual, (seen.slopes[:, seen.used] / sigma).T, seen.weight[seen.used] / self.noise.inflation
        )

    def with_noise_from(self, seen: Prediction) -> DepthBlock:
        """Give the block with noise estimated from the residuals of a prediction."""
        residual_mm = np.where(seen.used, self.measured_mm - seen.depth_mm, 0.0)
        skin = seen.used & (seen.part == SKIN) & (seen.teeth_share < 0.02)
        noise = map_noise(
            residual_mm,
            skin,
            seen.used & (seen.teeth_share > 0.9),
            mm_per_px=self.mm_per_px,
            floor_mm=self.step_mm / np.sqrt(12.0),
            start=self.noise,
        )
        return replace(self, noise=noise)

    def meat_of(self, seen: Prediction, slopes: Array | None = None) -> Array:
        """Give J' W C W J, shape (k, k), for slope maps (k, h, w); those of the parameters unless others are given."""
        slopes = seen.slopes if slopes is None else slopes
        sigma = self.sigma_mm(seen.teeth_share)
        linear = self.linear_of(seen)
        weight = np.zeros(seen.used.shape)
        weight[seen.used] = linear.robust_weight
        return correlated_meat(slopes * (weight / sigma * seen.used), self.noise)
