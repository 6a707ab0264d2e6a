"""Rectification of a calibrated pair: both pictures as two cameras side by side would have taken them.

The x axis runs from the first camera to the second, so that the first is always the left one and disparities
are positive: a second view to the left gives pictures upside down, one above the other pictures that lie on
their side, and matching minds neither. Each pixel of a rectified picture is a ray, sent through the exact
lens model of its camera. The rectified first view is a turned copy of the first camera: a depth camera of its
own, so that depths never have to be resampled.
Source: Fusiello, Trucco & Verri 2000, A compact algorithm for rectification of stereo pairs (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bite.errors import DegenerateGeometryError
from bite.geometry.camera import Camera
from bite.geometry.rigid import Array, Rigid, frozen

LEAST_ACROSS = 0.6
"""Sine of the angle between baseline and viewing direction below which one camera stands behind the other
(our choice)."""
LEAST_BASELINE_MM = 0.5
"""A baseline shorter than what a calibration is out by says nothing (our choice)."""


@dataclass(frozen=True, slots=True)
class Rectified:
    """A window of a rectified pair.

    A point at pixel (x, y) of ``first`` lies at (x - d, y) of ``second``, and its depth along their common
    axis is f B / (d + shift).

    Parameters
    ----------
    first, second : Camera
        Without lens terms, with one camera matrix but for the principal point's x, of one size.
    baseline_mm : float
    shift_px : float
        Disparity of a point that would lie at pixel disparity 0.
    most_px : float
        Disparities to search run from 0 to this.
    """

    first: Camera
    second: Camera
    baseline_mm: float
    shift_px: float
    most_px: float

    @property
    def focal_px(self) -> float:
        """Focal length of both, px."""
        return float(self.first.matrix[0, 0])

    def depth_mm(self, disparity_px: Array) -> Array:
        """Give the depth along the rectified axis, mm; NaN where there is no disparity or a negative one."""
        whole = np.asarray(disparity_px, np.float64) + self.shift_px
        return self.focal_px * self.baseline_mm / np.where(whole > 0, whole, np.nan)

    def disparity_px(self, depth_mm: Array) -> Array:
        """Give the disparity, within the window, of depths along the rectified axis."""
        return self.focal_px * self.baseline_mm / np.asarray(depth_mm, np.float64) - self.shift_px

    def depth_sd_mm(self, depth_mm: Array, disparity_sd_px: Array) -> Array:
        """Give the sd of depths, Z^2 / (f B) times that of their disparities.

        Source: Gallup, Frahm, Mordohai & Pollefeys 2008 (reference/stereo_law.toml).
        """
        return np.asarray(depth_mm**2 / (self.focal_px * self.baseline_mm) * disparity_sd_px)


def rectified_axes(first: Camera, second: Camera, towards_mm: Array) -> tuple[Array, float]:
    """Give the rectified axes, rows in the reference frame, shape (3, 3), and the baseline, mm.

    Parameters
    ----------
    first, second : Camera
    towards_mm : array, shape (3,), point of the reference frame to look at

    Raises
    ------
    DegenerateGeometryError
        When the cameras stand in one place, or one behind the other as seen from the point.
    """
    between = second.centre_mm - first.centre_mm
    baseline = float(np.linalg.norm(between))
    if not baseline > LEAST_BASELINE_MM:
        raise DegenerateGeometryError(
            f"the two cameras stand {baseline:.2g} mm apart, needed {LEAST_BASELINE_MM:g} mm or more"
        )
    x = between / baseline
    ahead = np.asarray(towards_mm, float) - 0.5 * (first.centre_mm + second.centre_mm)
    ahead /= np.linalg.norm(ahead)
    across = ahead - (ahead @ x) * x
    sine = float(np.linalg.norm(across))
    if not sine > LEAST_ACROSS:
        angle = np.degrees(np.arcsin(min(sine, 1.0)))
        raise DegenerateGeometryError(
            f"one camera stands behind the other: {angle:.0f} degrees between baseline and view, "
            f"needed {np.degrees(np.arcsin(LEAST_ACROSS)):.0f}"
        )
    z = across / sine
    return frozen(np.stack([x, np.cross(z, x), z])), baseline


def rectify_around(
    first: Camera,
    second: Camera,
    centre_mm: Array,
    *,
    half_mm: float,
    reach_mm: float,
    finest_px_per_mm: float,
    most_range_px: float,
) -> Rectified:
    """Rectify the surroundings of a point, coarse enough for the disparities to search to stay few.

    Parameters
    ----------
    first, second : Camera
    centre_mm : array, shape (3,), reference frame
    half_mm : float, half side of the square that is matched; the window holds the search range beside it
    reach_mm : float, depths this far before and behind the point are searched
    finest_px_per_mm : float
        The pictures are made smaller, never larger, until the point is seen no finer than this ...
    most_range_px : float
        ... and until no more disparities than this lie in reach.

    Raises
    ------
    DegenerateGeometryError
        As ``rectified_axes``, or when the point is not well in front of both cameras.

    Examples
    --------
    >>> k = frozen([[1400.0, 0, 960], [0, 1400.0, 540], [0, 0, 1]])
    >>> left = Camera(1920, 1080, k, frozen(np.zeros(5)))
    >>> right = Camera(1920, 1080, k, frozen(np.zeros(5)), Rigid(translation_mm=frozen([-60.0, 0, 0])))
    >>> pair = rectify_around(
    ...     left, right, np.array([30.0, 0, 300]), half_mm=60.0, reach_mm=40.0,
    ...     finest_px_per_mm=7.0, most_range_px=192.0)
    >>> round(pair.focal_px, 1), round(pair.most_px, 1)
    (1400.0, 76.0)
    >>> point = np.array([[5.0, 3.0, 290.0]])
    >>> (a, b) = (camera.project(point)[0] for camera in (pair.first, pair.second))
    >>> bool(np.isclose(a[1], b[1])), float(pair.depth_mm(a[0] - b[0]).round(6))
    (True, 290.0)
    """
    turn, baseline = rectified_axes(first, second, centre_mm)
    local = turn @ (np.asarray(centre_mm, float) - first.centre_mm)
    z = float(local[2])
    ahead = (camera.camera_from_reference.apply(np.asarray(centre_mm, float)[None])[0, 2]
             for camera in (first, second))  # fmt: skip
    if not z > 2.0 * reach_mm or not min(ahead) > 0:
        raise DegenerateGeometryError(
            f"the mouth lies {z:.0f} mm in front of the pair, needed {2.0 * reach_mm:.0f} and in view of both"
        )
    spread = baseline * (1.0 / (z - reach_mm) - 1.0 / (z + reach_mm))
    focal = min(first.focal_px, second.focal_px, finest_px_per_mm * z, most_range_px / spread)
    most = focal * spread
    side = focal * half_mm / z
    width, height = round(2 * side + 2 * most) + 1, round(2 * side) + 1
    shift = focal * baseline / (z + reach_mm)
    cameras = []
    for camera, cut in ((first, 0.0), (second, shift)):
        middle_x = 0.5 * (width - 1) - focal * local[0] / z + cut
        middle_y = 0.5 * (height - 1) - focal * local[1] / z
        matrix = frozen([[focal, 0.0, middle_x], [0.0, focal, middle_y], [0.0, 0.0, 1.0]])
        placed = Rigid(turn, frozen(-turn @ camera.centre_mm))
        cameras.append(Camera(width, height, matrix, frozen(np.zeros(5)), placed))
    return Rectified(cameras[0], cameras[1], baseline, float(shift), float(most))


def source_pixels(rectified: Camera, source: Camera) -> Array:
    """Give where each pixel of a rectified picture lies in the picture as taken, shape (height, width, 2).

    NaN where the ray points behind the source camera, or beyond the slope at which its lens model folds back.

    Parameters
    ----------
    rectified, source : Camera, with one centre
    """
    # a rectified camera has neither lens terms nor skew: a ray's slopes are its column's and its row's
    wide, high = np.arange(rectified.width_px), np.arange(rectified.height_px)
    x = rectified.rays(np.column_stack([wide, np.zeros(len(wide))]).astype(np.float64))[:, 0]
    y = rectified.rays(np.column_stack([np.zeros(len(high)), high]).astype(np.float64))[:, 1]
    turn = source.camera_from_reference.rotation @ rectified.camera_from_reference.rotation.T
    local = [row[0] * x[None] + (row[1] * y + row[2])[:, None] for row in turn]
    ahead = np.where(local[2] > 0, local[2], np.nan)
    slopes = np.empty((ahead.size, 2))
    slopes[:, 0], slopes[:, 1] = (local[0] / ahead).ravel(), (local[1] / ahead).ravel()
    slopes[~(np.hypot(slopes[:, 0], slopes[:, 1]) < source.fold_slope())] = np.nan
    return source.pixels_from_slopes(slopes).reshape(rectified.height_px, rectified.width_px, 2)


def every(camera: Camera, step: int, *, left: int, top: int, columns: int, rows: int) -> Camera:
    """Give the camera of every ``step``-th pixel of every ``step``-th row, from (left, top) on."""
    matrix = np.array(camera.matrix)
    matrix[:2] /= step
    matrix[0, 2] = (camera.matrix[0, 2] - left) / step
    matrix[1, 2] = (camera.matrix[1, 2] - top) / step
    return Camera(columns, rows, frozen(matrix), camera.distortion, camera.camera_from_reference)
