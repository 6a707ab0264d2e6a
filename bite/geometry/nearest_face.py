"""Which triangle a ray meets first, over all (triangle, pixel) pairs at once.

Pixels only list the candidates; whether a ray meets a triangle is tested in undistorted ray slopes, where
barycentric weights and 1/z are linear. The nearest wins.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.geometry.rigid import Array

_CANDIDATES_AT_ONCE = 30_000
"""Pairs of pixel and large face looked at in one go: the arrays stay in a core's own cache, which takes a
sixth less time than millions at once (our choice)."""
_FEW_PX = 24
"""Faces over no more pixels than this are looked at pixel by pixel, all faces at once (our choice)."""
_HAIR = 1e-9
"""Float error of barycentric coordinates, so that shared edges belong to both faces."""
Faces = slice | NDArray[np.int64]
"""Some places in a list of faces."""


@dataclass(frozen=True, slots=True)
class Boxes:
    """Faces that may cover a pixel of the window, each with its rectangle of pixels; columns for speed.

    Those with the most pixels come first: the faces with a pixel of some number are then the first so many,
    and what is known of them is had without a copy (half the time of a list of pairs, 2026-11-28).
    """

    face: NDArray[np.int64]
    first: NDArray[np.int64]
    """flat number of the first pixel"""
    width: NDArray[np.int64]
    count: NDArray[np.int64]

    def pairs(self, window_width: int) -> Iterator[tuple[Faces, NDArray[np.int64]]]:
        """Go through all pairs of a face's place in this list and a pixel's flat number, many at once."""
        large = int(np.searchsorted(-self.count, -_FEW_PX, side="left"))
        start, stop = 0, np.cumsum(self.count[:large])
        while start < large:
            base = stop[start - 1] if start else 0
            end = int(np.searchsorted(stop, base + _CANDIDATES_AT_ONCE, side="right"))
            end = max(start + 1, end)
            count = self.count[start:end]
            face = np.repeat(np.arange(start, end), count)
            row, column = np.divmod(_numbered(count), self.width[face])
            yield face, self.first[face] + row * window_width + column
            start = end
        if large == len(self.face):
            return
        first, step = self.first[large:], window_width - self.width[large:]
        share = 1.0 / self.width[large:] + 1e-9
        with_more = np.searchsorted(-self.count[large:], -np.arange(self.count[large] + 1), side="left")
        for k in range(int(self.count[large])):
            some = int(with_more[k])
            row = (k * share[:some]).astype(np.int64)
            pixel = np.asarray(first[:some] + k + row * step[:some], dtype=np.int64)
            yield slice(large, large + some), pixel


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

    def weights(self, face: Faces, x: Array, y: Array) -> tuple[Array, Array]:
        """Give the weights of two vertices of some faces along a ray each."""
        b = self.b_x[face] * x
        b += self.b_y[face] * y
        b += self.b_0[face]
        c = self.c_x[face] * x
        c += self.c_y[face] * y
        c += self.c_0[face]
        return b, c

    def depth_mm(self, face: NDArray[np.int64], b: Array, c: Array) -> Array:
        """Give how far away the point of these weights is."""
        return np.asarray(1.0 / (self.base[face] + b * self.rise_b[face] + c * self.rise_c[face]))


def inside(b: Array, c: Array) -> NDArray[np.int64]:
    """List which weights, in flat order, are those of points inside of their face.

    A hair of overlap, so that a ray through a shared edge meets at least one of its faces.
    """
    least = np.minimum(b, c)
    rest = b + c
    return np.flatnonzero((least >= -_HAIR) & (rest <= 1.0 + _HAIR))


@dataclass(frozen=True, slots=True)
class Met:
    """The nearest face that each of some rays has met so far: infinity and -1 where it has met none.

    Of faces that are met at the same depth it is the last of the model, in whatever order they are asked.
    """

    depth_mm: Array
    face: NDArray[np.int64]

    @classmethod
    def nothing(cls, count: int) -> Met:
        """Start with rays that have met nothing."""
        return cls(np.full(count, np.inf), np.full(count, -1))

    def keep(self, ray: NDArray[np.int64], depth_mm: Array, face: NDArray[np.int64]) -> None:
        """Keep what some rays meet where it is nearer than what they met before, in place."""
        self.face[ray[depth_mm < self.depth_mm[ray]]] = -1
        np.minimum.at(self.depth_mm, ray, depth_mm)
        wins = np.flatnonzero(depth_mm == self.depth_mm[ray])
        np.maximum.at(self.face, ray[wins], face[wins])


def meet_centres(met: Met, boxes: Boxes, plane: Planes, slopes: Array, width: int) -> None:
    """Find the nearest face along the ray through each pixel of a window.

    Parameters
    ----------
    met : Met, of each pixel of the window; changed in place
    boxes : Boxes
    plane : Planes, of the faces of the boxes, in their order
    slopes : array, shape (h * w, 2), of the rays
    width : int, of the window
    """
    slope_x, slope_y = np.ascontiguousarray(slopes[:, 0]), np.ascontiguousarray(slopes[:, 1])
    for face, ray in boxes.pairs(width):
        b, c = plane.weights(face, slope_x[ray], slope_y[ray])
        hit = inside(b, c)
        place = _picked(face, hit)
        met.keep(ray[hit], plane.depth_mm(place, b[hit], c[hit]), boxes.face[place])


def meet_within(met: Met, pairs: Pairs, plane: Planes, rays: PixelRays) -> None:
    """Find the nearest face along several rays through each of some pixels.

    Parameters
    ----------
    met : Met, of the k rays of the first pixel, then of the next; changed in place
    pairs : Pairs
    plane : Planes, of the faces that the pairs speak of
    rays : PixelRays
    """
    count = len(rays.offsets_px)
    # so many pairs at once that they stay in a core's cache
    for start in range(0, len(pairs.place), _CANDIDATES_AT_ONCE):
        place, own, face = (column[start : start + _CANDIDATES_AT_ONCE] for column in pairs.columns)
        b, c = plane.weights(place, rays.slopes[0, own], rays.slopes[1, own])
        steps = [(step[0, own], step[1, own]) for step in rays.steps]
        b_by = [plane.b_x[place] * x + plane.b_y[place] * y for x, y in steps]
        c_by = [plane.c_x[place] * x + plane.c_y[place] * y for x, y in steps]
        # most faces that come near a pixel do not reach into it: at no corner do all weights reach zero
        b_most, c_most = (0.5 * (np.abs(by[0]) + np.abs(by[1])) for by in (b_by, c_by))
        a_most = 0.5 * (np.abs(b_by[0] + c_by[0]) + np.abs(b_by[1] + c_by[1]))
        reaches = (np.minimum(b + b_most, c + c_most) >= -_HAIR) & (b + c - a_most <= 1.0 + _HAIR)
        near = np.flatnonzero(reaches)
        place, own, face = place[near], own[near], face[near]
        b, b_right, b_down, c, c_right, c_down = (each[near] for each in (b, *b_by, c, *c_by))
        for k, (right, down) in enumerate(rays.offsets_px):
            b_ray, c_ray = b + right * b_right, c + right * c_right
            b_ray += down * b_down
            c_ray += down * c_down
            hit = inside(b_ray, c_ray)
            met.keep(own[hit] * count + k, plane.depth_mm(place[hit], b_ray[hit], c_ray[hit]), face[hit])


@dataclass(frozen=True, slots=True)
class Pairs:
    """Pairs of a face and a pixel that it may cover: its place in a list, which pixel, its own number."""

    place: NDArray[np.int64]
    own: NDArray[np.int64]
    face: NDArray[np.int64]

    @classmethod
    def asked(cls, boxes: Boxes, target: NDArray[np.int64], width: int) -> Pairs:
        """List all pairs of some pixels.

        Parameters
        ----------
        boxes : Boxes
        target : array of int, which of the pixels each pixel of the window is, or -1
        width : int, of the window
        """
        places, owns = [np.arange(0)], [np.arange(0)]
        for face, pixel in boxes.pairs(width):
            own = target[pixel]
            some = np.flatnonzero(own >= 0)
            places.append(_picked(face, some))
            owns.append(own[some])
        place = np.concatenate(places)
        return cls(place, np.concatenate(owns), boxes.face[place])

    @property
    def columns(self) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
        """All three."""
        return self.place, self.own, self.face

    def some(self, chosen: NDArray[np.bool_]) -> tuple[Pairs, NDArray[np.int64]]:
        """Give some of the pairs, and the faces that they speak of in the order of their new places."""
        own, face = self.own[chosen], self.face[chosen]
        spoken = np.zeros(int(face.max(initial=-1)) + 1, dtype=np.bool_)
        spoken[face] = True
        place = np.cumsum(spoken) - 1
        return Pairs(place[face], own, face), np.flatnonzero(spoken)


@dataclass(frozen=True, slots=True)
class PixelRays:
    """Several rays through each of some pixels: slopes at centres and their steps to neighbours.

    Parameters
    ----------
    slopes : array, shape (2, p), x and y
    steps : arrays, shape (2, p) each, a pixel to the right and a pixel down
    offsets_px : array, shape (k, 2), px to the right and down, within half a pixel
    """

    slopes: Array
    steps: tuple[Array, Array]
    offsets_px: Array

    def all(self) -> Array:
        """Give the slopes of all rays, shape (2, p, k)."""
        across, down = self.steps
        x, y = self.offsets_px.T
        return np.asarray(self.slopes[:, :, None] + across[:, :, None] * x + down[:, :, None] * y)


def _picked(face: Faces, chosen: NDArray[np.int64]) -> NDArray[np.int64]:
    """Give the places of some of a list of faces."""
    return chosen + face.start if isinstance(face, slice) else face[chosen]


def boxes_of(face: NDArray[np.int64], low_px: Array, high_px: Array, width: int, height: int) -> Boxes:
    """Give the pixels of a window that each of some faces, within these bounds in px, may cover."""
    left, top = np.maximum(np.ceil(low_px), 0.0)
    right, bottom = np.minimum(np.floor(high_px), [[width - 1.0], [height - 1.0]])
    kept = np.flatnonzero((left <= right) & (top <= bottom))
    left, top, right, bottom = (values[kept].astype(np.int64) for values in (left, top, right, bottom))
    wide = right - left + 1
    count = wide * (bottom - top + 1)
    # numbers so small are sorted by counting them
    order = np.argsort(-np.minimum(count, _FEW_PX + 1).astype(np.int8), kind="stable")
    large = int((count > _FEW_PX).sum())
    order[:large] = order[:large][np.argsort(-count[order[:large]], kind="stable")]
    return Boxes(face[kept[order]], (top * width + left)[order], wide[order], count[order])
