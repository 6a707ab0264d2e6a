"""What pixels of a depth sensor see before it smooths: means over their areas, not rays through centres.

A pixel on the edge of a lip or of a tooth gathers light from both sides of it. A map of rays through centres
puts such an edge on the pixel grid, and a model that does the same would cancel an error that no real sensor
takes part in. So each pixel is the mean over 4 x 4 rays: the pixels of a camera four times as fine.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.geometry.camera import Camera
from bite.geometry.render import Grid, Window, render
from bite.geometry.rigid import Array
from bite.geometry.teeth import LOWER, UPPER

RAYS_A_SIDE = 4
_STRIP_RAYS = 400_000
"""Rays of one rendering, so that a whole map does not fill the memory (our choice)."""


@dataclass(frozen=True, slots=True)
class Area:
    """Means over the pixels of a window, shape (height, width).

    Parameters
    ----------
    depth_mm : mean along the axis over the rays that meet a surface, NaN where none does
    enamel : share of enamel among those rays, 0 where there is none
    """

    depth_mm: Array
    enamel: Array


def over_area(
    camera: Camera,
    window: Window,
    points_mm: Array,
    faces: NDArray[np.integer],
    face_part: NDArray[np.integer],
) -> Area:
    """Give the mean depth and the share of enamel of each pixel of a window.

    Parameters
    ----------
    points_mm : array, shape (n, 3), mm, in the camera's own frame
    face_part : array, shape (m,), index into ``bite.geometry.teeth.PARTS``
    """
    finer = camera.scaled(RAYS_A_SIDE)
    enamel_face = np.append((face_part == UPPER) | (face_part == LOWER), False)
    rows = max(1, _STRIP_RAYS // (window.width * RAYS_A_SIDE**2))
    depth, enamel = np.empty((window.height, window.width)), np.empty((window.height, window.width))
    for top in range(0, window.height, rows):
        height = min(rows, window.height - top)
        strip = Window(
            window.left * RAYS_A_SIDE,
            (window.top + top) * RAYS_A_SIDE,
            window.width * RAYS_A_SIDE,
            height * RAYS_A_SIDE,
        )
        seen = render(Grid.of(finer, strip), points_mm, faces)
        met = seen.face >= 0
        count = _sums(met)
        some = np.maximum(count, 1)
        depth[top : top + height] = np.where(
            count > 0, _sums(np.where(met, seen.depth_mm, 0.0)) / some, np.nan
        )
        enamel[top : top + height] = _sums(enamel_face[seen.face]) / some
    return Area(depth, enamel)


def _sums(rays: NDArray[np.generic]) -> Array:
    """Add up the rays of each pixel."""
    height, width = rays.shape[0] // RAYS_A_SIDE, rays.shape[1] // RAYS_A_SIDE
    blocks = rays.reshape(height, RAYS_A_SIDE, width, RAYS_A_SIDE)
    return np.asarray(blocks.sum(axis=(1, 3), dtype=np.float64))
