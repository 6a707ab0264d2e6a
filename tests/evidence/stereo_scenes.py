"""Rectified pairs whose disparity is known, made from one fine texture."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import gaussian_filter, map_coordinates


def pair(shape, disparity, *, seed=1, grain_px=1.2, contrast=12.0, noise=1.0, level=128.0, gain=1.0):
    """Left and right pictures, grey levels: right is the texture, left sees it shifted by the disparity.

    ``disparity`` is a number or an array of the left picture's shape. ``contrast`` may be an array too.
    """
    rng = np.random.default_rng(seed)
    height, width = shape
    margin, over = 60, 4
    fine = gaussian_filter(
        rng.normal(size=(height, (width + 2 * margin) * over)), (grain_px, grain_px * over), mode="wrap"
    )
    fine /= fine.std()
    rows, columns = np.mgrid[:height, :width].astype(float)
    shift = np.broadcast_to(np.asarray(disparity, float), shape)

    def read(at):
        return map_coordinates(fine, [rows, (at + margin) * over], order=3, mode="wrap")

    left = level + contrast * read(columns - shift) + rng.normal(0, noise, shape)
    right = level + gain * (contrast * read(columns)) + rng.normal(0, noise, shape)
    return np.rint(left), np.rint(right)


def robust_sd(values):
    values = values[np.isfinite(values)]
    return 1.4826 * float(np.median(np.abs(values - np.median(values))))
