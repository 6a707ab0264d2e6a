"""What the rays of a depth camera's pixels meet of a placed model: through their centres, and about rims.

A pixel is an area, not a point. Where lip, enamel and the gaps between teeth change hands within it, the ray
through its centre tells of one of them only, and a fit of such rays is wrong by 0.1 to 0.2 mm that no sd
knows of. So through pixels on teeth, and through those where surfaces change hands, go eight rays.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.fit.edges import Rims, find_rims
from bite.fit.head import Head, face_moves_with_teeth
from bite.geometry.render import Grid, Scene
from bite.geometry.rigid import Array, crossed
from bite.geometry.teeth import LOWER, OTHER, UPPER

RAYS_PX = np.array(
    [(1, 3), (-3, 1), (-1, -3), (3, -1), (5, -7), (7, 5), (-5, 7), (-7, -5)], dtype=np.float64
) / 16  # fmt: skip
"""Where rays go through a pixel whose area counts, px right and down of its centre. No two share a row or a
column, so that an edge along a row, as incisal edges are, is placed to an eighth of a pixel; and a quarter
turn brings the places onto themselves, so that corners of no orientation are taken for larger than they are
(Hammersley's eight points lean: 0.047 of a pixel's area on average). Of the patterns that do both, this one
has the least errors of half planes at all angles, 0.056 of a pixel's area rms where Hammersley's have 0.063
(our choice)."""
AREA_REACH_MM = 15.0
"""Rims farther than this from all teeth are seen through pixels' centres: no blur carries them that far, and
skin there counts for little."""
_GRAZING = 0.1
"""Least cosine to the ray: seen flatter, a surface's depth follows a motion without bound (our choice)."""


@dataclass(frozen=True, slots=True)
class Surface:
    """What some rays meet, in columns: points, unit normals toward the camera, their cosines, and faces."""

    local_mm: Array
    normal: Array
    facing: Array
    face: NDArray[np.int32]

    def part(self, head: Head) -> NDArray[np.int8]:
        """Give the part of the head that each ray meets."""
        return head.face_part[self.face]

    def moving(self, head: Head) -> NDArray[np.bool_]:
        """Tell which points move with the teeth."""
        return face_moves_with_teeth(self.part(head))


@dataclass(frozen=True, slots=True)
class SeenModel:
    """What a camera's rays meet of a model where it was placed.

    Parameters
    ----------
    grid : Grid
    depth_mm : array, shape (h, w), at the pixels' centres, NaN for nothing
    centre : Surface, at the centres that meet any, row by row
    rims : Rims, between the centres
    mixed : array of bool, shape (h, w), pixels whose area counts
    met : array of bool, shape (m, 8), which rays of these meet anything
    fine : Surface, where they do
    """

    grid: Grid
    depth_mm: Array
    centre: Surface
    rims: Rims
    mixed: NDArray[np.bool_]
    met: NDArray[np.bool_]
    fine: Surface

    @property
    def hit(self) -> NDArray[np.bool_]:
        """Pixels whose centre meets anything, shape (h, w)."""
        return np.isfinite(self.depth_mm)


def seen_model(grid: Grid, head: Head, parameters: Array, mm_per_px: float) -> SeenModel:
    """Send rays to a head where the parameters put it.

    Parameters
    ----------
    grid : Grid of the depth camera
    head : Head, waves of its skin included
    parameters : array, shape (14,) or longer
    mm_per_px : float, of a pixel on the teeth
    """
    points_mm = grid.camera.camera_from_reference.apply(head.placed(parameters))
    scene = Scene.of(grid, points_mm, head.faces)
    seen = scene.at_centres()
    hit = seen.face >= 0
    centre = _surface(points_mm, head, grid.slopes[hit].T, seen.depth_mm[hit], seen.face[hit])
    part = np.full(hit.shape, -1, dtype=np.int8)
    part[hit] = centre.part(head)
    focal = np.array([grid.camera.matrix[0, 0], grid.camera.matrix[1, 1]])
    tilt = np.full((2, *hit.shape), np.nan)
    tilt[:, hit] = -seen.depth_mm[hit] * centre.normal[:2] / centre.facing / focal[:, None]
    rims = find_rims(seen.depth_mm, tilt[0], tilt[1])
    mixed = hit & _mixed(part, rims.first, rims.second, AREA_REACH_MM / mm_per_px)
    fine = scene.within(mixed, RAYS_PX, seen)
    met = fine.face >= 0
    rays = scene.rays_within(mixed, RAYS_PX).all()
    surface = _surface(points_mm, head, rays[:, met], fine.depth_mm[met], fine.face[met])
    return SeenModel(grid, seen.depth_mm, centre, rims, mixed, met, surface)


def _surface(
    points_mm: Array, head: Head, slopes: Array, depth_mm: Array, face: NDArray[np.int32]
) -> Surface:
    """Tell what some rays, slopes in columns, meet of a model in the camera's frame."""
    rays = np.concatenate([slopes, np.ones((1, len(face)))])
    corners = [np.take(points_mm, head.faces[face, k], axis=0).T for k in range(3)]
    normal = crossed(corners[1] - corners[0], corners[2] - corners[0])
    normal /= np.maximum(np.sqrt((normal**2).sum(0)), 1e-300)
    facing = (normal * rays).sum(0)
    normal *= -np.copysign(1.0, facing)
    return Surface(rays * depth_mm, normal, np.minimum(-np.abs(facing), -_GRAZING), face)


def _mixed(
    part: NDArray[np.int8], first: NDArray[np.int64], second: NDArray[np.int64], reach_px: float
) -> NDArray[np.bool_]:
    """Choose pixels whose area counts: teeth, changes of part and rims near them, and their neighbours."""
    from scipy.ndimage import binary_dilation

    chosen = np.asarray((part == UPPER) | (part == LOWER), dtype=np.bool_)
    if not chosen.any():
        return chosen
    rows, columns = np.flatnonzero(chosen.any(1)), np.flatnonzero(chosen.any(0))
    reach = int(np.ceil(reach_px))
    near = (
        slice(max(int(rows[0]) - reach, 0), int(rows[-1]) + reach + 1),
        slice(max(int(columns[0]) - reach, 0), int(columns[-1]) + reach + 1),
    )
    chosen |= part == OTHER
    across, along = part[:, 1:] != part[:, :-1], part[1:] != part[:-1]
    chosen[:, 1:] |= across
    chosen[:, :-1] |= across
    chosen[1:] |= along
    chosen[:-1] |= along
    chosen.ravel()[first] = True
    chosen.ravel()[second] = True
    mixed = np.zeros(part.shape, dtype=np.bool_)
    mixed[near] = binary_dilation(chosen[near], np.ones((3, 3), dtype=bool))
    return mixed
