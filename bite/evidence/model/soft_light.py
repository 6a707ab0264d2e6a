"""How light a rendered surface looks under an even sky on the camera's side, without hard shadows."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bite.geometry.render import Grid, Rendered, face_normals
from bite.geometry.rigid import Array

REACH_MM = 14.0
"""What stands farther off than this to the side hides no sky: a lip is some 10 mm before the teeth."""
_RINGS_MM = (0.7, 1.4, 2.5, 4.2, 6.5, 10.0, REACH_MM)
_WAYS = 12
"""Directions in which the sky is looked for: a picture to look at, not to measure (our choice)."""
_DARKEST = 0.22
"""Light that is left at the bottom of a hole (our choice)."""
_FROM_ABOVE = 0.35
"""How much more light comes from above than from the camera (our choice)."""
_LEAST_MM = 0.25
"""Finer steps of the shadow search cannot be seen at any size that is printed."""
_FOR_THE_EYE = 0.55
"""Power by which light becomes grey of a screen, between none and the 0.45 of sRGB (our choice)."""


def soft_light(
    grid: Grid, local_mm: Array, faces: NDArray[np.integer], seen: Rendered, *, px_mm: float
) -> Array:
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
    light = np.zeros(hit.shape)
    if not hit.any():
        return light
    normal = _normals(grid, local_mm, faces, seen)
    towards = np.array([0.0, -_FROM_ABOVE, -1.0])
    towards /= np.linalg.norm(towards)
    facing = np.clip(normal @ towards, 0.0, 1.0)
    open_sky = _open_sky(seen.depth_mm, px_mm)
    light[hit] = (_DARKEST + (1.0 - _DARKEST) * open_sky[hit]) * (0.35 + 0.65 * facing)
    return np.asarray(np.clip(light, 0.0, 1.0) ** _FOR_THE_EYE)


def _normals(grid: Grid, local_mm: Array, faces: NDArray[np.integer], seen: Rendered) -> Array:
    """Give unit normals towards the camera, blended between vertices, of the pixels that see anything."""
    by_face = face_normals(local_mm, faces)
    middle = local_mm[faces].mean(1)
    # every face is turned to the camera first, so that mixed winding does not cancel
    by_face *= -np.sign(np.einsum("ij,ij->i", by_face, middle))[:, None]
    by_vertex = np.zeros_like(local_mm)
    for corner in range(3):
        for axis in range(3):
            by_vertex[:, axis] += np.bincount(faces[:, corner], by_face[:, axis], len(local_mm))
    by_vertex /= np.maximum(np.linalg.norm(by_vertex, axis=1, keepdims=True), 1e-12)
    hit = seen.face >= 0
    face = seen.face[hit]
    rays = np.concatenate([grid.slopes[hit], np.ones((len(face), 1))], axis=1)
    at = rays * seen.depth_mm[hit][:, None]
    a, b, c = (local_mm[faces[face, k]] for k in range(3))
    flat = by_face[face]
    area = np.maximum(np.einsum("ij,ij->i", flat, flat), 1e-12)
    sign = np.sign(np.einsum("ij,ij->i", np.cross(b - a, c - a), flat))
    weights = [
        np.clip(sign * np.einsum("ij,ij->i", np.cross(q - p, at - p), flat) / area, 0.0, 1.0)
        for p, q in ((b, c), (c, a), (a, b))
    ]
    blended = np.zeros((len(face), 3))
    for weight, corner in zip(weights, range(3), strict=True):
        blended += weight[:, None] * by_vertex[faces[face, corner]]
    return np.asarray(blended / np.maximum(np.linalg.norm(blended, axis=1, keepdims=True), 1e-12))


def _open_sky(depth_mm: Array, px_mm: float) -> Array:
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
    return np.asarray(cv2.resize(sky, (width, height), interpolation=cv2.INTER_LINEAR), dtype=np.float64)
