"""What a solver gets wrong in the skin: waves, lips that stand elsewhere, a head misplaced as a whole."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tests.worlds.description import SkinError
from tests.worlds.face import lower_lip, upper_lip

Array = NDArray[np.float64]
Ints = NDArray[np.int64]
_WAVES = 24
_UP = np.array([0.0, 1.0, 0.0])


def solved_skin(
    true_mm: Array, plain_mm: Array, faces: Ints, error: SkinError, rng: np.random.Generator
) -> Array:
    """Give the skin as the solver has it.

    Parameters
    ----------
    true_mm, plain_mm : array, shape (n, 3)
        The performer's skin, and the plain head at rest that tells where its lips are.
    """
    normal = vertex_normals(true_mm, faces)
    out = error.waves_rms_mm * waves(true_mm, error.waves_length_mm, rng)
    upper, lower = upper_lip(plain_mm), lower_lip(plain_mm)
    half = 0.5 * error.parted_mm * rng.choice([-1.0, 1.0])
    up = upper * (error.upper_up_mm + half) + lower * (error.lower_up_mm - half)
    return true_mm + (out + upper * error.upper_out_mm)[:, None] * normal + up[:, None] * _UP


def waves(points_mm: Array, length_mm: float, rng: np.random.Generator) -> Array:
    """Give smooth random waves of rms 1 (over many draws) at points, as a sum of waves in all directions."""
    direction = rng.normal(size=(_WAVES, 3))
    direction /= np.linalg.norm(direction, axis=1, keepdims=True)
    # lengths within a tenth of the stated one, so that the sum does not repeat
    number = 2.0 * np.pi / (length_mm * rng.uniform(0.9, 1.1, _WAVES))
    phase = rng.uniform(0.0, 2.0 * np.pi, _WAVES)
    return np.sqrt(2.0 / _WAVES) * np.cos(points_mm @ (direction * number[:, None]).T + phase).sum(axis=1)


def misplaced(pose: Array, about_mm: Array, error: SkinError, rng: np.random.Generator) -> Array:
    """Give a pose (camera from mesh, 4 x 4) turned about a camera-frame point, and shifted, at random."""
    turn = np.radians(rng.normal(0.0, error.head_sd_deg, 3))
    small = np.eye(4)
    small[:3, :3] = rotation(turn)
    small[:3, 3] = about_mm - small[:3, :3] @ about_mm + rng.normal(0.0, error.head_sd_mm, 3)
    return small @ pose


def rotation(vector: Array) -> Array:
    """Give the rotation about a vector by its length, rad (Rodrigues' formula)."""
    angle = float(np.linalg.norm(vector))
    if angle == 0.0:
        return np.eye(3)
    x, y, z = vector / angle
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    return np.eye(3) + np.sin(angle) * cross + (1.0 - np.cos(angle)) * cross @ cross


def vertex_normals(vertices_mm: Array, faces: Ints) -> Array:
    """Give the unit normals at the vertices, weighted by the areas of the faces around."""
    corner = vertices_mm[faces]
    face = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    total = np.stack(
        [np.bincount(faces.ravel(), np.repeat(face[:, k], 3), len(vertices_mm)) for k in range(3)], axis=1
    )
    return total / (np.linalg.norm(total, axis=1, keepdims=True) + 1e-30)
