"""What a depth sensor makes of a sharp map: smoothing, correlated noise, gross errors, holes, steps."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bite.geometry.camera import Camera
from bite.geometry.render import Grid, Window, face_normals, render
from bite.geometry.rigid import Array
from bite.geometry.teeth import LOWER, UPPER
from demo_bite.scene.area import over_area
from demo_bite.scene.settings import Sensor

_AREA_REACH_MM = 20.0
_LIGHT_MM = np.array([-40.0, -70.0, 0.0])


def sense(
    rng: np.random.Generator,
    sensor: Sensor,
    *,
    camera: Camera,
    points_mm: Array,
    faces: NDArray[np.integer],
    face_part: NDArray[np.integer],
    window: Window,
) -> Array:
    """Make the sensor's depth map of a scene, NaN outside the window and where there is no reading.

    Within 20 mm of the teeth in sight a pixel is the mean over its area, enamel bias by its share of enamel;
    farther off, where few rims are and no blur carries them to the teeth, it is the ray through its centre.

    Parameters
    ----------
    points_mm : array, shape (n, 3), mm, in the sensor's own camera frame
    face_part : array, shape (m,), index into ``bite.geometry.teeth.PARTS``

    Returns
    -------
    depth_mm : array, shape (camera height, camera width)
    """
    grid = Grid.of(camera, window)
    seen = render(grid, points_mm, faces)
    part = np.where(seen.face >= 0, face_part[seen.face], -1)
    enamel = (part == UPPER) | (part == LOWER)
    mean_mm, share = seen.depth_mm.copy(), enamel.astype(np.float64)
    near = _about(enamel, seen.depth_mm, window, camera.focal_px)
    if near is not None:
        area = over_area(camera, near, points_mm, faces, face_part)
        inside = Window(near.left - window.left, near.top - window.top, near.width, near.height)
        inside.cut(mean_mm)[...] = area.depth_mm
        inside.cut(share)[...] = area.enamel
    sharp = mean_mm + sensor.enamel_bias_mm * share
    depth = smooth_over_valid(sharp, sensor.smoothing_px)
    depth += sensor.noise_mm * correlated_noise(rng, depth.shape, sensor.correlation_px)
    depth += _gross(rng, depth.shape, sensor)
    facing = _facing(grid, seen.face, seen.depth_mm, points_mm, faces)
    depth[_holes(rng, sensor, seen.depth_mm, enamel, facing)] = np.nan
    if sensor.unit_mm > 0:
        depth = np.round(depth / sensor.unit_mm) * sensor.unit_mm
    whole = np.full((camera.height_px, camera.width_px), np.nan)
    window.cut(whole)[...] = depth
    return whole


def _about(enamel: NDArray[np.bool_], depth_mm: Array, window: Window, focal_px: float) -> Window | None:
    """Give the part of a window within 20 mm of the enamel in sight; None where there is none."""
    if not enamel.any():
        return None
    reach = int(np.ceil(_AREA_REACH_MM * focal_px / float(np.median(depth_mm[enamel]))))
    rows, columns = np.flatnonzero(enamel.any(1)), np.flatnonzero(enamel.any(0))
    top, left = max(int(rows[0]) - reach, 0), max(int(columns[0]) - reach, 0)
    bottom = min(int(rows[-1]) + reach + 1, window.height)
    right = min(int(columns[-1]) + reach + 1, window.width)
    return Window(window.left + left, window.top + top, right - left, bottom - top)


def smooth_over_valid(depth_mm: Array, sd_px: float) -> Array:
    """Smooth by a Gaussian whose weights are normalised over the pixels that have a value; NaN stays NaN."""
    from scipy.ndimage import gaussian_filter

    if sd_px <= 0:
        return depth_mm.copy()
    valid = np.isfinite(depth_mm)
    base = float(np.median(depth_mm[valid])) if valid.any() else 0.0
    total = gaussian_filter(np.where(valid, depth_mm - base, 0.0), sd_px, mode="constant", truncate=5.0)
    weight = gaussian_filter(valid.astype(float), sd_px, mode="constant", truncate=5.0)
    return np.where(valid, base + total / np.maximum(weight, 1e-12), np.nan)


def correlated_noise(rng: np.random.Generator, shape: tuple[int, ...], sd_px: float) -> Array:
    """Filter white noise with a Gaussian and bring it back to unit variance."""
    from scipy.ndimage import gaussian_filter, gaussian_filter1d

    white = rng.normal(size=shape)
    if sd_px <= 0:
        return white
    impulse = np.zeros(2 * int(5 * sd_px + 3) + 1)
    impulse[len(impulse) // 2] = 1.0
    kernel = gaussian_filter1d(impulse, sd_px, truncate=5.0, mode="constant")
    return np.asarray(gaussian_filter(white, sd_px, mode="wrap", truncate=5.0) / (kernel**2).sum())


def _gross(rng: np.random.Generator, shape: tuple[int, ...], sensor: Sensor) -> Array:
    """Give errors of several mm on single pixels and small clumps, zero elsewhere."""
    from scipy.special import ndtri

    if sensor.gross_share <= 0:
        return np.zeros(shape)
    hit = correlated_noise(rng, shape, 0.6) > ndtri(1 - sensor.gross_share)
    size = rng.uniform(0.4, 1.6, shape) * sensor.gross_mm * np.where(rng.random(shape) < 0.5, -1, 1)
    return np.asarray(hit * size)


def _facing(
    grid: Grid, face: NDArray[np.int32], depth: Array, points: Array, faces: NDArray[np.integer]
) -> Array:
    """Give the cosine between each pixel's surface normal and the half-way direction of light and camera."""
    normal = face_normals(points, faces)
    normal /= np.linalg.norm(normal, axis=1)[:, None] + 1e-12
    place = np.concatenate([grid.slopes, np.ones((*face.shape, 1))], -1) * np.nan_to_num(depth)[..., None]
    half = -place / (np.linalg.norm(place, axis=-1)[..., None] + 1e-12)
    light = _LIGHT_MM - place
    half += light / np.linalg.norm(light, axis=-1)[..., None]
    half /= np.linalg.norm(half, axis=-1)[..., None]
    return np.asarray(np.abs((normal[face] * half).sum(-1)))


def _holes(
    rng: np.random.Generator, sensor: Sensor, depth: Array, enamel: NDArray[np.bool_], facing: Array
) -> NDArray[np.bool_]:
    """Choose the pixels without a reading: glints on enamel, jumps of depth, and blotches anywhere."""
    from scipy.ndimage import maximum_filter, minimum_filter
    from scipy.special import ndtri

    def chosen(share: float, sd_px: float) -> NDArray[np.bool_]:
        return correlated_noise(rng, depth.shape, sd_px) > (ndtri(1 - share) if share > 0 else np.inf)

    glint = enamel & (facing > 0.985) & chosen(sensor.highlight_hole_share, 1.0)
    filled = np.nan_to_num(depth, nan=2000.0)
    jump = maximum_filter(filled, 3) - minimum_filter(filled, 3) > 9.0
    edge = jump & chosen(sensor.edge_hole_share, 0.8)
    return np.asarray(glint | edge | chosen(sensor.blob_hole_share, 2.5))
