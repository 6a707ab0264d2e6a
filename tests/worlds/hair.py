"""Hair before the skin: every ray on it ends somewhere between the skin and the hair's tips."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from tests.worlds.description import Hair
from tests.worlds.face import hairy

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

_STRAND_MM = np.array([0.35, 1.2, 0.35])
_STEEPEST = 2.5


def tips_mm(
    hair: Hair | None, skin_mm: Array, plain_mm: Array, lining: NDArray[np.bool_], enamel_mm: Array
) -> Array:
    """Give how far the tips stand before each vertex of the skin, shape (n,), mm.

    Parameters
    ----------
    skin_mm, plain_mm : array, shape (n, 3)
        The performer's skin, and the plain head at rest that tells what grows where.
    lining : array, shape (n,)
        Which vertices are inside the mouth.
    enamel_mm : array, shape (k, 3)
        Points of the teeth in view; distances from them are taken in the frontal plane.
    """
    if hair is None or not len(enamel_mm):
        return np.zeros(len(skin_mm))
    apart = cKDTree(enamel_mm[:, :2]).query(skin_mm[:, :2])[0]
    # full height two millimetres behind the hair line
    rise = np.clip((apart - hair.bare_mm) / 2.0, 0.0, 1.0)
    return hair.height_mm * rise * (hairy(plain_mm, hair.where) & ~lining)


def before_skin_mm(tips: Array, plain_mm: Array) -> Array:
    """Give how far before the skin rays end, of the tips' height there; the same strands from everywhere.

    Parameters
    ----------
    tips : array, shape (...), mm
    plain_mm : array, shape (..., 3)
        Where on the plain head each ray ends: strands are fixed to it.
    """
    cell = np.floor(plain_mm / _STRAND_MM).astype(np.int64)
    mixed = (cell[..., 0] * 73856093) ^ (cell[..., 1] * 19349663) ^ (cell[..., 2] * 83492791)
    mixed = (mixed ^ (mixed >> 13)) * 1274126177
    return tips * (((mixed ^ (mixed >> 16)) & 0xFFFF) / 65535.0)


def nearer_mm(before_mm: Array, slant: Array) -> Array:
    """Give by how much less depth reads there, mm: along the ray, up to where the skin turns away."""
    return before_mm * np.minimum(1.0 / np.maximum(slant, 1e-3), _STEEPEST)
