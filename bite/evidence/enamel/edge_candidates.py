"""Where a picture has edges worth measuring around the incisors, when no rendered outline tells."""

from __future__ import annotations

import numpy as np

from bite.evidence.clicks.tooth_row import ToothRow
from bite.evidence.enamel.tooth_regions import CROWN_WIDTH_TO_HEIGHT, polygons_mask
from bite.evidence.picture.luminance import Picture, check_picture, luminance
from bite.geometry.rigid import Array

_GRADIENT_SIGMA_PX = 1.5
"""Slopes are taken over some three pixels: grain is out, an incisal edge is in (our choice)."""
_STRONGEST = 300
"""More tell no better where the picture is sharp (our choice)."""
_LEAST_COSINE = 0.866
"""Edges within 30 degrees of the row's directions (our choice)."""
_SIDE_CROWNS, _ABOVE_CROWNS, _BELOW_CROWNS = 2.0, 1.5, 1.5
"""Reach of the search in crown widths or heights; laterals, lip edges and lower crowns lie within."""


def edges_near_teeth(picture: Picture, row: ToothRow) -> Array:
    """Give short segments along the strongest edges of the mouth, for ``sharpness_at_edges``.

    In a normal bite most incisal edges border on bright lower teeth, tooth sides on other teeth. Clean steps
    are then found where teeth border on lips, gums or the dark of the mouth, wherever those happen to be.
    Candidates are the pixels where the gradient is largest along its own direction; which of them are clean
    steps is decided by the measurement.

    Parameters
    ----------
    picture : array, shape (h, w, 3), uint8, RGB
    row : ToothRow

    Returns
    -------
    array, shape (k, 2, 2), px
        Start and end, one px long, at right angles to the gradient; strongest first, at most 300 for each of
        the two directions of the row. Slanting edges are left out.

    Notes
    -----
    Source: Canny 1986, IEEE PAMI 8:679-698 (non-maximum suppression of the smoothed gradient).
    """
    from scipy import ndimage

    check_picture(picture)
    width, height = row.crown_width_px, row.crown_width_px / CROWN_WIDTH_TO_HEIGHT
    middle = row.upper_edge_px.mean(0)
    side = row.across * _SIDE_CROWNS * width
    up, down = -row.down * _ABOVE_CROWNS * height, row.down * _BELOW_CROWNS * height
    around = np.array([middle - side + up, middle + side + up, middle + side + down, middle - side + down])
    size = np.array([picture.shape[1], picture.shape[0]])
    low = np.clip(np.floor(around.min(0)).astype(int), 0, size)
    high = np.clip(np.ceil(around.max(0)).astype(int) + 1, 0, size)
    if (high - low < 5).any():
        return np.zeros((0, 2, 2))
    light = luminance(picture[low[1] : high[1], low[0] : high[0]])
    slope_x = ndimage.gaussian_filter(light, _GRADIENT_SIGMA_PX, order=(0, 1))
    slope_y = ndimage.gaussian_filter(light, _GRADIENT_SIGMA_PX, order=(1, 0))
    steepness = np.hypot(slope_x, slope_y)
    y, x = np.nonzero(polygons_mask((around - low,), (light.shape[0], light.shape[1])) & (steepness > 1e-6))
    unit = np.column_stack([slope_x[y, x], slope_y[y, x]]) / steepness[y, x][:, None]
    ahead, behind = (
        ndimage.map_coordinates(
            steepness, [y + sign * unit[:, 1], x + sign * unit[:, 0]], order=1, mode="nearest"
        )
        for sign in (1.0, -1.0)
    )
    ridge = np.flatnonzero((steepness[y, x] >= ahead) & (steepness[y, x] > behind))
    # apart for the two directions: the long edges of the lips would crowd out the short ones of tooth sides
    order = ridge[np.argsort(-steepness[y, x][ridge], kind="stable")]
    strongest = np.concatenate(
        [order[np.abs(unit[order] @ axis) >= _LEAST_COSINE][:_STRONGEST] for axis in (row.across, row.down)]
    )
    centre = np.column_stack([x, y])[strongest] + low.astype(float)
    along = 0.5001 * np.column_stack([-unit[strongest, 1], unit[strongest, 0]])
    return np.stack([centre - along, centre + along], 1)
