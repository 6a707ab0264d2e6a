"""How light a rendered surface looks under an even sky on the camera's side, without hard shadows."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bite.geometry.nearest_face import Planes
from bite.geometry.render import Grid, Rendered
from bite.geometry.rigid import Array

REACH_MM = 14.0
"""What stands farther off than this to the side hides no sky: a lip is some 10 mm before the teeth."""
_RINGS_MM = (0.7, 1.4, 2.5, 4.2, 6.5, 10.0, REACH_MM)
_WAYS = 12
"""Directions in which the sky is looked for: a picture to look at, not to measure (our choice)."""
_DARKEST = 0.22
"""Light that is left at the bottom of a hole (our choice)."""
_SKY = np.array([0.0, -0.35, -1.0])
"""Where most light comes from: the camera's side, and some more from above (our choice)."""
_LEAST_MM = 0.25
"""Finer steps of the shadow search cannot be seen at any size that is printed."""
_FOR_THE_EYE = 0.55
"""Power by which light becomes grey of a screen, between none and the 0.45 of sRGB (our choice)."""
Light = NDArray[np.float32]


def soft_light(
    grid: Grid, local_mm: Array, faces: NDArray[np.integer], seen: Rendered, *, px_mm: float
) -> Light:
    """Give the light of each pixel, 0..1, shape (h, w); 0 where nothing is seen.

    Two factors: how a surface is turned to the sky, and how much sky what stands around it leaves. The second
    is read from the depths alone, as horizons along twelve directions, so that neither winding nor open
    meshes matter.

    Parameters
    ----------
    grid : Grid
    local_mm : array, shape (n, 3), vertices in the grid's camera frame
    faces : array, shape (m, 3)
    seen : Rendered, of these faces in this grid
    px_mm : float, size of a pixel on the surface
    """
    hit = seen.face >= 0
    light = np.zeros(hit.shape, dtype=np.float32)
    if not hit.any():
        return light
    facing = _facing_sky(grid.slopes[hit], local_mm, faces, seen.face[hit])
    open_sky = _open_sky(seen.depth_mm, px_mm)[hit]
    lit = (_DARKEST + (1.0 - _DARKEST) * open_sky) * (0.35 + 0.65 * facing)
    light[hit] = np.clip(lit, 0.0, 1.0) ** np.float32(_FOR_THE_EYE)
    return light


def _facing_sky(
    rays: Array, local_mm: Array, faces: NDArray[np.integer], face: NDArray[np.integer]
) -> Light:
    """Give how far the surface that each ray meets is turned to the sky, 0..1, shape (r,).

    Normals are blended between a face's vertices as they lie in the picture: the faces are so much smaller
    than their distance that this is where they lie on the face too. Single precision shows in no grey of a
    screen.

    Parameters
    ----------
    rays : array, shape (r, 2), slopes
    local_mm, faces : the surface, in the camera's frame
    face : array of int, shape (r,), the face that each ray meets
    """
    met = np.zeros(len(faces), dtype=np.bool_)
    met[face] = True
    number = np.cumsum(met, dtype=np.int32) - 1
    at = number[face]
    corners = faces[met]
    normals = _vertex_normals(local_mm, faces, corners)
    plane = Planes.of(local_mm[:, :2] / local_mm[:, 2:], local_mm[:, 2], corners)
    x, y = (np.ascontiguousarray(rays[:, k], dtype=np.float32) for k in range(2))

    def weight(*line: Array) -> Light:
        along_x, along_y, start = (part.astype(np.float32)[at] for part in line)
        return np.asarray(np.clip(along_x * x + along_y * y + start, 0.0, 1.0))

    b, c = weight(plane.b_x, plane.b_y, plane.b_0), weight(plane.c_x, plane.c_y, plane.c_0)
    along, squared = np.zeros_like(x), np.full_like(x, 1e-24)
    for axis, towards in enumerate(_SKY / np.linalg.norm(_SKY)):
        first, second, third = (normals[corners[:, k], axis] for k in range(3))
        blended = first[at] + b * (second - first)[at] + c * (third - first)[at]
        along += np.float32(towards) * blended
        squared += blended * blended
    return np.clip(along / np.sqrt(squared), 0.0, 1.0)


def _vertex_normals(local_mm: Array, faces: NDArray[np.integer], corners: NDArray[np.integer]) -> Light:
    """Give unit normals towards the camera of the vertices that some faces have, zero for all others."""
    wanted = np.zeros(len(local_mm), dtype=np.bool_)
    wanted[corners] = True
    around = faces[wanted[faces[:, 0]] | wanted[faces[:, 1]] | wanted[faces[:, 2]]]
    a, b, c = (local_mm[around[:, k]].T for k in range(3))
    p, q = b - a, c - a
    by_face = np.stack([p[1] * q[2] - p[2] * q[1], p[2] * q[0] - p[0] * q[2], p[0] * q[1] - p[1] * q[0]])
    # every face is turned to the camera first, so that mixed winding does not cancel
    by_face *= -np.sign((by_face * (a + b + c)).sum(0))
    at = around.ravel()
    sums = [np.bincount(at, np.repeat(side, 3), len(local_mm)) for side in by_face]
    normals: Array = np.stack(sums, axis=1)
    length = np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-12)
    return np.asarray(normals / length, dtype=np.float32)


def _open_sky(depth_mm: Array, px_mm: float) -> Light:
    """Give the share of sky in front of each pixel that its surroundings leave, 0..1, shape (h, w).

    Along each direction the horizon is the steepest rise towards the camera; a sky of even brightness then
    gives one minus the squared sine of its height.
    """
    import cv2

    step = max(1, round(_LEAST_MM / px_mm))
    far = float(np.nanmax(depth_mm))
    whole = np.where(np.isfinite(depth_mm), depth_mm, far).astype(np.float32)
    height, width = whole.shape
    coarse = cv2.resize(whole, (max(1, width // step), max(1, height // step)), interpolation=cv2.INTER_AREA)
    coarse_mm = px_mm * width / coarse.shape[1]
    blocked = np.zeros_like(coarse)
    pad = int(np.ceil(REACH_MM / coarse_mm)) + 1
    wide = cv2.copyMakeBorder(coarse, pad, pad, pad, pad, cv2.BORDER_REPLICATE)
    rows, columns = coarse.shape
    for angle in 2 * np.pi * (np.arange(_WAYS) + 0.5) / _WAYS:
        steepest = np.zeros_like(coarse)
        for ring_mm in _RINGS_MM:
            x, y = (round(float(ring_mm / coarse_mm * f)) for f in (np.cos(angle), np.sin(angle)))
            beside = wide[pad + y : pad + y + rows, pad + x : pad + x + columns]
            away_mm = max(float(np.hypot(x, y)) * coarse_mm, 1e-6)
            np.maximum(steepest, (coarse - beside) / away_mm, out=steepest)
        blocked += steepest**2 / (1.0 + steepest**2)
    sky = cv2.GaussianBlur(1.0 - blocked / _WAYS, (0, 0), 1.0)
    return np.asarray(cv2.resize(sky, (width, height), interpolation=cv2.INTER_LINEAR), dtype=np.float32)
