"""How a rig's dial moves the teeth: rows of teeth followed through exports at several dial values.

Every export is the rig's neutral pose with nothing but the dial changed, so that anything else that moves is
a fault
of the export, and is refused.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from bite.errors import DegenerateGeometryError, InputError
from bite.files.rig import Rig
from bite.files.rig_parts import part_labels
from bite.geometry.mesh import Mesh
from bite.geometry.rigid import Array, align
from bite.geometry.teeth import LOWER, OTHER, SKIN, UPPER, is_upper

SKIN_MOVED_MM = 0.05
"""Root mean square that skin may differ between exports: far above storage rounding, far below an expression
(our
choice)."""
NOT_RIGID_MM = 0.05
"""Root mean square that a row may differ from a turned, scaled copy of itself (our choice)."""
SCALE_REFUSED = 0.02
"""The same limit that a solved mesh is held to."""
LEAST_MOVE_MM = 0.02
"""Below this the teeth count as not moved: ten times the rounding of four decimals in centimetres (our
choice)."""


@dataclass(frozen=True, slots=True)
class RowMotion:
    """How one row moved from the export at 0; directions are the rig's own.

    Parameters
    ----------
    forward_mm, right_mm, up_mm : float, mm, of the middle of its incisors; right in an unmirrored picture
    turn_deg : float, by how much the row turned
    scale : float, its size over its size at 0
    rms_mm : float, what a turned, scaled copy leaves
    sides_mm : float, mm, forward motion of the picture's right half less that of the left half
    """

    forward_mm: float
    right_mm: float
    up_mm: float
    turn_deg: float
    scale: float
    rms_mm: float
    sides_mm: float


@dataclass(frozen=True, slots=True)
class Station:
    """One export: its dial value and how both rows, skin and the rest moved from the export at 0.

    ``other_forward_mm`` is None where the rig names no other part.
    """

    value: float
    file: str
    upper: RowMotion
    lower: RowMotion
    skin_rms_mm: float
    other_forward_mm: float | None

    @property
    def forward_mm(self) -> float:
        """Mean forward motion of both rows, mm."""
        return 0.5 * (self.upper.forward_mm + self.lower.forward_mm)


def follow_rows(rig: Rig, rest: Mesh, exports: Sequence[tuple[float, Path, Mesh]]) -> tuple[Station, ...]:
    """Follow both rows through exports at several dial values.

    Parameters
    ----------
    rig : Rig
    rest : Mesh, the neutral export: it names the parts, and stands for value 0 where no export does
    exports : sequence of (dial value, path, mesh)

    Returns
    -------
    tuple of Station, rising in dial value; the export at 0 is not among them

    Raises
    ------
    InputError
        When values repeat or lie beyond the dial's limit, or an export differs in more than its teeth.
    """
    _check_values(rig, exports)
    for _, path, mesh in exports:
        _check_count(rig, rest, path, mesh)
    labels = part_labels(rest, rig)
    own = {label: np.unique(rest.faces[labels == label]) for label in (SKIN, UPPER, LOWER, OTHER)}
    zero = next(((p, m) for value, p, m in exports if value == 0), (rig.rest, rest))
    if zero[1] is not rest:
        _skin_rms(rig.rest, rest, zero[0], zero[1], own[SKIN])
    stations = []
    for value, path, mesh in sorted(exports, key=lambda export: export[0]):
        if value == 0:
            continue
        rms = _skin_rms(zero[0], zero[1], path, mesh, own[SKIN])
        rows = {label: _row(rig, path, label, zero[1], mesh, own) for label in (UPPER, LOWER)}
        other = None
        if own[OTHER].size:
            moved = mesh.vertices_mm[own[OTHER]] - zero[1].vertices_mm[own[OTHER]]
            other = float((moved @ rig.forward).mean())
        stations.append(Station(value, path.name, rows[UPPER], rows[LOWER], rms, other))
        reach = max(_length(rows[UPPER]), _length(rows[LOWER]))
        if reach < LEAST_MOVE_MM:
            what = f"its teeth stand {reach:.3f} mm from those of {zero[0].name}: {value:g} moved nothing"
            raise InputError(path, "", what, "export again with the dial at that value")
    if not stations:
        what = "no export at a dial value other than 0"
        raise InputError(rig.path, "[dial]", what, "give at least one more, such as 1.0=plus.obj")
    return tuple(stations)


def row_motion(
    before_mm: Array, after_mm: Array, at_mm: Array, *, forward: Array, right: Array, up: Array
) -> RowMotion:
    """Measure the motion of one row between two poses, vertex by vertex.

    Parameters
    ----------
    before_mm, after_mm : array, shape (n, 3), mm
    at_mm : array, shape (3,), the point before whose motion is told
    forward, right, up : array, shape (3,), unit vectors

    Source: Umeyama 1991 (the similarity).
    """
    found = align(before_mm, after_mm, with_scale=True)
    moved = found.scale * found.rotation @ at_mm + found.translation - at_mm
    angle = np.arccos(np.clip((np.trace(found.rotation) - 1.0) / 2.0, -1.0, 1.0))
    side = (before_mm - before_mm.mean(0)) @ right
    ahead = (after_mm - before_mm) @ forward
    sides = float(ahead[side > 0].mean() - ahead[side < 0].mean()) if np.ptp(side) > 0 else 0.0
    return RowMotion(
        forward_mm=float(moved @ forward),
        right_mm=float(moved @ right),
        up_mm=float(moved @ up),
        turn_deg=float(np.degrees(angle)),
        scale=found.scale,
        rms_mm=found.rms,
        sides_mm=sides,
    )


def _length(row: RowMotion) -> float:
    return float(np.sqrt(row.forward_mm**2 + row.right_mm**2 + row.up_mm**2))


def _check_values(rig: Rig, exports: Sequence[tuple[float, Path, Mesh]]) -> None:
    taken: dict[float, Path] = {}
    for value, path, _ in exports:
        if value in taken:
            what = f"dial value {value:g} is also that of {taken[value].name}"
            raise InputError(path, "", what, "give one export a value")
        taken[value] = path
        if abs(value) > rig.dial.limit * (1 + 1e-9):
            what = f"dial value {value:g} lies beyond the rig's limit {rig.dial.limit:g}"
            raise InputError(path, "", what, "correct the value, or the limit in the rig file")


def _check_count(rig: Rig, rest: Mesh, path: Path, mesh: Mesh) -> None:
    if not mesh.ordered:
        what = "has no stable vertex numbers (STL stores loose triangles)"
        raise InputError(path, "", what, "export OBJ, PLY or GLB")
    counts = len(mesh.vertices_mm), len(rest.vertices_mm)
    if counts[0] != counts[1]:
        what = f"{counts[0]} vertices, but the rest export {rig.rest.name} has {counts[1]}"
        raise InputError(
            path, "", what, "export both from the same rig, without merging or splitting vertices"
        )


def _skin_rms(zero_path: Path, zero: Mesh, path: Path, mesh: Mesh, skin: NDArray[np.int64]) -> float:
    away = mesh.vertices_mm[skin] - zero.vertices_mm[skin]
    rms = float(np.sqrt((away**2).sum(1).mean()))
    if rms > SKIN_MOVED_MM:
        what = (
            f"its skin differs from that of {zero_path.name} by {rms:.2f} mm rms, "
            f"needed under {SKIN_MOVED_MM} mm"
        )
        mend = (
            "export the neutral pose with nothing but the dial changed (and in the unit of the rest export)"
        )
        raise InputError(path, "part skin", what, mend)
    return rms


def _row(
    rig: Rig, path: Path, label: int, zero: Mesh, mesh: Mesh, own: Mapping[int, NDArray[np.int64]]
) -> RowMotion:
    name = "upper" if label == UPPER else "lower"
    numbers = own[label]
    before, after = zero.vertices_mm[numbers], mesh.vertices_mm[numbers]
    corners = [number for code, number in rig.corners.items() if is_upper(code) == (label == UPPER)]
    if corners:
        at = zero.vertices_mm[corners].mean(0)
    else:
        ahead = before @ rig.forward
        at = before[ahead >= np.quantile(ahead, 0.9)].mean(0)
    try:
        row = row_motion(
            before, after, at, forward=rig.forward, right=np.cross(rig.up, rig.forward), up=rig.up
        )
    except DegenerateGeometryError as error:
        raise InputError(
            path, f"part {name}", f"cannot be followed: {error}", "check [parts] in the rig file"
        ) from error
    if row.rms_mm > NOT_RIGID_MM:
        what = f"is bent: {row.rms_mm:.2f} mm rms from a copy of the row at 0, needed under {NOT_RIGID_MM} mm"
        raise InputError(
            path, f"part {name}", what, "export the same rig with the same vertex order, teeth undeformed"
        )
    if abs(row.scale - 1.0) > SCALE_REFUSED:
        what = f"is {row.scale:.3f} times its size at 0, needed the same size"
        raise InputError(
            path, f"part {name}", what, "export all in one unit, with a dial that only slides the teeth"
        )
    return row
