"""What each pixel of a depth camera sees of a placed model before the sensor smooths it: means over its area.

Pixels on teeth, and those where surfaces change hands, are the mean of eight rays (``seen_model``);
elsewhere the ray through the centre is the mean, but for the bow of the surface.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.fit.edges import add_rim_motion
from bite.fit.head import Head
from bite.fit.parameters import GEOMETRIC, P
from bite.fit.seen_model import SeenModel, Surface
from bite.geometry.rigid import Array
from bite.geometry.teeth import LOWER, OTHER, UPPER

ENAMEL, SKIN_OUT, SKIN_UP, OTHER_SHARE, LOWER_FORWARD = range(len(GEOMETRIC), len(GEOMETRIC) + 5)
"""Maps after the nine geometric slopes: share of enamel, skin out along its normal and up along the face,
share of ``other`` parts, and the part of the forward slope that lower teeth give."""
_MAPS = len(GEOMETRIC) + 5


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


def area_view(seen: SeenModel, head: Head, parameters: Array, *, slopes: bool = True) -> AreaView:
    """Tell what each pixel sees, and what each unknown does to its mean depth.

    A point on the ray d (d_z = 1) of a surface with normal n moves along its ray by (n . delta) / (n . d)
    when the surface moves by delta. To the mean of that over a pixel comes what the motion of rims does that
    hide other surfaces.

    Parameters
    ----------
    seen : SeenModel
    head : Head, of the same faces; its parts and motions may be others than those it was seen with
    parameters : array, shape (14,) or longer, that it was placed by
    slopes : bool, whether the maps are wanted too
    """
    hit, shape = seen.hit, seen.depth_mm.shape
    values_of = _values if slopes else _enamel
    part = np.full(shape, -1, dtype=np.int8)
    part[hit] = seen.centre.part(head)
    centres = values_of(seen, seen.centre, head, parameters)
    maps = np.zeros((len(centres), *shape))
    maps[:, hit] = centres
    depth_mm, spread = seen.depth_mm.copy(), np.zeros(shape)
    if seen.mixed.any():
        values = np.zeros((len(maps), *seen.met.shape))
        values[:, seen.met] = values_of(seen, seen.fine, head, parameters)
        count = seen.met.sum(1)
        some = count > 0
        inside = np.flatnonzero(seen.mixed)[some]
        share = 1.0 / count[some]
        maps.reshape(len(maps), -1)[:, inside] = values.sum(2)[:, some] * share
        depths = np.zeros(seen.met.shape)
        depths[seen.met] = seen.fine.local_mm[2]
        mean = depths[some].sum(1) * share
        depth_mm.ravel()[inside] = mean
        off = np.where(seen.met[some], (depths[some] - mean[:, None]) ** 2, 0.0)
        spread.ravel()[inside] = off.sum(1) * share
    points_mm = seen.grid.camera.camera_from_reference.inverse().apply(seen.centre.local_mm.T)
    if not slopes:
        return AreaView(depth_mm, part, points_mm, maps[0], maps[:0])
    moved = [*GEOMETRIC, SKIN_OUT, SKIN_UP]
    rows = maps[moved]
    row = np.cumsum(hit.ravel())[seen.rims.front] - 1
    add_rim_motion(rows, seen.rims, _motion_px(seen, head, parameters, points_mm[row], row), spread)
    maps[moved] = rows
    return AreaView(depth_mm, part, points_mm, maps[ENAMEL], maps)


def _enamel(seen: SeenModel, met: Surface, head: Head, parameters: Array) -> Array:
    """Tell what is enamel, shape (1, p)."""
    part = met.part(head)
    return np.asarray((part == UPPER) | (part == LOWER), dtype=np.float64)[None]


def _values(seen: SeenModel, met: Surface, head: Head, parameters: Array) -> Array:
    """Tell how the depth along rays follows each unknown, and the shares, shape (14, p)."""
    camera, moving = seen.grid.camera.camera_from_reference, met.moving(head)
    # in the reference frame, and so long that their product with a motion is that of the depth
    by_motion = camera.rotation.T @ (met.normal / met.facing)
    placed = camera.inverse()
    points = placed.rotation @ met.local_mm + placed.translation_mm[:, None]
    part = met.part(head)
    values = np.empty((_MAPS, len(part)))
    values[: len(GEOMETRIC)] = head.along(by_motion, points, moving, parameters)
    values[ENAMEL] = _enamel(seen, met, head, parameters)
    values[SKIN_OUT] = np.where(moving, 0.0, 1.0 / met.facing)
    values[SKIN_UP] = np.where(moving, 0.0, head.up @ by_motion)
    values[OTHER_SHARE] = part == OTHER
    values[LOWER_FORWARD] = np.where(part == LOWER, values[P.FORWARD_MM], 0.0)
    return values


def _motion_px(
    seen: SeenModel, head: Head, parameters: Array, points_mm: Array, row: NDArray[np.int64]
) -> Array:
    """Tell how rims move in the picture with each unknown, then with skin out and up, (11, e, 2).

    Parameters
    ----------
    points_mm : array, shape (e, 3), on the rims, in the reference frame
    row : array of int, shape (e,), which of those seen at the centres they are
    """
    camera, centre, still = seen.grid.camera, seen.centre, ~seen.centre.moving(head)[row]
    turn = camera.camera_from_reference.turn
    motion = np.zeros((len(GEOMETRIC) + 2, len(row), 3))
    motion[:-2] = turn(head.speeds(points_mm, ~still, parameters))
    motion[-2] = still[:, None] * centre.normal.T[row]
    motion[-1] = still[:, None] * turn(head.up)
    # lens distortion turns and stretches motion by a few per cent at most, which a slope can do without
    along = motion[:, :, :2] - seen.grid.slopes.reshape(-1, 2)[seen.rims.front] * motion[:, :, 2:]
    focal = np.array([camera.matrix[0, 0], camera.matrix[1, 1]])
    return np.asarray(along * (focal / centre.local_mm[2, row, None]))
