"""Where one surface hides another: how the smoothed depth changes when such an edge moves in the picture.

The slope of a surface says nothing of its rim. When a lip that stands 8 mm before the teeth moves by a tenth
of a pixel, the depth
at its rim changes by 0.8 mm; after smoothing that is spread over the neighbours, and without it the fit
would not know that the
lip edge can be wrong.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.geometry.rigid import Array

LEAST_JUMP_MM = 1.0
"""Smaller steps between neighbouring pixels are left to the slope of the surface."""
_EVEN_MM2 = 0.01
"""Depth that varies by less than 0.1 mm within both pixels says nothing of which holds the rim: half each."""


@dataclass(frozen=True, slots=True)
class Rims:
    """Pairs of neighbouring pixels across an edge.

    Parameters
    ----------
    first, second, front : array of int, shape (e,): flat pixel numbers; ``front`` is the nearer one of the
    two
    axis : array of int, shape (e,): 0 where second is right of first, 1 where it is below
    jump_mm : array, shape (e,): depth of second minus first, less what the slopes of both surfaces explain
    """

    first: NDArray[np.int64]
    second: NDArray[np.int64]
    front: NDArray[np.int64]
    axis: NDArray[np.int64]
    jump_mm: Array


def find_rims(depth_mm: Array, slope_x: Array, slope_y: Array) -> Rims:
    """Find the edges of a sharp depth map.

    Parameters
    ----------
    depth_mm : array, shape (h, w), NaN for nothing; edges against nothing are not edges here
    slope_x, slope_y : array, shape (h, w): mm per pixel to the right and down, from the surface normals
    """
    height, width = depth_mm.shape
    number = np.arange(height * width).reshape(height, width)
    parts = []
    for axis, slope in ((0, slope_x), (1, slope_y)):
        a = (slice(None), slice(None, -1)) if axis == 0 else (slice(None, -1), slice(None))
        b = (slice(None), slice(1, None)) if axis == 0 else (slice(1, None), slice(None))
        step = depth_mm[b] - depth_mm[a]
        jump = step - 0.5 * (slope[a] + slope[b])
        with np.errstate(invalid="ignore"):
            edge = (np.abs(jump) > LEAST_JUMP_MM) & (np.abs(step) > LEAST_JUMP_MM) & (jump * step > 0)
        first, second = number[a][edge], number[b][edge]
        front = np.where(step[edge] > 0, first, second)
        parts.append((first, second, front, np.full(len(first), axis), jump[edge]))
    first, second, front, axis_of, jump_mm = (np.concatenate(column) for column in zip(*parts, strict=True))
    return Rims(first, second, front, axis_of, jump_mm)


def add_rim_motion(maps: Array, rims: Rims, motion_px: Array, spread_mm2: Array) -> None:
    """Add to slope maps what moving rims do, in place.

    Parameters
    ----------
    maps : array, shape (k, h, w)
    rims : Rims
    motion_px : array, shape (k, e, 2): motion in the picture of the front surface at each rim, px per unit
    spread_mm2 : array, shape (h, w), variance of depth within each pixel: the rim runs through whichever of
        the two pixels holds both surfaces, and changes the mean of that one
    """
    across = np.take_along_axis(motion_px, rims.axis[None, :, None], axis=2)[:, :, 0]
    here, there = spread_mm2.ravel()[rims.first], spread_mm2.ravel()[rims.second]
    share = (here + _EVEN_MM2) / (here + there + 2.0 * _EVEN_MM2)
    change = -rims.jump_mm * across
    flat = maps.reshape(len(maps), -1)
    for k in range(len(maps)):
        flat[k] += np.bincount(rims.first, change[k] * share, flat.shape[1])
        flat[k] += np.bincount(rims.second, change[k] * (1.0 - share), flat.shape[1])
