"""Many rays a pixel against a mesh, by Embree: depth, part, slant and place of each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from embreex.mesh_construction import TriangleMesh
from embreex.rtcore_scene import EmbreeScene
from numpy.typing import NDArray

from tests.worlds.camera import WorldCamera

Array = NDArray[np.float64]
Ints = NDArray[np.int64]
Singles = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Window:
    """Columns and rows of a picture: [left, left + width), [top, top + height)."""

    left: int
    top: int
    width: int
    height: int


@dataclass(frozen=True, slots=True)
class Subrays:
    """What the rays of each pixel hit, shape (height, width, rays).

    depth_mm along the optical axis, NaN where nothing is hit; face -1 there; slant the cosine between ray and
    surface normal; weights of the face's second and third vertex at the hit.
    """

    window: Window
    depth_mm: Singles
    face: NDArray[np.int32]
    slant: Singles
    second: Singles
    third: Singles

    def at(self, of_vertex: Array, faces: Ints) -> Array:
        """Interpolate a value of the vertices, shape (n,) or (n, k), at the hits; 0 where nothing is hit."""
        shape = self.face.shape + of_vertex.shape[1:]
        hit = self.face >= 0
        corner = of_vertex.astype(np.float32)[faces[self.face[hit]]]
        second, third = self.second[hit], self.third[hit]
        spread = (slice(None),) + (None,) * (of_vertex.ndim - 1)
        value = corner[:, 0] * (1.0 - second - third)[spread]
        value += corner[:, 1] * second[spread]
        value += corner[:, 2] * third[spread]
        found = np.zeros(shape, dtype=np.float32)
        found[hit] = value
        return found


def window_about(camera: WorldCamera, points_mm: Array, margin_px: int = 0) -> Window:
    """Give the pixels of the camera that the points span."""
    pixels = camera.project(points_mm)
    low = np.maximum(np.floor(pixels.min(axis=0)).astype(int) - margin_px, 0)
    high = np.minimum(
        np.ceil(pixels.max(axis=0)).astype(int) + margin_px, (camera.width_px - 1, camera.height_px - 1)
    )
    return Window(int(low[0]), int(low[1]), int(high[0] - low[0] + 1), int(high[1] - low[1] + 1))


def cast(
    camera: WorldCamera,
    window: Window,
    vertices_mm: Array,
    faces: Ints,
    *,
    per_side: int,
    rng: np.random.Generator,
) -> Subrays:
    """Cast per_side x per_side rays through each pixel, one at a random place of each cell of its area."""
    n = per_side
    cell = (np.arange(n) + 0.5) / n - 0.5
    rows = window.top + np.arange(window.height)
    columns = window.left + np.arange(window.width)
    shape = (window.height, window.width, n * n)
    jitter = rng.uniform(-0.5 / n, 0.5 / n, (*shape, 2))
    pixels = np.empty((*shape, 2))
    pixels[..., 0] = columns[None, :, None] + np.tile(cell, n) + jitter[..., 0]
    pixels[..., 1] = rows[:, None, None] + np.repeat(cell, n) + jitter[..., 1]
    return _hits(window, camera.rays(pixels.reshape(-1, 2)), shape, camera.own(vertices_mm), faces)


def hit_faces(camera: WorldCamera, pixels: Array, vertices_mm: Array, faces: Ints) -> tuple[Ints, Array]:
    """Give the face and the depth that the rays through given pixels hit; -1 and NaN for none."""
    window = Window(0, 0, len(pixels), 1)
    found = _hits(window, camera.rays(pixels), (1, len(pixels), 1), camera.own(vertices_mm), faces)
    return found.face.ravel().astype(np.int64), found.depth_mm.ravel().astype(float)


def first_hit_mm(start_mm: Array, direction: Array, vertices_mm: Array, faces: Ints) -> Array:
    """Give how far parallel rays go until they hit, shape (n,), mm; infinite where they do not."""
    scene = EmbreeScene()
    TriangleMesh(scene, vertices_mm.astype(np.float32), faces.astype(np.int32))
    directions = np.broadcast_to(direction, start_mm.shape).astype(np.float32)
    found = scene.run(start_mm.astype(np.float32), directions, query="INTERSECT", output=True)
    return np.where(found["primID"] >= 0, found["tfar"], np.inf).astype(float)


def _hits(window: Window, rays: Array, shape: tuple[int, ...], own_mm: Array, faces: Ints) -> Subrays:
    scene = EmbreeScene()
    # vertices count from here on: the scene holds them in single precision
    TriangleMesh(scene, own_mm.astype(np.float32), faces.astype(np.int32))
    directions = rays.astype(np.float32)
    found = scene.run(np.zeros_like(directions), directions, query="INTERSECT", output=True)
    face = found["primID"].astype(np.int32).reshape(shape)
    hit = face >= 0
    # rays have z = 1, so that their length parameter is the depth
    depth = np.where(hit, found["tfar"].reshape(shape), np.nan).astype(np.float32)
    corner = own_mm[faces]
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    normal /= np.linalg.norm(normal, axis=1, keepdims=True) + 1e-30
    own = normal.astype(np.float32)[face.ravel()]
    along = sum(own[:, k] * directions[:, k] for k in range(3))
    length = np.sqrt(1.0 + directions[:, 0] ** 2 + directions[:, 1] ** 2)
    slant = np.abs(along / length).reshape(shape)
    return Subrays(
        window,
        depth,
        face,
        np.where(hit, slant, 0.0).astype(np.float32),
        found["u"].astype(np.float32).reshape(shape),
        found["v"].astype(np.float32).reshape(shape),
    )
