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
    enamel : share of enamel
    maps : shape (14, h, w): slopes and shares, see above; (0, h, w) where slopes were not asked for
    """

    depth_mm: Array
    part: NDArray[np.int8]
    points_mm: Array
    enamel: Array
    maps: Array


def area_view(
    grid: Grid, head: Head, parameters: Array, mm_per_px: float, *, slopes: bool = True
) -> AreaView:
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
    slopes : bool, whether the maps are wanted too, which takes as long again
    """
    view = _Placed(grid, head, parameters, grid.camera.camera_from_reference.apply(head.placed(parameters)))
    scene = Scene.of(grid, view.points_mm, head.faces)
    seen = scene.at_centres()
    hit = seen.face >= 0
    centre = view.surface(grid.slopes[hit].T, seen.depth_mm[hit], seen.face[hit])
    values_of = view.values if slopes else view.enamel
    part = np.full(hit.shape, -1, dtype=np.int8)
    part[hit] = centre.part
    maps = np.zeros((_MAPS if slopes else 1, *hit.shape))
    maps[:, hit] = values_of(centre)
    depth_mm, spread = seen.depth_mm.copy(), np.zeros(hit.shape)
    focal = np.array([grid.camera.matrix[0, 0], grid.camera.matrix[1, 1]])
    tilt = np.full((2, *hit.shape), np.nan)
    tilt[:, hit] = -seen.depth_mm[hit] * centre.normal[:2] / centre.facing / focal[:, None]
    rims = find_rims(seen.depth_mm, tilt[0], tilt[1])

    mixed = hit & _mixed(part, rims.first, rims.second, AREA_REACH_MM / mm_per_px)
    if mixed.any():
        fine = scene.within(mixed, RAYS_PX, seen)
        met = fine.face >= 0
        rays = scene.rays_within(mixed, RAYS_PX).all()
        values = np.zeros((len(maps), *met.shape))
        values[:, met] = values_of(view.surface(rays[:, met], fine.depth_mm[met], fine.face[met]))
        count = met.sum(1)
        some = count > 0
        inside = np.flatnonzero(mixed)[some]
        share = 1.0 / count[some]
        maps.reshape(len(maps), -1)[:, inside] = values.sum(2)[:, some] * share
        depths = np.where(met, fine.depth_mm, 0.0)[some]
        mean = depths.sum(1) * share
        depth_mm.ravel()[inside] = mean
        spread.ravel()[inside] = np.where(met[some], (depths - mean[:, None]) ** 2, 0.0).sum(1) * share

    points_mm = grid.camera.camera_from_reference.inverse().apply(centre.local_mm.T)
    if not slopes:
        return AreaView(depth_mm, part, points_mm, maps[0], maps[:0])
    moved = [*GEOMETRIC, SKIN_OUT, SKIN_UP]
    rows = maps[moved]
    row = np.cumsum(hit.ravel())[rims.front] - 1
    add_rim_motion(rows, rims, view.motion_px(centre, points_mm[row], row, rims.front), spread)
    maps[moved] = rows
    return AreaView(depth_mm, part, points_mm, maps[ENAMEL], maps)


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
    """What some rays meet, in columns: points and unit normals toward the camera, cosines, parts."""

    local_mm: Array
    normal: Array
    facing: Array
    part: NDArray[np.int8]

    @property
    def moving(self) -> NDArray[np.bool_]:
        """Whether a point moves with the teeth."""
        return face_moves_with_teeth(self.part)


@dataclass(frozen=True, slots=True)
class _Placed:
    grid: Grid
    head: Head
    parameters: Array
    points_mm: Array
    """in the depth camera's frame"""

    def surface(self, slopes: Array, depth_mm: Array, face: NDArray[np.integer]) -> _Surface:
        """Tell what some rays, slopes in columns, meet there."""
        rays = np.concatenate([slopes, np.ones((1, len(face)))])
        corners = [np.take(self.points_mm, self.head.faces[face, k], axis=0).T for k in range(3)]
        normal = crossed(corners[1] - corners[0], corners[2] - corners[0])
        normal /= np.maximum(np.sqrt((normal**2).sum(0)), 1e-300)
        facing = (normal * rays).sum(0)
        normal *= -np.copysign(1.0, facing)
        facing = np.minimum(-np.abs(facing), -_GRAZING)
        return _Surface(rays * depth_mm, normal, facing, self.head.face_part[face])

    def enamel(self, met: _Surface) -> Array:
        """Tell what is enamel, shape (1, p)."""
        return np.asarray((met.part == UPPER) | (met.part == LOWER), dtype=np.float64)[None]

    def values(self, met: _Surface) -> Array:
        """Tell how the depth along the rays follows each unknown, and the shares, shape (14, p)."""
        camera, head, moving = self.grid.camera.camera_from_reference, self.head, met.moving
        # in the reference frame, and so long that their product with a motion is that of the depth
        by_motion = camera.rotation.T @ (met.normal / met.facing)
        placed = camera.inverse()
        points = placed.rotation @ met.local_mm + placed.translation_mm[:, None]
        values = np.empty((_MAPS, len(met.part)))
        values[: len(GEOMETRIC)] = head.along(by_motion, points, moving, self.parameters)
        values[ENAMEL] = self.enamel(met)
        values[SKIN_OUT] = np.where(moving, 0.0, 1.0 / met.facing)
        values[SKIN_UP] = np.where(moving, 0.0, head.up @ by_motion)
        values[OTHER_SHARE] = met.part == OTHER
        values[LOWER_FORWARD] = np.where(met.part == LOWER, values[P.FORWARD_MM], 0.0)
        return values

    def motion_px(
        self, met: _Surface, points_mm: Array, row: NDArray[np.int64], pixel: NDArray[np.int64]
    ) -> Array:
        """Tell how rims move in the picture with each unknown, then with skin out and up, (11, e, 2).

        Parameters
        ----------
        met : _Surface, seen at the pixels' centres
        points_mm : array, shape (e, 3), on the rims, in the reference frame
        row, pixel : array of int, shape (e,), which of those seen they are, and flat numbers of their pixels
        """
        camera, head, still = self.grid.camera, self.head, ~met.moving[row]
        turn = camera.camera_from_reference.turn
        motion = np.zeros((len(GEOMETRIC) + 2, len(row), 3))
        motion[:-2] = turn(head.speeds(points_mm, ~still, self.parameters))
        motion[-2] = still[:, None] * met.normal.T[row]
        motion[-1] = still[:, None] * turn(head.up)
        # lens distortion turns and stretches motion by a few per cent at most, which a slope can do without
        along = motion[:, :, :2] - self.grid.slopes.reshape(-1, 2)[pixel] * motion[:, :, 2:]
        focal = np.array([camera.matrix[0, 0], camera.matrix[1, 1]])
        return np.asarray(along * (focal / met.local_mm[2, row, None]))
