"""Picture values along straight scan lines, between the pixels."""

from __future__ import annotations

import numpy as np

from bite.geometry.rigid import Array


def along_segment(start_px: Array, end_px: Array, spacing_px: float = 1.0) -> Array:
    """Give evenly spread points on a segment, ends left out, shape (n, 2), px; at least one.

    Examples
    --------
    >>> along_segment(np.array([0.0, 0.0]), np.array([4.0, 0.0]), 2.0).tolist()
    [[1.0, 0.0], [3.0, 0.0]]
    """
    start_px, end_px = np.asarray(start_px, float), np.asarray(end_px, float)
    count = max(1, int(np.hypot(*(end_px - start_px)) / spacing_px))
    share = (np.arange(count) + 0.5) / count
    return np.asarray(start_px + share[:, None] * (end_px - start_px))


def sample_lines(plane: Array, origins_px: Array, directions: Array, distances_px: Array) -> Array:
    """Give the values of a picture plane on scan lines, by cubic interpolation.

    Cubic rather than linear: linear interpolation blurs by up to 0.4 px, as much as a sharp edge itself.

    Parameters
    ----------
    plane : array, shape (h, w)
    origins_px, directions : array, shape (n, 2), px; directions of unit length
    distances_px : array, shape (k,), px
        Distances from each origin along its direction.

    Returns
    -------
    array, shape (n, k)
        NaN where a scan line leaves the picture.
    """
    from scipy import ndimage

    places = origins_px[:, None, :] + distances_px[None, :, None] * directions[:, None, :]
    x, y = places[..., 0], places[..., 1]
    inside = (x >= 0) & (y >= 0) & (x <= plane.shape[1] - 1) & (y <= plane.shape[0] - 1)
    values = np.full(x.shape, np.nan)
    if not inside.any():
        return values
    margin = 12  # the spline's memory of its border fades by 0.27 a pixel
    left, top = max(0, int(x[inside].min()) - margin), max(0, int(y[inside].min()) - margin)
    right, bottom = int(x[inside].max()) + margin + 2, int(y[inside].max()) + margin + 2
    cut = np.asarray(plane[top:bottom, left:right], float)
    values[inside] = ndimage.map_coordinates(cut, [y[inside] - top, x[inside] - left], order=3, mode="mirror")
    return values
