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
_HAIR = 1e-9
_BOW_PER_PX = 1e-3
"""Bow of an edge per squared pixel of length: twice that of a lens with k1 = -1 at f 600 px."""


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

    boxes = _boxes(pixels - (grid.window.left, grid.window.top), faces, grid)
    start, stop = 0, np.cumsum(boxes.count)
    plane = _Planes.of(slopes, z, faces[boxes.face])
    slope_x, slope_y = (np.ascontiguousarray(grid.slopes[..., k]).ravel() for k in range(2))
    while start < len(boxes.face):
        base = stop[start - 1] if start else 0
        end = max(start + 1, int(np.searchsorted(stop, base + _CANDIDATES_AT_ONCE, side="right")))
        part, pixel = boxes.candidates(start, end, width)
        x, y = slope_x[pixel], slope_y[pixel]
        b = plane.b_x[part] * x + plane.b_y[part] * y + plane.b_0[part]
        c = plane.c_x[part] * x + plane.c_y[part] * y + plane.c_0[part]
        # a hair of overlap, so that a ray through a shared edge meets at least one of its faces
        inside = np.flatnonzero((b >= -_HAIR) & (c >= -_HAIR) & (b + c <= 1 + _HAIR))
        part, pixel = part[inside], pixel[inside]
        hit = 1.0 / (plane.base[part] + b[inside] * plane.rise_b[part] + c[inside] * plane.rise_c[part])
        nearest = depth.copy()
        np.minimum.at(nearest, pixel, hit)
        wins = (hit == nearest[pixel]) & (hit < depth[pixel])
        face[pixel[wins]] = boxes.face[part[wins]]
        depth = nearest
        start = end
    depth[np.isinf(depth)] = np.nan
    return Rendered(depth.reshape(height, width), face.reshape(height, width))


@dataclass(frozen=True, slots=True)
class _Boxes:
    """Faces that may cover a pixel of the window, each with its rectangle of pixels; columns for speed."""

    face: NDArray[np.int64]
    left: NDArray[np.int64]
    top: NDArray[np.int64]
    width: NDArray[np.int64]
    count: NDArray[np.int64]

    def candidates(
        self, start: int, end: int, window_width: int
    ) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """List all (box number, flat pixel number) pairs of the boxes start .. end - 1."""
        count = self.count[start:end]
        part = np.repeat(np.arange(start, end), count)
        within = np.arange(len(part)) - np.repeat(np.cumsum(count) - count, count)
        row = within // self.width[part]
        corner = self.top * window_width + self.left
        return part, corner[part] + row * (window_width - self.width[part]) + within


def _boxes(pixels: Array, faces: NDArray[np.integer], grid: Grid) -> _Boxes:
    first, second, third = (np.ascontiguousarray(faces[:, k]) for k in range(3))
    ends = []
    for axis in range(2):
        at = np.ascontiguousarray(pixels[:, axis])
        # three takes and pairwise minima: several times faster than a reduction over an axis of length
        # three. A vertex that
        # is not usable is NaN, and so is every bound it enters
        p, q, r = at[first], at[second], at[third]
        ends.append((np.minimum(np.minimum(p, q), r), np.maximum(np.maximum(p, q), r)))
    (x0, x1), (y0, y1) = ends
    if grid.camera.distortion.any():
        # under distortion an edge is a curve that its ends do not quite bound; how far it bows grows with
        # its length squared
        bow = _BOW_PER_PX * np.maximum(x1 - x0, y1 - y0) ** 2
        x0, x1, y0, y1 = x0 - bow, x1 + bow, y0 - bow, y1 + bow
    left, top = np.maximum(np.ceil(x0), 0.0), np.maximum(np.ceil(y0), 0.0)
    right = np.minimum(np.floor(x1), grid.window.width - 1.0)
    bottom = np.minimum(np.floor(y1), grid.window.height - 1.0)
    kept = np.flatnonzero((left <= right) & (top <= bottom))
    columns = [values[kept].astype(np.int64) for values in (left, top, right, bottom)]
    width = columns[2] - columns[0] + 1
    return _Boxes(kept, columns[0], columns[1], width, width * (columns[3] - columns[1] + 1))


@dataclass(frozen=True, slots=True)
class _Planes:
    """For each face, the weights of two vertices, and 1/z, as linear functions of ray slopes."""

    b_x: Array
    b_y: Array
    b_0: Array
    c_x: Array
    c_y: Array
    c_0: Array
    base: Array
    rise_b: Array
    rise_c: Array

    @classmethod
    def of(cls, slopes: Array, z: Array, faces: NDArray[np.integer]) -> _Planes:
        x, y = np.ascontiguousarray(slopes[:, 0]), np.ascontiguousarray(slopes[:, 1])
        a, b, c = (np.ascontiguousarray(faces[:, k]) for k in range(3))
        ax, ay = x[a], y[a]
        abx, aby, acx, acy = x[b] - ax, y[b] - ay, x[c] - ax, y[c] - ay
        area = abx * acy - aby * acx
        area[np.abs(area) < 1e-30] = np.nan  # seen edge-on or without area: meets no ray
        b_x, b_y, c_x, c_y = acy / area, -acx / area, -aby / area, abx / area
        base = 1.0 / z[a]
        return cls(
            b_x,
            b_y,
            -(b_x * ax + b_y * ay),
            c_x,
            c_y,
            -(c_x * ax + c_y * ay),
            base,
            1.0 / z[b] - base,
            1.0 / z[c] - base,
        )


def face_normals(points_mm: Array, faces: NDArray[np.integer]) -> Array:
    """Give unnormalised face normals, shape (m, 3), mm^2; their sign follows the winding."""
    a, b, c = (points_mm[faces[:, k]] for k in range(3))
    return np.cross(b - a, c - a)
