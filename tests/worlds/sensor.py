"""From the rays of each pixel to the depth map that a sensor stores."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation, gaussian_filter

from tests.worlds.description import Sensor, Storage
from tests.worlds.filters import filtered

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

INVERSE_PER_M = (1.5, 4.4)
"""1/m at stored 0 and at 255: a step is 1 to 1.6 mm at 0.3 to 0.37 m."""
DISPARITY_BASE_MM = 75.0
_STEP_MM = 2.0
_MOST_STEPS = 65535
_NOISE_AT_MM = 300.0


@dataclass(frozen=True, slots=True)
class DepthReading:
    """The map as read, mm, NaN where there is none, and what was drawn for it."""

    depth_mm: Array
    width_px: float
    gross_share: float


def area_means(depth_mm: NDArray[np.float32]) -> Array:
    """Mean depth over each pixel of shape (h, w, rays): NaN unless half of its rays or more hit something."""
    hit = np.isfinite(depth_mm)
    count = hit.sum(axis=-1)
    total = np.where(hit, depth_mm, 0.0).sum(axis=-1, dtype=float)
    return np.where(2 * count >= depth_mm.shape[-1], total / np.maximum(count, 1), np.nan)


def read_depth(
    rays_mm: NDArray[np.float32],
    enamel: Mask,
    slant: NDArray[np.float32],
    sensor: Sensor,
    rng: np.random.Generator,
    again: np.random.Generator | None = None,
) -> DepthReading:
    """Read a map.

    What belongs to the sensor comes from ``rng``; ``again`` draws the noise of one more reading of it.

    Parameters
    ----------
    rays_mm, enamel, slant : array, shape (h, w, rays)
        Depth of each ray, NaN where it hits nothing; whether it hits a crown; cosine to the surface normal.
    """
    width_px = float(rng.uniform(*sensor.width_px))
    gross_share = float(rng.uniform(*sensor.gross_share))
    pattern = rng.spawn(1)[0]
    rng = again or rng
    depth = area_means(rays_mm + sensor.enamel_bias_mm * enamel)
    hit = np.isfinite(rays_mm)
    low = np.where(hit, rays_mm, np.inf).min(axis=-1)
    high = np.where(hit, rays_mm, -np.inf).max(axis=-1)
    steps = (high - low) > _STEP_MM
    if sensor.flying:
        at = steps & np.isfinite(depth)
        depth[at] = rng.uniform(low[at], high[at])
    holes = _holes(depth, enamel.mean(axis=-1) > 0.5, steps, sensor, rng)
    if sensor.holes_first:
        depth = np.where(holes, np.nan, depth)
    depth = filtered(depth, sensor.filter, width_px)
    depth = depth + _noise(depth, slant.mean(axis=-1), sensor, rng) + _fixed(depth.shape, sensor, pattern)
    wild = rng.random(depth.shape) < gross_share
    depth = depth + np.where(wild, rng.normal(0.0, sensor.gross_mm, depth.shape), 0.0)
    return DepthReading(np.where(holes, np.nan, depth), width_px, gross_share)


def stored_values(
    depth_mm: Array, sensor: Sensor
) -> NDArray[np.uint8] | NDArray[np.uint16] | NDArray[np.float32]:
    """Give the numbers a map is stored as; 0 for no reading."""
    seen = np.isfinite(depth_mm) & (depth_mm > 0)
    known = np.where(seen, depth_mm, 1.0)
    if sensor.storage is Storage.STEPS:
        if known.max() > _MOST_STEPS * sensor.step:
            raise ValueError(f"steps of {sensor.step} mm hold {_MOST_STEPS * sensor.step:.0f} mm at most")
        return np.where(seen, np.maximum(np.round(known / sensor.step), 1), 0).astype(np.uint16)
    if sensor.storage is Storage.DISPARITY:
        base = sensor.focal_px * DISPARITY_BASE_MM
        disparity = np.maximum(np.round(base / known / sensor.step), 1.0) * sensor.step
        return np.where(seen, base / disparity, 0.0).astype(np.float32)
    near, far = INVERSE_PER_M[1], INVERSE_PER_M[0]
    share = (1000.0 / known - far) / (near - far)
    return np.where(seen, np.clip(np.round(255.0 * share), 1, 255), 0).astype(np.uint8)


def _noise(depth: Array, slant: Array, sensor: Sensor, rng: np.random.Generator) -> Array:
    white = rng.normal(size=depth.shape)
    if sensor.correlation_px > 0:
        white = gaussian_filter(white, sensor.correlation_px, mode="wrap")
        white /= white.std()
    noise = sensor.noise_mm * white
    if sensor.noise_grows:
        known = np.where(np.isfinite(depth), depth, _NOISE_AT_MM)
        noise *= (known / _NOISE_AT_MM) ** 2 / np.clip(slant, 0.25, 1.0)
    return noise


def _fixed(shape: tuple[int, ...], sensor: Sensor, rng: np.random.Generator) -> Array:
    rows, columns = (rng.normal(0.0, 1.0, n) for n in shape)
    return np.asarray(sensor.rows_mm * (rows[:, None] + columns[None, :]))


def _holes(depth: Array, enamel: Mask, steps: Mask, sensor: Sensor, rng: np.random.Generator) -> Mask:
    holes = np.zeros(depth.shape, dtype=bool)
    if sensor.hole_share > 0:
        blobs = gaussian_filter(rng.normal(size=depth.shape), 3.0)
        holes |= blobs > np.quantile(blobs, 1.0 - sensor.hole_share)
    if sensor.hole_glints and enamel.any():
        at = np.argwhere(enamel)
        for row, column in at[rng.integers(len(at), size=sensor.hole_glints)]:
            down, right = np.indices(depth.shape)
            holes |= np.hypot(down - row, right - column) < rng.uniform(1.0, 2.5)
    if sensor.hole_edges > 0:
        holes |= binary_dilation(steps) & (rng.random(depth.shape) < sensor.hole_edges)
    return holes
