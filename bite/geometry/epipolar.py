"""Where a point clicked in one view must lie in another: its ray, seen from there, lens and all."""

from __future__ import annotations

import numpy as np

from bite.errors import DegenerateGeometryError
from bite.geometry.camera import Camera
from bite.geometry.rigid import Array

_NEAREST_MM, _FARTHEST_MM = 100.0, 2000.0
"""Depths along the first view's axis between which a face stands before any camera (our choice)."""


def epipolar_curve(
    clicked_in: Camera,
    shown_in: Camera,
    pixel: Array,
    *,
    count: int = 160,
) -> Array:
    """Give the places in one view at which a pixel of another can lie, shape (n, 2), px.

    The ray is sampled from 0.1 to 2 m, even in inverse distance, which is about even along the curve, and
    projected through the lens: under distortion the curve is bent, and a straight line would be pixels off.
    Samples behind the camera or beyond one picture size outside are left out, since there lens terms mean
    nothing.

    Parameters
    ----------
    clicked_in, shown_in : Camera
    pixel : array, shape (2,), px, in the first view
    count : int, samples

    Returns
    -------
    array, shape (n, 2), n <= count; empty where the pixel has no ray

    Examples
    --------
    >>> from bite.geometry.rigid import Rigid, frozen
    >>> k = frozen([[1000.0, 0, 320], [0, 1000.0, 240], [0, 0, 1]])
    >>> left = Camera(640, 480, k, frozen(np.zeros(5)))
    >>> right = Camera(640, 480, k, frozen(np.zeros(5)), Rigid(translation_mm=frozen([-60.0, 0, 0])))
    >>> pixel = np.array([320.0, 200.0])
    >>> epipolar_curve(left, right, pixel, count=2).round(1).tolist()
    [[-280.0, 200.0], [290.0, 200.0]]
    """
    depths = 1.0 / np.linspace(1.0 / _NEAREST_MM, 1.0 / _FARTHEST_MM, count)
    try:
        points = clicked_in.point_at(np.repeat(np.asarray(pixel, float)[None], count, 0), depths)
    except DegenerateGeometryError:
        return np.zeros((0, 2))
    local = shown_in.camera_from_reference.apply(points)
    fold = shown_in.fold_slope()
    with np.errstate(all="ignore"):
        reach = np.hypot(local[:, 0], local[:, 1]) / local[:, 2]
    seen = shown_in.project_local(local)
    width, height = shown_in.width_px, shown_in.height_px
    kept = (local[:, 2] > 0) & (reach < fold) & (np.abs(seen[:, 0] - width / 2) <= 1.5 * width)
    kept &= np.abs(seen[:, 1] - height / 2) <= 1.5 * height
    return np.asarray(seen[kept])
