"""What each pixel of a depth camera sees of a placed model before the sensor smooths it: means over its area.

A pixel is an area, not a point. Where lip, enamel and the gaps between teeth change hands within it, the ray
through its centre tells of one of them only, and a fit of such rays is wrong by 0.1 to 0.2 mm that no sd
knows of. So pixels on teeth, and those where surfaces change hands, are the mean of eight rays; elsewhere
the ray through the centre is the mean, but for the bow of the surface.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.fit.edges import add_rim_motion, find_rims
from bite.fit.head import Head, face_moves_with_teeth
from bite.fit.parameters import GEOMETRIC, P
from bite.geometry.render import Grid, Scene, face_normals
from bite.geometry.rigid import Array
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
ENAMEL, SKIN_OUT, SKIN_UP, OTHER_SHARE, LOWER_FORWARD = range(len(GEOMETRIC), len(GEOMETRIC) + 5)
"""Maps after the nine geometric slopes: share of enamel, skin out along its normal and up along the face,
share of ``other`` parts, and the part of the forward slope that lower teeth give."""
_MAPS = len(GEOMETRIC) + 5
_GRAZING = 0.1
"""Least cosine to the ray: seen flatter, a surface's depth follows a motion without bound (our choice)."""


@dataclass(frozen=True, slots=True)
class AreaView:
    """Sharp maps of one placed model, (h, w) on the grid.

    Parameters
    ----------
    depth_mm : mean depth, NaN where the centre sees nothing
    part : part label at the centre, -1 where there is none
    points_mm : shape (p, 3), seen at the centres, in the reference frame, row by row over those that see any
    maps : shape (14, h, w): slopes and shares, see above
    """

    depth_mm: Array
    part: NDArray[np.int8]
    points_mm: Array
    maps: Array


def area_view(grid: Grid, head: Head, parameters: Array, mm_per_px: float) -> AreaView:
    """Render a head where the parameters put it, with what each unknown does to each pixel's mean depth.

    A point on the ray d (d_z = 1) of a surface with normal n moves along its ray by (n . delta) / (n . d)
    when the surface moves by delta. To the mean of that over a pixel comes what the motion of rims does that
    hide other surfaces.

    Parameters
    ----------
    grid : Grid of the depth camera
    head : Head, waves of its skin included
    parameters : array, shape (14,) or longer
    mm_per_px : float, of a pixel on the teeth
    """
    view = _Placed(grid, head, parameters, grid.camera.camera_from_reference.apply(head.placed(parameters)))
    scene = Scene.of(grid, view.points_mm, head.faces)
    seen = scene.at_centres()
    hit = seen.face >= 0
    centre = view.surface(grid.slopes[hit], seen.depth_mm[hit], seen.face[hit])
    part = np.full(hit.shape, -1, dtype=np.int8)
    part[hit] = head.face_part[seen.face[hit]]
    maps = np.zeros((_MAPS, *hit.shape))
    maps[:, hit] = centre.values
    depth_mm, spread = seen.depth_mm.copy(), np.zeros(hit.shape)
    focal = np.array([grid.camera.matrix[0, 0], grid.camera.matrix[1, 1]])
    tilt = np.full((2, *hit.shape), np.nan)
    tilt[:, hit] = (-seen.depth_mm[hit, None] * centre.normal[:, :2] / centre.facing[:, None] / focal).T
    rims = find_rims(seen.depth_mm, tilt[0], tilt[1])

    mixed = hit & _mixed(part, rims.first, rims.second, AREA_REACH_MM / mm_per_px)
    if mixed.any():
        fine = scene.within(mixed, RAYS_PX)
        met = fine.face >= 0
        down, right = (np.gradient(grid.slopes, axis=axis)[mixed] for axis in (0, 1))
        rays = grid.slopes[mixed][:, None] + RAYS_PX[:, :1] * right[:, None] + RAYS_PX[:, 1:] * down[:, None]
        values = np.zeros((_MAPS, *met.shape))
        values[:, met] = view.surface(rays[met], fine.depth_mm[met], fine.face[met]).values
        count = met.sum(1)
        some = count > 0
        inside = np.flatnonzero(mixed)[some]
        share = 1.0 / count[some]
        maps.reshape(_MAPS, -1)[:, inside] = values.sum(2)[:, some] * share
        depths = np.where(met, fine.depth_mm, 0.0)[some]
        mean = depths.sum(1) * share
        depth_mm.ravel()[inside] = mean
        spread.ravel()[inside] = np.where(met[some], (depths - mean[:, None]) ** 2, 0.0).sum(1) * share

    row = np.cumsum(hit.ravel())[rims.front] - 1
    still = ~centre.moving[row, None]
    skin = [still * centre.normal[row], still * grid.camera.camera_from_reference.turn(head.up)]
    motion = np.concatenate([centre.speeds[:, row], skin])
    # lens distortion turns and stretches motion by a few per cent at most, which a slope can do without
    along = motion[:, :, :2] - grid.slopes[hit][row] * motion[:, :, 2:]
    motion_px = along * (focal / seen.depth_mm.ravel()[rims.front, None])
    moved = [*GEOMETRIC, SKIN_OUT, SKIN_UP]
    slopes = maps[moved]
    add_rim_motion(slopes, rims, motion_px, spread)
    maps[moved] = slopes
    return AreaView(depth_mm, part, grid.camera.camera_from_reference.inverse().apply(centre.local_mm), maps)


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


@dataclass(frozen=True, slots=True)
class _Surface:
    """What some rays meet: values (14, p), unit normals toward the camera, their cosines, motions."""

    values: Array
    local_mm: Array
    normal: Array
    facing: Array
    speeds: Array
    moving: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class _Placed:
    grid: Grid
    head: Head
    parameters: Array
    points_mm: Array
    """in the depth camera's frame"""

    def surface(self, slopes: Array, depth_mm: Array, face: NDArray[np.integer]) -> _Surface:
        """Tell how the depth along some rays follows each unknown."""
        camera, head = self.grid.camera.camera_from_reference, self.head
        rays = np.concatenate([slopes, np.ones((len(face), 1))], axis=1)
        normal = face_normals(self.points_mm, head.faces[face])
        normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-300)
        facing = np.einsum("ij,ij->i", normal, rays)
        normal *= -np.copysign(1.0, facing)[:, None]
        facing = np.minimum(-np.abs(facing), -_GRAZING)
        local = rays * depth_mm[:, None]
        part = head.face_part[face]
        moving = face_moves_with_teeth(part)
        speeds = camera.turn(head.speeds(camera.inverse().apply(local), moving, self.parameters))
        values = np.empty((_MAPS, len(face)))
        values[: len(GEOMETRIC)] = np.einsum("ij,kij->ki", normal, speeds) / facing
        values[ENAMEL] = (part == UPPER) | (part == LOWER)
        values[SKIN_OUT] = np.where(moving, 0.0, 1.0 / facing)
        values[SKIN_UP] = np.where(moving, 0.0, normal @ camera.turn(head.up) / facing)
        values[OTHER_SHARE] = part == OTHER
        values[LOWER_FORWARD] = np.where(part == LOWER, values[P.FORWARD_MM], 0.0)
        return _Surface(values, local, normal, facing, speeds, moving)
