"""Where on the plain head's face a vertex lies: red of the lips, upper or lower lip, inside the mouth, beard.

Read off the CC0 head at rest (mouth space, mm): the lips meet at y 0.7 in the middle and at 2.4 in the
corners of the mouth, 27 mm out; the red ends at 8.3 above and -9.4 below; the nose begins at 19.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tests.worlds.description import Where
from tests.worlds.rays import first_hit_mm

Array = NDArray[np.float64]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]

_CORNER_X_MM, _CORNER_Y_MM = 27.0, 2.4


def upper_lip(plain_mm: Array) -> Array:
    """Weight of the upper lip, 1 on it, 0 at the nose, the corners and below, shape (n,)."""
    return _lip(plain_mm, _above_seam(plain_mm), np.clip((18.0 - plain_mm[:, 1]) / 7.0, 0.0, 1.0))


def lower_lip(plain_mm: Array) -> Array:
    """Weight of the lower lip, 1 on it, 0 at the chin, the corners and above, shape (n,)."""
    return _lip(plain_mm, ~_above_seam(plain_mm), np.clip((plain_mm[:, 1] + 20.0) / 11.0, 0.0, 1.0))


def red(plain_mm: Array) -> Mask:
    """Whether a vertex is on the red of the lips, shape (n,)."""
    x, y = plain_mm[:, 0], plain_mm[:, 1]
    rest = np.clip(1.0 - (x / _CORNER_X_MM) ** 2, 0.0, 1.0) ** 0.8
    return (y < _CORNER_Y_MM + 5.9 * rest) & (y > _CORNER_Y_MM - 11.8 * rest) & (np.abs(x) < _CORNER_X_MM)


def inside(plain_mm: Array, faces: Ints) -> Mask:
    """Whether a vertex is on the mouth's lining, which closed lips hide, shape (n,)."""
    x, y, z = plain_mm.T
    straight = np.column_stack([x, y, np.full(len(x), 200.0)])
    before = 200.0 - first_hit_mm(straight, np.array([0.0, 0.0, -1.0]), plain_mm, faces)
    return (z < before - 2.0) & (np.abs(x) < 30.0) & (np.abs(y) < 18.0)


def hairy(plain_mm: Array, where: Where) -> Mask:
    """Whether hair of a kind grows at a vertex, shape (n,)."""
    x, y = plain_mm[:, 0], plain_mm[:, 1]
    below_nose = y < 18.0 + 0.25 * np.maximum(np.abs(x) - 18.0, 0.0)
    grows = below_nose if where is Where.BEARD else below_nose & (y > _CORNER_Y_MM) & (np.abs(x) < 30.0)
    return grows & ~red(plain_mm)


def _above_seam(plain_mm: Array) -> Mask:
    return plain_mm[:, 1] > 0.7 + (_CORNER_Y_MM - 0.7) * (plain_mm[:, 0] / _CORNER_X_MM) ** 2


def _lip(plain_mm: Array, side: Mask, height: Array) -> Array:
    across = np.clip((_CORNER_X_MM - np.abs(plain_mm[:, 0])) / 11.0, 0.0, 1.0)
    return np.where(side, _smooth(across) * _smooth(height), 0.0)


def _smooth(share: Array) -> Array:
    return share * share * (3.0 - 2.0 * share)
