"""Depth readings as a layer over the picture: where the sensor saw anything, and how near."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.annotate.drawing.lettering import Pixels
from bite.files.bundle import BiteFrame, LoadedView

REACH_MM = 3.0
"""Half the range of distance that the colours span, about the teeth: an overjet and more; lips stand nearer
and take the colour of its end (our choice)."""
STEP_MM = 0.2
"""Readings are coloured in steps of this: half of what a technician is to see, 0.5 mm (our choice)."""
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
    depth_mm : array, shape (height, width), NaN without a reading
    ratio : float, pixels of the layer a pixel of the picture
    px_per_mm : float, of the picture at the middle of the scale
    """

    pixels: Pixels
    nearest_mm: float
    farthest_mm: float
    depth_mm: NDArray[np.float32]
    ratio: float
    px_per_mm: float

    def depth_at(self, place: tuple[float, float]) -> float | None:
        """Give the reading under a picture place, mm; None where there is none."""
        row, column = self._at(place)
        if not (0 <= row < self.depth_mm.shape[0] and 0 <= column < self.depth_mm.shape[1]):
            return None
        depth = float(self.depth_mm[row, column])
        return depth if np.isfinite(depth) else None

    def column(
        self, place: tuple[float, float], half_mm: float
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Give readings along the picture's column through a place: mm below it, and depth, NaN for none."""
        row, column = self._at(place)
        reach = max(2, round(half_mm * self.px_per_mm * self.ratio))
        rows = np.arange(row - reach, row + reach + 1)
        along = (rows - row) / (self.px_per_mm * self.ratio)
        depth = np.full(len(rows), np.nan)
        inside = (rows >= 0) & (rows < self.depth_mm.shape[0])
        if 0 <= column < self.depth_mm.shape[1]:
            depth[inside] = self.depth_mm[rows[inside], column]
        return along, depth

    def _at(self, place: tuple[float, float]) -> tuple[int, int]:
        return int(np.floor((place[1] + 0.5) * self.ratio)), int(np.floor((place[0] + 0.5) * self.ratio))


def colours_of(depth_mm: NDArray[np.floating], nearest_mm: float, span_mm: float) -> Pixels:
    """Give the colours of readings, shape (..., 4): near is bright, in steps of 0.2 mm."""
    from matplotlib import colormaps

    stepped = (np.floor(depth_mm / STEP_MM) + 0.5) * STEP_MM
    share = np.clip((stepped - nearest_mm) / span_mm, 0.0, 1.0)
    return np.asarray(colormaps["cividis"](1.0 - share, bytes=True), np.uint8)


def depth_layer(
    frame: BiteFrame,
    view: LoadedView,
    middle_px: tuple[float, float] | None = None,
    reach_px: float | None = None,
) -> DepthLayer | None:
    """Bring the depth map into a view; None without a map or where none of it falls into the picture.

    Each reading goes where its place in space is seen from this view, nearer ones over farther ones.

    Parameters
    ----------
    middle_px : place in the picture whose surroundings set the colour scale, such as the mouth
    reach_px : how far these surroundings reach
    """
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
        reach = 0.12 * max(shape) if reach_px is None else reach_px * shape[1] / width
        around = seen & (np.hypot(columns - x, rows - y) < reach)
        near = around if around.any() else seen
    middle = float(np.median(depth[near]))
    coloured = np.zeros((*shape, 4), np.uint8)
    coloured[seen] = colours_of(depth[seen], middle - REACH_MM, 2 * REACH_MM)
    return DepthLayer(
        coloured,
        middle - REACH_MM,
        middle + REACH_MM,
        depth.astype(np.float32),
        shape[1] / width,
        view.camera.focal_px / middle,
    )


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
