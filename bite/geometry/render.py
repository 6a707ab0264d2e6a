"""Z-buffer: which surface each pixel sees, and how far along the optical axis it is.

Exact for a distorted lens: whether a ray meets a triangle is tested in undistorted ray slopes; pixels only
list the candidates. Vectorised over all candidate (triangle, pixel) pairs; the nearest wins.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.geometry.camera import Camera
from bite.geometry.rigid import Array

_CANDIDATES_AT_ONCE = 3_000_000
_NEAR_MM = 1.0


@dataclass(frozen=True, slots=True)
class Window:
    """A rectangle of pixels: columns left .. left + width - 1, rows top .. top + height - 1."""

    left: int
    top: int
    width: int
    height: int

    def pixels(self) -> Array:
        """Give the pixel centres, shape (height * width, 2), row by row."""
        rows, columns = np.mgrid[self.top : self.top + self.height, self.left : self.left + self.width]
        return np.column_stack([columns.ravel(), rows.ravel()]).astype(np.float64)

    def cut(self, image: NDArray[np.generic]) -> NDArray[np.generic]:
        """Give the part of an image inside the window, as a view."""
        return image[self.top : self.top + self.height, self.left : self.left + self.width]


@dataclass(frozen=True, slots=True)
class Grid:
    """A window of a camera with the ray slope of each of its pixels, made once and rendered into often."""

    camera: Camera
    window: Window
    slopes: Array
    """shape (height, width, 2), x/z and y/z in the camera's own frame"""

    @classmethod
    def of(cls, camera: Camera, window: Window | None = None) -> Grid:
        """Make the grid of a window, or of the whole picture."""
        window = window or Window(0, 0, camera.width_px, camera.height_px)
        slopes = camera.slopes_from_pixels(window.pixels())
        return cls(camera, window, slopes.reshape(window.height, window.width, 2))


@dataclass(frozen=True, slots=True)
class Rendered:
    """What each pixel sees: depth along the axis (mm, NaN for nothing) and face number (-1 for nothing)."""

    depth_mm: Array
    face: NDArray[np.int32]


def render(grid: Grid, points_mm: Array, faces: NDArray[np.integer]) -> Rendered:
    """Render triangles into a grid.

    Parameters
    ----------
    grid : Grid
    points_mm : array, shape (n, 3), mm, in the grid's camera frame
    faces : array, shape (m, 3), vertex numbers

    Notes
    -----
    Faces that reach closer than 1 mm to the camera plane, or beyond the slope at which the lens model folds
    back, are left out.
    Both sides of a face are drawn, so a mesh with mixed winding loses nothing.
    """
    height, width = grid.window.height, grid.window.width
    depth = np.full(height * width, np.inf)
    face = np.full(height * width, -1, dtype=np.int32)
    z = points_mm[:, 2]
    with np.errstate(divide="ignore", invalid="ignore"):
        slopes = points_mm[:, :2] / z[:, None]
    usable = (z > _NEAR_MM) & (np.hypot(slopes[:, 0], slopes[:, 1]) < min(grid.camera.fold_slope(), 10.0))
    pixels = np.full((len(z), 2), np.nan)
    pixels[usable] = grid.camera.pixels_from_slopes(slopes[usable])

    # one pixel of margin: under distortion a triangle's edges are curves that its corners do not quite bound
    margin = 1.0 if grid.camera.distortion.any() else 0.0
    corner = pixels[faces] - (grid.window.left, grid.window.top)
    kept = np.flatnonzero(usable[faces].all(1))
    corner = corner[kept]
    low = np.maximum(np.ceil(corner.min(1) - margin), 0)
    high = np.minimum(np.floor(corner.max(1) + margin), (width - 1, height - 1))
    size = (high - low + 1).astype(np.int64)
    seen = (size > 0).all(1)
    kept, low, size = kept[seen], low[seen].astype(np.int64), size[seen]
    if not kept.size:
        return Rendered(np.full((height, width), np.nan), face.reshape(height, width))

    a, b, c = (slopes[faces[kept, k]] for k in range(3))
    inverse_z = 1.0 / z[faces[kept]]
    ab, ac = b - a, c - a
    area = ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0]
    area[np.abs(area) < 1e-30] = np.nan  # seen edge-on or without area: meets no ray
    with np.errstate(divide="ignore", invalid="ignore"):
        ab, ac = ab / area[:, None], ac / area[:, None]
    # 1/z is linear in the slopes: 1/z = base + gradient . (slope - a)
    rise_b, rise_c = inverse_z[:, 1] - inverse_z[:, 0], inverse_z[:, 2] - inverse_z[:, 0]
    flat_slopes = grid.slopes.reshape(-1, 2)
    count = size[:, 0] * size[:, 1]
    stop = np.cumsum(count)
    start = 0
    while start < len(kept):
        base = stop[start - 1] if start else 0
        end = max(start + 1, int(np.searchsorted(stop, base + _CANDIDATES_AT_ONCE, side="right")))
        part = np.repeat(np.arange(start, end), count[start:end])
        within = np.arange(len(part)) - np.repeat(stop[start:end] - count[start:end] - base, count[start:end])
        row, column = np.divmod(within, size[part, 0])
        pixel = (row + low[part, 1]) * width + column + low[part, 0]
        offset = flat_slopes[pixel] - a[part]
        weight_b = offset[:, 0] * ac[part, 1] - offset[:, 1] * ac[part, 0]
        weight_c = offset[:, 1] * ab[part, 0] - offset[:, 0] * ab[part, 1]
        # a hair of overlap, so that a ray through a shared edge meets at least one of its faces
        inside = np.flatnonzero((weight_b >= -1e-9) & (weight_c >= -1e-9) & (weight_b + weight_c <= 1 + 1e-9))
        part, pixel = part[inside], pixel[inside]
        hit = 1.0 / (inverse_z[part, 0] + weight_b[inside] * rise_b[part] + weight_c[inside] * rise_c[part])
        order = np.argsort(-hit, kind="stable")  # the last write wins, so the nearest is written last
        pixel, hit, part = pixel[order], hit[order], part[order]
        nearest_depth = np.full(height * width, np.inf)
        nearest_part = np.zeros(height * width, dtype=np.int64)
        nearest_depth[pixel], nearest_part[pixel] = hit, part
        closer = nearest_depth < depth
        depth[closer], face[closer] = nearest_depth[closer], kept[nearest_part[closer]]
        start = end
    depth[np.isinf(depth)] = np.nan
    return Rendered(depth.reshape(height, width), face.reshape(height, width))


def face_normals(points_mm: Array, faces: NDArray[np.integer]) -> Array:
    """Give unnormalised face normals, shape (m, 3), mm^2; their sign follows the winding."""
    a, b, c = (points_mm[faces[:, k]] for k in range(3))
    return np.cross(b - a, c - a)
