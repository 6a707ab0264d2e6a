"""Fine texture that sticks to the surface: pores and freckles of skin, stains of enamel, as noise in space.

Both views of a pair read it at the same places of the head, so that it can be matched. Invented.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bite.geometry.rigid import Array
from bite.geometry.teeth import LOWER, UPPER
from demo_bite.scene.settings import Texture

_OCTAVES = ((0.35, 0.5), (0.8, 0.7), (2.0, 0.5))
"""Size of the grains, mm, and their share."""


def texture_factor(texture: Texture, seed: int, at_mm: Array, part: NDArray[np.integer]) -> Array:
    """Give the factor on the colour at places of the head, shape (n,).

    Parameters
    ----------
    texture : Texture
    seed : int, the performer's own
    at_mm : array, shape (n, 3), head frame
    part : array, shape (n,), index into ``bite.geometry.teeth.PARTS``
    """
    tooth = (part == UPPER) | (part == LOWER)
    strength = np.where(tooth, texture.enamel, texture.skin)
    total = np.zeros(len(at_mm))
    for number, (size_mm, share) in enumerate(_OCTAVES):
        total += share * grains(at_mm / size_mm, seed + 101 * number)
    return np.clip(1.0 + strength * total, 0.2, 1.8)


def grains(at: Array, seed: int) -> Array:
    """Give smooth noise of about unit sd: random values at whole numbers, blended in between."""
    base = np.floor(at).astype(np.int64)
    share = at - base
    share = share * share * (3.0 - 2.0 * share)
    total = np.zeros(len(at))
    for corner in range(8):
        step = np.array([corner & 1, corner >> 1 & 1, corner >> 2 & 1])
        weight = np.where(step, share, 1.0 - share).prod(1)
        total += weight * _random(base + step, seed)
    return total / 0.33


def _random(cell: NDArray[np.int64], seed: int) -> Array:
    """Give a value in -1 .. 1 for each cell of space, the same one each time (integer mixing)."""
    mixed = cell.astype(np.uint64) @ np.array([73856093, 19349663, 83492791], dtype=np.uint64)
    mixed = (mixed ^ np.uint64(seed * 2654435761 % 2**32)) & np.uint64(0xFFFFFFFF)
    for factor in (0x45D9F3B, 0x119DE1F3):
        mixed = ((mixed ^ (mixed >> np.uint64(16))) * np.uint64(factor)) & np.uint64(0xFFFFFFFF)
    mixed ^= mixed >> np.uint64(16)
    return mixed.astype(np.float64) / 2**31 - 1.0
