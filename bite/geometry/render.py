"""Z-buffer: which surface each pixel sees, and how far along the optical axis it is.

Exact for a distorted lens: whether a ray meets a triangle is tested in undistorted ray slopes; pixels only
list the candidates. Vectorised over all candidate (triangle, pixel) pairs; the nearest wins.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.geometry.camera import Camera
from bite.geometry.nearest_face import Planes, boxes_of, nearest
from bite.geometry.rigid import Array

_NEAR_MM = 1.0
"""Nothing nearer than this to the camera is drawn: it would fill the picture (our choice)."""
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


@dataclass(frozen=True, slots=True)
class Scene:
    """Triangles brought into a grid's camera once, to be asked what rays through its pixels meet.

    Parameters
    ----------
    grid : Grid
    faces : array, shape (m, 3), vertex numbers
    slopes, z_mm : arrays, shape (n, 2) and (n,), of the vertices
    low_px, high_px : arrays, shape (2, m), bounds of each face in pixels of the window, x and y; NaN where
        the face cannot be drawn
    """

    grid: Grid
    faces: NDArray[np.integer]
    slopes: Array
    z_mm: Array
    low_px: Array
    high_px: Array

    @classmethod
    def of(cls, grid: Grid, points_mm: Array, faces: NDArray[np.integer]) -> Scene:
        """Project triangles into a grid.

        Parameters
        ----------
        grid : Grid
        points_mm : array, shape (n, 3), mm, in the grid's camera frame
        faces : array, shape (m, 3), vertex numbers

        Notes
        -----
        Faces that reach closer than 1 mm to the camera plane, or beyond the slope at which the lens model
        folds back, are left out. Both sides of a face are drawn, so a mesh with mixed winding loses nothing.
        """
        z = points_mm[:, 2]
        with np.errstate(divide="ignore", invalid="ignore"):
            slopes = points_mm[:, :2] / z[:, None]
        usable = (z > _NEAR_MM) & (np.hypot(slopes[:, 0], slopes[:, 1]) < min(grid.camera.fold_slope(), 10.0))
        pixels = np.full((len(z), 2), np.nan)
        pixels[usable] = grid.camera.pixels_from_slopes(slopes[usable])
        low, high = _bounds(pixels - (grid.window.left, grid.window.top), faces, grid.camera)
        return cls(grid, faces, slopes, z, low, high)

    def at_centres(self) -> Rendered:
        """Tell what the ray through the centre of each pixel meets."""
        height, width = self.grid.window.height, self.grid.window.width
        near = np.flatnonzero(
            (self.high_px >= 0.0).all(0) & (self.low_px <= [[width - 1.0], [height - 1.0]]).all(0)
        )
        boxes = boxes_of(self.low_px[:, near], self.high_px[:, near], width, height)
        rays, every = self.grid.slopes.reshape(-1, 2), np.arange(height * width)
        depth, number = nearest(boxes, self._planes(near), rays, every, width)
        return Rendered(depth.reshape(height, width), _named(number, near).reshape(height, width))

    def within(self, pixels: NDArray[np.bool_], offsets_px: Array) -> Rendered:
        """Tell what rays beside the centres of some pixels meet.

        Parameters
        ----------
        pixels : array of bool, shape (height, width)
        offsets_px : array, shape (k, 2), px to the right and down of the pixel's centre, within half a pixel

        Returns
        -------
        Rendered, of shape (p, k): the p pixels row by row
        """
        window, count = self.grid.window, int(pixels.sum())
        target = np.full(pixels.size, -1)
        target[np.flatnonzero(pixels)] = np.arange(count)
        # a ray's slope is so nearly linear within a pixel that its steps to the neighbours serve
        down, right = (np.gradient(self.grid.slopes, axis=axis)[pixels] for axis in (0, 1))
        near = self._touching(pixels)
        low, high, plane = self.low_px[:, near], self.high_px[:, near], self._planes(near)
        depth, face = np.empty((count, len(offsets_px))), np.empty((count, len(offsets_px)), dtype=np.int32)
        for k, (x, y) in enumerate(offsets_px):
            shift = np.array([[x], [y]])
            boxes = boxes_of(low - shift, high - shift, window.width, window.height)
            rays = self.grid.slopes[pixels] + x * right + y * down
            depth[:, k], number = nearest(boxes, plane, rays, target, window.width)
            face[:, k] = _named(number, near)
        return Rendered(depth, face)

    def _planes(self, faces: NDArray[np.int64]) -> Planes:
        return Planes.of(self.slopes, self.z_mm, self.faces[faces])

    def _touching(self, pixels: NDArray[np.bool_]) -> NDArray[np.int64]:
        """List the faces whose bounds, half a pixel wider, hold any of some pixels."""
        height, width = pixels.shape
        total = np.zeros((height + 1, width + 1), dtype=np.int64)
        total[1:, 1:] = pixels.cumsum(0).cumsum(1)
        size = np.array([[width], [height]], dtype=np.float64)
        with np.errstate(invalid="ignore"):
            kept = np.flatnonzero((self.high_px > -1.0).all(0) & (self.low_px < size).all(0))
        first = np.clip(np.ceil(self.low_px[:, kept] - 0.5), 0, size).astype(np.int64)
        last = np.clip(np.floor(self.high_px[:, kept] + 0.5) + 1.0, 0, size).astype(np.int64)
        (x0, y0), (x1, y1) = first, np.maximum(first, last)
        inside = total[y1, x1] - total[y0, x1] - total[y1, x0] + total[y0, x0]
        return np.asarray(kept[inside > 0])


def render(grid: Grid, points_mm: Array, faces: NDArray[np.integer]) -> Rendered:
    """Render triangles into a grid at its pixels' centres; see ``Scene``."""
    return Scene.of(grid, points_mm, faces).at_centres()


def _bounds(pixels: Array, faces: NDArray[np.integer], camera: Camera) -> tuple[Array, Array]:
    """Give the bounds of each face in pixels, shape (2, m) each."""
    first, second, third = (np.ascontiguousarray(faces[:, k]) for k in range(3))
    low, high = np.empty((2, len(faces))), np.empty((2, len(faces)))
    for axis in range(2):
        at = np.ascontiguousarray(pixels[:, axis])
        # three takes and pairwise minima: several times faster than a reduction over an axis of length
        # three. A vertex that is not usable is NaN, and so is every bound it enters
        p, q, r = at[first], at[second], at[third]
        low[axis], high[axis] = np.minimum(np.minimum(p, q), r), np.maximum(np.maximum(p, q), r)
    if camera.distortion.any():
        # under distortion an edge is a curve that its ends do not quite bound; how far it bows grows with
        # its length squared
        bow = _BOW_PER_PX * (high - low).max(0) ** 2
        low, high = low - bow, high + bow
    return low, high


def _named(number: NDArray[np.int64], faces: NDArray[np.int64]) -> NDArray[np.int32]:
    """Turn numbers in a list of faces into face numbers; -1 stays."""
    return np.append(faces, -1)[number].astype(np.int32)


def face_normals(points_mm: Array, faces: NDArray[np.integer]) -> Array:
    """Give unnormalised face normals, shape (m, 3), mm^2; their sign follows the winding."""
    a, b, c = (points_mm[faces[:, k]] for k in range(3))
    return np.cross(b - a, c - a)
