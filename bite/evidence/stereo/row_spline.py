"""A picture between its pixels along rows: cubic B-splines, and their slopes."""

from __future__ import annotations

import numpy as np

from bite.geometry.rigid import Array


def sample_rows(coefficients: Array, columns: Array) -> tuple[Array, Array]:
    """Read a picture between its pixels along rows, by cubic B-spline; also give the slope, per px.

    Parameters
    ----------
    coefficients : array, shape (h, w), of ``scipy.ndimage.spline_filter1d`` along rows
    columns : array, shape (h, k), where to read; held inside the picture

    Examples
    --------
    >>> from scipy.ndimage import spline_filter1d
    >>> row = np.arange(12.0)[None] ** 2
    >>> value, slope = sample_rows(spline_filter1d(row, 3, axis=1, mode="mirror"), np.full((1, 12), 6.25))
    >>> bool(abs(value[0, 0] - 6.25**2) < 0.01), bool(abs(slope[0, 0] - 12.5) < 0.05)
    (True, True)
    """
    u, (c0, c1, c2, c3) = _beside(coefficients, columns)
    v = 1.0 - u
    slope = 0.5 * (-v * v * c0 + (3 * u * u - 4 * u) * c1 + (4 * v - 3 * v * v) * c2 + u * u * c3)
    return _spline(u, c0, c1, c2, c3), slope


def sample_values(coefficients: Array, columns: Array) -> Array:
    """Read a picture as ``sample_rows`` does, without slopes."""
    u, beside = _beside(coefficients, columns)
    return _spline(u, *beside)


def _beside(coefficients: Array, columns: Array) -> tuple[Array, list[Array]]:
    height, width = coefficients.shape
    at = np.clip(columns, 1.0, width - 2.001)
    first = np.floor(at).astype(np.int64)
    start = (np.arange(height) * width)[:, None] + first
    return at - first, [np.take(coefficients, start + k) for k in (-1, 0, 1, 2)]


def _spline(u: Array, c0: Array, c1: Array, c2: Array, c3: Array) -> Array:
    v = 1.0 - u
    # products, since numpy takes ten times as long for a power of three
    uu, vv = u * u, v * v
    value = v * vv * c0 + (4 - 6 * uu + 3 * u * uu) * c1 + (4 - 6 * vv + 3 * v * vv) * c2 + u * uu * c3
    return np.asarray(value / 6)
