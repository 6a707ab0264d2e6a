"""The [solved] table of a bite frame: the solved model, its unit, its axes or pose, and its dial."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from bite.errors import InputError
from bite.files.camera import proper_rotation
from bite.files.rig import unit_vector
from bite.files.source import path_beside
from bite.files.tables import check_names, shown
from bite.geometry.rigid import Array, frozen
from bite.geometry.teeth import CORNERS

if TYPE_CHECKING:
    from bite.files.forms import SolvedForm

POSE_FROM_LANDMARKS = "landmarks"


class Axes(StrEnum):
    """The axes a solved mesh is stored in when no pose is given."""

    OPENCV = "opencv"
    Y_UP = "y-up"


@dataclass(frozen=True, slots=True)
class SolvedEntry:
    """[solved]. ``mesh`` or ``corners_mm`` (with ``forward``), or ``forward`` alone beside a profile.

    ``pose`` is a 4x4 matrix (reference camera from the mesh file's own axes, mm), "landmarks", or None. With
    a pose the mesh's own axes are what the pose says and ``axes`` is not applied.
    """

    mesh: Path | None
    unit_mm: float | None
    axes: Axes | None
    pose: Array | str | None
    rig: Path | None
    dial: float | None
    corners_mm: Mapping[str, Array] | None
    forward: Array | None
    prim: str | None = None
    time: float | None = None


def solved_entry(path: Path, form: SolvedForm | None, *, beside_profile: bool) -> SolvedEntry | None:
    """Check the rules between the keys of [solved].

    Parameters
    ----------
    path : Path
        The bite frame file.
    form : SolvedForm or None
    beside_profile : bool
        Whether the frame's depth is a profile, which may hold the solved depths itself.

    Raises
    ------
    InputError
        When keys are missing or contradict each other.
    """
    if form is None:
        return None
    if form.mesh is not None and form.corners_mm is not None:
        what = "mesh and corners_mm are both given, needed one"
        raise InputError(path, "[solved]", what, "keep the mesh; its corners come from the rig")
    if form.mesh is not None:
        _check_mesh_keys(path, form)
    else:
        for key in ("unit_mm", "axes", "pose", "prim", "time"):
            if getattr(form, key) is not None:
                what = "belongs to a mesh, but [solved] has none"
                raise InputError(path, f"[solved] {key}", what, "write mesh too, or leave it out")
        if form.corners_mm is None and not beside_profile:
            mend = "write mesh, or corners_mm with forward, or leave out [solved]"
            raise InputError(path, "[solved]", "no solved model", mend)
    if form.rig is not None and form.dial is None:
        mend = "write the dial value that this model was solved with; 0.0 if the dial was never touched"
        raise InputError(path, "[solved] dial", "missing", mend)
    if form.corners_mm is not None:
        check_names(path, "[solved] corners_mm", form.corners_mm, CORNERS, "corner")
        if not form.corners_mm:
            raise InputError(path, "[solved] corners_mm", "is empty", "write at least 11d and 21d")
        if form.forward is None:
            mend = "write the direction out of the mouth in the reference camera's frame, such as [0, 0, -1]"
            raise InputError(path, "[solved] forward", "missing, needed with corners_mm", mend)
    corners = None if form.corners_mm is None else {code: frozen(at) for code, at in form.corners_mm.items()}
    return SolvedEntry(
        None if form.mesh is None else path_beside(path, "[solved] mesh", form.mesh),
        form.unit_mm,
        None if form.axes is None else Axes(form.axes),
        None if form.pose is None else _pose(path, form.pose),
        None if form.rig is None else path_beside(path, "[solved] rig", form.rig),
        form.dial,
        corners,
        None if form.forward is None else unit_vector(path, "[solved] forward", form.forward),
        form.prim,
        form.time,
    )


def _check_mesh_keys(path: Path, form: SolvedForm) -> None:
    asked = "missing, needed with a mesh"
    if form.unit_mm is None:
        mend = "write mm per unit of the mesh: 1.0 for mm, 10.0 for cm, 1000.0 for m"
        raise InputError(path, "[solved] unit_mm", asked, mend)
    if form.axes is None and form.pose is None:
        mend = (
            'write axes = "opencv" or "y-up" for a mesh in the camera\'s frame; '
            'pose = a 4x4 matrix or "landmarks" for one in its own'
        )
        raise InputError(path, "[solved] axes", "missing, needed with a mesh without a pose", mend)
    if form.rig is None:
        raise InputError(path, "[solved] rig", asked, "name the rig file that says which parts are teeth")
    if form.forward is not None:
        what = "with a mesh the rig says what is forward"
        raise InputError(path, "[solved] forward", what, "leave it out, or correct it in the rig")


def _pose(path: Path, value: object) -> Array | str:
    where, mend = (
        "[solved] pose",
        'write [[r, r, r, x], [r, r, r, y], [r, r, r, z], [0, 0, 0, 1]], mm, or "landmarks"',
    )
    if value == POSE_FROM_LANDMARKS:
        return POSE_FROM_LANDMARKS
    rows = value if isinstance(value, list) and all(isinstance(row, list) for row in value) else []
    numbers = all(type(number) in (int, float) and abs(number) <= 1e9 for row in rows for number in row)
    if [len(row) for row in rows] != [4, 4, 4, 4] or not numbers:
        raise InputError(path, where, f"got {shown(value)}, needed a 4x4 matrix of finite numbers", mend)
    matrix = np.array(value, dtype=np.float64)
    if not np.array_equal(matrix[3], [0.0, 0.0, 0.0, 1.0]):
        what = f"last row {matrix[3].tolist()}, needed [0, 0, 0, 1]"
        raise InputError(path, where, what, "write the translation in the last column, in mm")
    rotation = proper_rotation(matrix[:3, :3])
    if rotation is None:
        sizes = ", ".join(f"{n:.4g}" for n in np.linalg.norm(matrix[:3, :3], axis=1))
        what = f"not a rotation: rows of length {sizes}, needed unit rows at right angles, determinant +1"
        raise InputError(path, where, what, "write scale in unit_mm; a pose turns and moves only")
    matrix[:3, :3] = rotation
    return frozen(matrix)
