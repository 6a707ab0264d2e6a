"""Depth readings as a layer over the picture: where the sensor saw anything, and how near."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.annotate.drawing.lettering import Pixels
from bite.files.bundle import BiteFrame, LoadedView

REACH_MM = 20.0
"""Half the range of distance that the colours span, around the middle of what is shown."""
_LONGEST_SIDE_PX = 1600
"""Finer than a screen shows (our choice)."""
OPACITY = 0.5
"""Half: the picture must show through (our choice)."""


@dataclass(frozen=True, slots=True)
class DepthLayer:
    """Colours over a picture.

    Parameters
    ----------
    pixels : array, shape (height, width, 4), the last channel the cover; a fraction of the picture's size
    nearest_mm, farthest_mm : float, mm, what the ends of the colour scale stand for
    """

    pixels: Pixels
    nearest_mm: float
    farthest_mm: float


def depth_layer(
    frame: BiteFrame, view: LoadedView, middle_px: tuple[float, float] | None = None
) -> DepthLayer | None:
    """Bring the depth map into a view; None without a map or where none of it falls into the picture.

    Each reading goes where its place in space is seen from this view, nearer ones over farther ones.

    Parameters
    ----------
    middle_px : place in the picture whose surroundings set the colour scale, such as the mouth
    """
    from matplotlib import colormaps

    if frame.depth_map is None or frame.depth_camera is None:
        return None
    height, width = view.image.shape[:2]
    shrink = min(1.0, _LONGEST_SIDE_PX / max(height, width))
    shape = max(1, round(height * shrink)), max(1, round(width * shrink))
    depth = _in_view(frame, view, shape)
    seen = np.isfinite(depth)
    if not seen.any():
        return None
    near = seen
    if middle_px is not None:
        rows, columns = np.indices(shape)
        x, y = (middle_px[0] + 0.5) * shape[1] / width, (middle_px[1] + 0.5) * shape[0] / height
        around = seen & (np.hypot(columns - x, rows - y) < 0.12 * max(shape))
        near = around if around.any() else seen
    middle = float(np.median(depth[near]))
    share = np.clip((depth - middle) / (2 * REACH_MM) + 0.5, 0.0, 1.0)
    coloured = np.zeros((*shape, 4), np.uint8)
    # near is bright
    coloured[seen] = colormaps["cividis"](1.0 - share[seen], bytes=True)
    return DepthLayer(coloured, middle - REACH_MM, middle + REACH_MM)


def _in_view(frame: BiteFrame, view: LoadedView, shape: tuple[int, int]) -> NDArray[np.float64]:
    import cv2

    assert frame.depth_map is not None and frame.depth_camera is not None
    depth = frame.depth_map.depth_mm
    height, width = view.image.shape[:2]
    if frame.depth_view == view.name and depth.shape == (height, width):
        return np.asarray(cv2.resize(depth, shape[::-1], interpolation=cv2.INTER_NEAREST), np.float64)
    rows, columns = np.nonzero(np.isfinite(depth))
    pixels = np.column_stack([columns, rows]).astype(float)
    points = frame.depth_camera.point_at(pixels, depth[rows, columns])
    places, local = view.camera.project(points), view.camera.camera_from_reference.apply(points)[:, 2]
    # one depth pixel covers this many of the layer
    ratio = view.camera.focal_px / frame.depth_camera.focal_px * shape[1] / width
    found = np.full(shape, np.nan)
    order = np.argsort(-local)
    with np.errstate(invalid="ignore"):
        x = (places[order, 0] + 0.5) * shape[1] / width - 0.5
        y = (places[order, 1] + 0.5) * shape[0] / height - 0.5
    reach = max(0, int(np.ceil(ratio / 2 - 0.5)))
    for dy in range(-reach, reach + 1):
        for dx in range(-reach, reach + 1):
            column, row = np.round(x + dx), np.round(y + dy)
            with np.errstate(invalid="ignore"):
                inside = (column >= 0) & (row >= 0) & (column < shape[1]) & (row < shape[0])
            at = row[inside].astype(int), column[inside].astype(int)
            new = local[order][inside]
            old = found[at]
            found[at] = np.where(np.isfinite(old), np.minimum(old, new), new)
    return found
