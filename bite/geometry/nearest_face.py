"""Which triangle a ray meets first, over all (triangle, pixel) pairs at once.

Pixels only list the candidates; whether a ray meets a triangle is tested in undistorted ray slopes, where
barycentric weights and 1/z are linear. The nearest wins.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.geometry.rigid import Array

_CANDIDATES_AT_ONCE = 30_000
"""Pairs of pixel and face looked at in one go: the arrays stay in a core's own cache, which takes a sixth
less time than millions at once (our choice)."""
_HAIR = 1e-9
"""Float error of barycentric coordinates, so that shared edges belong to both faces."""


@dataclass(frozen=True, slots=True)
class Boxes:
    """Faces that may cover a pixel of the window, each with its rectangle of pixels; columns for speed."""

    face: NDArray[np.int64]
    left: NDArray[np.int64]
    top: NDArray[np.int64]
    width: NDArray[np.int64]
    count: NDArray[np.int64]

    def pixels(self, start: int, end: int, window_width: int) -> NDArray[np.int64]:
        """List the flat numbers of the pixels of the boxes start .. end - 1, box by box."""
        width = self.width[start:end]
        height = self.count[start:end] // width
        row = _numbered(height) + np.repeat(self.top[start:end], height)
        first, wide = row * window_width + np.repeat(self.left[start:end], height), np.repeat(width, height)
        return _numbered(wide) + np.repeat(first, wide)


def _numbered(count: NDArray[np.int64]) -> NDArray[np.int64]:
    """Give 0 .. n - 1 for each n of a list."""
    ends = np.cumsum(count)
    return np.arange(ends[-1]) - np.repeat(ends - count, count)


@dataclass(frozen=True, slots=True)
class Planes:
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
    def of(cls, slopes: Array, z: Array, faces: NDArray[np.integer]) -> Planes:
        """Take the slopes, shape (n, 2), and depths of vertices, and the faces between them."""
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


def nearest(
    boxes: Boxes, plane: Planes, rays: Array, target: NDArray[np.int64], width: int
) -> tuple[Array, NDArray[np.int64]]:
    """Find the nearest face along each ray.

    Parameters
    ----------
    boxes : Boxes, of faces in some list
    plane : Planes, of the faces of that list
    rays : array, shape (r, 2), slopes
    target : array of int, the number of the ray that stands for each pixel of the window, or -1
    width : int, of the window

    Returns
    -------
    depth_mm, number : NaN and -1 where a ray meets nothing; numbers of the list. Of faces that are met at the
        same depth it is the last.
    """
    depth = np.full(len(rays), np.inf)
    number = np.full(len(rays), -1)
    slope_x, slope_y = np.ascontiguousarray(rays[:, 0]), np.ascontiguousarray(rays[:, 1])
    partial = len(rays) < len(target)
    start, stop = 0, np.cumsum(boxes.count)
    while start < len(boxes.face):
        base = stop[start - 1] if start else 0
        end = max(start + 1, int(np.searchsorted(stop, base + _CANDIDATES_AT_ONCE, side="right")))
        ray, face, count = boxes.pixels(start, end, width), boxes.face[start:end], boxes.count[start:end]
        if partial:
            ray = target[ray]
            wanted = ray >= 0
            count = np.add.reduceat(wanted, np.cumsum(count) - count, dtype=np.int64)
            ray = ray[wanted]
        start = end
        x, y = slope_x[ray], slope_y[ray]
        b = np.repeat(plane.b_x[face], count) * x
        b += np.repeat(plane.b_y[face], count) * y
        b += np.repeat(plane.b_0[face], count)
        c = np.repeat(plane.c_x[face], count) * x
        c += np.repeat(plane.c_y[face], count) * y
        c += np.repeat(plane.c_0[face], count)
        # a hair of overlap, so that a ray through a shared edge meets at least one of its faces
        inside = np.flatnonzero((b >= -_HAIR) & (c >= -_HAIR) & (b + c <= 1 + _HAIR))
        ray, face = ray[inside], np.repeat(face, count)[inside]
        hit = 1.0 / (plane.base[face] + b[inside] * plane.rise_b[face] + c[inside] * plane.rise_c[face])
        np.minimum.at(depth, ray, hit)
        wins = hit == depth[ray]  # of faces that are met at the same depth the last of the list is kept
        number[ray[wins]] = face[wins]
    depth[np.isinf(depth)] = np.nan
    return depth, number


def boxes_of(low_px: Array, high_px: Array, width: int, height: int) -> Boxes:
    """Give the pixels of a window that each of some faces, within these bounds in px, may cover."""
    left, top = np.maximum(np.ceil(low_px), 0.0)
    right, bottom = np.minimum(np.floor(high_px), [[width - 1.0], [height - 1.0]])
    kept = np.flatnonzero((left <= right) & (top <= bottom))
    columns = [values[kept].astype(np.int64) for values in (left, top, right, bottom)]
    wide = columns[2] - columns[0] + 1
    return Boxes(kept, columns[0], columns[1], wide, wide * (columns[3] - columns[1] + 1))
