"""Surfaces as a person would see them under one lamp: shaded, with the shadows that they cast."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.geometry.camera import Camera
from bite.geometry.render import Grid, Window, face_normals, render
from bite.geometry.rigid import Array, Rigid, frozen

Faces = NDArray[np.int32]
FAR_MM = 4000.0
"""So far away that lines of sight stay all but parallel."""
LAMP_REACH_MM, _LAMP_PX = 45.0, 300
"""Half of what the lamp sees, and its pixels: 0.3 mm each, finer than a lip's shadow is sharp (our
choice)."""
_LIFT_MM = 0.6
"""A point this little behind what the lamp sees is still lit: the lamp's own pixels are 0.3 mm wide."""
AMBIENT, IN_SHADOW = 0.12, 0.3
"""Light that comes from everywhere, and the share of the lamp's that is left in a shadow (our choice)."""


@dataclass(frozen=True, slots=True)
class Surface:
    """A triangle mesh in the reference camera's frame, mm, with a part number a face."""

    points_mm: Array
    faces: Faces
    part: NDArray[np.integer]


@dataclass(frozen=True, slots=True)
class Relief:
    """What a camera sees of a lit surface, arrays of its grid.

    Parameters
    ----------
    shade : array, shape (h, w), 0..1, NaN where nothing is seen
    lit : array of bool, shape (h, w): the lamp reaches it
    part : array, shape (h, w), part numbers, -1 for nothing
    area_mm2 : array, shape (h, w), surface that each pixel sees; 0 for nothing
    points_mm : array, shape (h, w, 3), in the reference frame; NaN for nothing
    """

    shade: Array
    lit: NDArray[np.bool_]
    part: NDArray[np.integer]
    area_mm2: Array
    points_mm: Array


def far_camera(at_mm: Array, towards: Array, up: Array, *, half_mm: float, side_px: int) -> Camera:
    """Make a camera that looks at a point from far away.

    Parameters
    ----------
    at_mm : array, shape (3,), mm, in the reference frame
    towards : array, shape (3,), unit vector from that point towards the camera
    up : array, shape (3,), what comes out upwards
    half_mm : float, half of what it shows
    side_px : int
    """
    away = -towards
    down = -(up - (up @ away) * away)
    down /= np.linalg.norm(down)
    turn = np.stack([np.cross(down, away), down, away])
    focal, middle = side_px / (2 * half_mm) * FAR_MM, (side_px - 1) / 2
    matrix = np.array([[focal, 0, middle], [0, focal, middle], [0, 0, 1.0]])
    placed = Rigid(frozen(turn), frozen(np.array([0, 0, FAR_MM]) - turn @ at_mm))
    return Camera(side_px, side_px, frozen(matrix), frozen(np.zeros(5)), placed)


def lamp(at_mm: Array, towards: Array, up: Array) -> Grid:
    """Make the lamp: a far camera whose depths say what it reaches."""
    camera = far_camera(at_mm, towards, up, half_mm=LAMP_REACH_MM, side_px=_LAMP_PX)
    return Grid.of(camera, Window(0, 0, _LAMP_PX, _LAMP_PX))


def relief(grid: Grid, surface: Surface, light: Grid) -> Relief:
    """Shade what a camera sees of a surface.

    Parameters
    ----------
    grid : Grid of the camera
    surface : Surface
    light : Grid, of ``lamp``
    """
    camera = grid.camera.camera_from_reference
    local = camera.apply(surface.points_mm)
    seen = render(grid, local, surface.faces)
    hit = seen.face >= 0
    face = seen.face[hit]
    rays = np.concatenate([grid.slopes[hit], np.ones((len(face), 1))], axis=1)
    points = rays * seen.depth_mm[hit][:, None]
    flat = _unit(face_normals(local, surface.faces[face]))
    facing = np.einsum("ij,ij->i", flat, rays)
    smooth = _smooth_normals(local, surface.faces, face, points, flat)
    smooth *= -np.sign(facing)[:, None]
    placed = camera.inverse().apply(points)
    lit = _reached(light, surface, placed)
    towards = camera.turn(-light.camera.camera_from_reference.rotation[2])
    strength = np.clip(smooth @ towards, 0.0, 1.0) * np.where(lit, 1.0, IN_SHADOW)
    shape = hit.shape
    shade, part = np.full(shape, np.nan), np.full(shape, -1)
    area, where = np.zeros(shape), np.full((*shape, 3), np.nan)
    shade[hit] = AMBIENT + (1.0 - AMBIENT) * strength
    part[hit] = surface.part[face]
    focal = grid.camera.matrix[0, 0] * grid.camera.matrix[1, 1]
    area[hit] = seen.depth_mm[hit] ** 2 / focal / np.maximum(np.abs(facing), 0.1)
    where[hit] = placed
    out = np.zeros(shape, dtype=bool)
    out[hit] = lit
    return Relief(shade, out, part, area, where)


def _reached(light: Grid, surface: Surface, points_mm: Array) -> NDArray[np.bool_]:
    """Tell which points the lamp reaches; what lies beside its beam counts as lit."""
    camera = light.camera.camera_from_reference
    nearest = render(light, camera.apply(surface.points_mm), surface.faces).depth_mm
    local = camera.apply(points_mm)
    column, row = np.rint(light.camera.project_local(local)).T.astype(int)
    side = nearest.shape[0]
    inside = (column >= 0) & (row >= 0) & (column < side) & (row < side)
    before = np.full(len(points_mm), np.inf)
    before[inside] = np.nan_to_num(nearest[row[inside], column[inside]], nan=np.inf)
    return np.asarray(local[:, 2] <= before + _LIFT_MM)


def _unit(vectors: Array) -> Array:
    return np.asarray(vectors / np.maximum(np.linalg.norm(vectors, axis=1, keepdims=True), 1e-12))


def _smooth_normals(
    points_mm: Array, faces: Faces, face: NDArray[np.integer], at_mm: Array, flat: Array
) -> Array:
    """Give normals blended between the vertices, on the same side as each face's own."""
    by_face = face_normals(points_mm, faces)
    by_vertex = np.zeros_like(points_mm)
    for corner in range(3):
        for axis in range(3):
            by_vertex[:, axis] += np.bincount(faces[:, corner], by_face[:, axis], len(points_mm))
    by_vertex = _unit(by_vertex)
    a, b, c = (points_mm[faces[face, k]] for k in range(3))
    one, two, arm = b - a, c - a, at_mm - a
    aa, ab, bb = ((p * q).sum(1) for p, q in ((one, one), (one, two), (two, two)))
    pa, pb = (arm * one).sum(1), (arm * two).sum(1)
    scale = np.maximum(aa * bb - ab**2, 1e-12)
    second, third = (bb * pa - ab * pb) / scale, (aa * pb - ab * pa) / scale
    first = 1.0 - second - third
    blended = sum(
        weight[:, None] * by_vertex[faces[face, k]] for k, weight in enumerate((first, second, third))
    )
    assert isinstance(blended, np.ndarray)
    blended = _unit(blended)
    agree = np.einsum("ij,ij->i", blended, flat)
    # a fold, or faces that are wound both ways, leaves nothing to blend
    return np.where(np.abs(agree)[:, None] > 0.3, blended * np.sign(agree)[:, None], flat)
