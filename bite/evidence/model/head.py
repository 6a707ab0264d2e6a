"""The solved model of a frame, brought into the reference camera: pose, parts, forward direction, corners.

The pose of the teeth is the rigid motion from the rest export's teeth to the solved ones. That motion turns
the rig's
``forward`` and ``up`` into the camera frame, and its residual is a check: teeth that are not rigid are the
wrong mesh.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.errors import DegenerateGeometryError, InputError
from bite.files.bundle import BiteFrame
from bite.files.frame import Axes, SolvedEntry
from bite.files.rig import Rig
from bite.files.solved_parts import solved_part_labels
from bite.fit.head import Head, face_moves_with_teeth
from bite.geometry.mesh import Mesh
from bite.geometry.rigid import Array, Rigid, align, frozen
from bite.geometry.teeth import (
    LOWER,
    LOWER_CENTRAL,
    LOWER_CORNERS,
    PARTS,
    SKIN,
    UPPER,
    UPPER_CENTRAL,
    UPPER_CORNERS,
)

RIGID_LIMIT_MM = 0.25
"""Root mean square that rigid teeth may show: storage rounding stays far below (common practice,
no source)."""
SAME_AS_REST_MM = 0.02
"""Skin this much like the rest export's is the rest pose: no bared mouth differs by so little (our
choice)."""
_FLIP = np.diag([1.0, -1.0, -1.0])
_CENTRALS_MM = ((UPPER_CORNERS, 2 * UPPER_CENTRAL.mean_mm), (LOWER_CORNERS, 2 * LOWER_CENTRAL.mean_mm))
"""How far apart the outer corners of a row's two central incisors stand, by the published means."""
_COMMON_UNITS_MM = {
    0.1: "0.1 mm",
    1.0: "mm",
    10.0: "cm",
    25.4: "inch",
    100.0: "dm",
    304.8: "foot",
    1000.0: "m",
}


@dataclass(frozen=True, slots=True)
class SolvedHead:
    """A solved model ready for the fit.

    Parameters
    ----------
    head : Head, in the reference camera's frame
    has_surface : bool, false when only corner positions were given
    teeth_rms_mm : float or None, how far the teeth are from a rigid copy of the rest export's
    same_as_rest : bool, the whole model is a rigid copy of the rest export
    posed_by_landmarks : bool, the pose was found from clicks and deserves a wide prior
    """

    head: Head
    has_surface: bool
    teeth_rms_mm: float | None
    same_as_rest: bool
    posed_by_landmarks: bool


def solved_head(frame: BiteFrame) -> SolvedHead | None:
    """Build the head of a frame; None when the frame has no solved model.

    Raises
    ------
    InputError
        Wrong unit, teeth that are not rigid, or directions that contradict each other.
    """
    solved = frame.file.solved
    if solved is None:
        return None
    if frame.solved_mesh is None:
        return _from_corners(frame, solved)
    assert frame.rest_mesh is not None and frame.rig is not None
    assert solved.mesh is not None
    labels = solved_part_labels(solved.mesh, frame.solved_mesh, frame.rest_mesh, frame.rig)
    posed, by_landmarks = _posed(frame, solved, frame.solved_mesh, frame.rig)
    return _from_mesh(frame, frame.rig, frame.rest_mesh, frame.solved_mesh, posed, labels, by_landmarks)


def _posed(frame: BiteFrame, solved: SolvedEntry, mesh: Mesh, rig: Rig) -> tuple[Array, bool]:
    if isinstance(solved.pose, str):
        from bite.evidence.model.pose import pose_from_landmarks

        return pose_from_landmarks(frame, mesh, rig).apply(mesh.vertices_mm), True
    if solved.pose is not None:
        pose = Rigid(frozen(solved.pose[:3, :3]), frozen(solved.pose[:3, 3]))
        return pose.apply(mesh.vertices_mm), False
    flip = _FLIP if solved.axes is Axes.Y_UP else np.eye(3)
    return mesh.vertices_mm @ flip, False


def _from_mesh(
    frame: BiteFrame,
    rig: Rig,
    rest: Mesh,
    solved: Mesh,
    posed_mm: Array,
    labels: NDArray[np.int8],
    by_landmarks: bool,
) -> SolvedHead:
    _check_size(frame, rig, solved)
    motions = {}
    for label in (UPPER, LOWER):
        own = np.unique(solved.faces[labels == label])
        motions[label] = _tooth_motion(frame, rest.vertices_mm[own], posed_mm[own], str(PARTS[label]))
    turn, rms = motions[UPPER]
    forward, up = turn @ rig.forward, turn @ rig.up
    skin = np.unique(solved.faces[labels == SKIN])
    same = align(rest.vertices_mm[skin], posed_mm[skin]).rms < SAME_AS_REST_MM
    kept = labels >= 0
    faces, part = solved.faces[kept], labels[kept]
    with_teeth = np.zeros(len(posed_mm), dtype=bool)
    with_teeth[faces[face_moves_with_teeth(part)]] = True
    teeth = np.unique(faces[(part == UPPER) | (part == LOWER)])
    head = Head(
        points_mm=posed_mm,
        faces=np.ascontiguousarray(faces, dtype=np.int32),
        face_part=part,
        with_teeth=with_teeth,
        forward=forward,
        right=np.cross(up, forward),
        up=up,
        centre_mm=_front_centre(posed_mm[teeth], forward),
        corners={code: posed_mm[number] for code, number in rig.corners.items()},
        landmarks={name: posed_mm[number] for name, number in rig.landmarks.items()},
    )
    return SolvedHead(head, True, max(rms, motions[LOWER][1]), bool(same), by_landmarks)


def _front_centre(teeth_mm: Array, forward: Array) -> Array:
    """Give the middle of the front third of the teeth: the head turns about the incisors."""
    ahead = teeth_mm @ forward
    return np.asarray(teeth_mm[ahead >= np.quantile(ahead, 2 / 3)].mean(0))


def _tooth_motion(frame: BiteFrame, rest_mm: Array, solved_mm: Array, row: str) -> tuple[Array, float]:
    assert frame.file.solved is not None
    mesh_file = frame.file.solved.mesh
    assert mesh_file is not None
    try:
        free = align(rest_mm, solved_mm, with_scale=True)
        rigid = align(rest_mm, solved_mm)
    except DegenerateGeometryError as error:
        raise InputError(
            mesh_file, f"part {row}", f"cannot be placed: {error}", "check [parts] in the rig file"
        ) from error
    if abs(free.scale - 1.0) > 0.02:
        raise InputError(
            mesh_file,
            f"part {row}",
            f"is {free.scale:.4g} times the size of the rest export's, needed the same size",
            "correct unit_mm in [solved] or in the rig file so that both give millimetres",
        )
    if rigid.rms > RIGID_LIMIT_MM:
        raise InputError(
            mesh_file,
            f"part {row}",
            f"differs from the rest export's teeth by {rigid.rms:.2f} mm rms after the best rigid motion, "
            f"needed under {RIGID_LIMIT_MM} mm",
            "export the same rig with the same vertex order, teeth undeformed",
        )
    return rigid.rotation, rigid.rms


def _check_size(frame: BiteFrame, rig: Rig, solved: Mesh) -> None:
    """Refuse a model whose central incisors are no teeth in millimetres: a unit, or the wrong vertices."""
    assert frame.file.solved is not None
    for row, expected in _CENTRALS_MM:
        if row[0] not in rig.corners or row[3] not in rig.corners:
            continue
        ends = solved.vertices_mm[[rig.corners[row[0]], rig.corners[row[3]]]]
        width = float(np.linalg.norm(ends[1] - ends[0]))
        check_crown_span(frame.file.solved.mesh or rig.path, row, width, expected, "[solved] unit_mm")


def check_crown_span(
    file: object, row: tuple[str, ...], width_mm: float, expected_mm: float, key: str
) -> None:
    """Refuse a span of two central incisors that no performer has, naming the unit that would make it one.

    Raises
    ------
    InputError
        When the span is off by more than a factor of two.
    """
    if 0.5 < width_mm / expected_mm < 2.0:
        return
    place = f"corners {row[0]} to {row[3]}"
    got = f"are {width_mm:.4g} mm apart, needed about {expected_mm:.0f} mm (two central incisors)"
    for factor, unit in _COMMON_UNITS_MM.items():
        for ratio in (factor, 1.0 / factor):
            if factor != 1.0 and 0.7 < width_mm * ratio / expected_mm < 1.4:
                raise InputError(
                    str(file), place, got, f"multiply {key} by {ratio:g} (the step between mm and {unit})"
                )
    raise InputError(str(file), place, got, f"check {key} and the corner numbers")


def _from_corners(frame: BiteFrame, solved: SolvedEntry) -> SolvedHead | None:
    """Build a head without surface from corners and a direction in the reference camera's frame."""
    if solved.forward is None:
        return None
    forward = np.asarray(solved.forward, float)
    picture_up = np.array([0.0, -1.0, 0.0])
    up = picture_up - (picture_up @ forward) * forward
    length = float(np.linalg.norm(up))
    if length < 0.5:
        raise InputError(
            frame.file.path,
            "[solved] forward",
            f"got {forward.round(3).tolist()}, which is within 30 degrees of the picture's vertical",
            "give the direction out of the mouth in the reference camera's frame: x right, y down, z away",
        )
    up /= length
    corners = {code: np.asarray(point, float) for code, point in (solved.corners_mm or {}).items()}
    for row, expected in _CENTRALS_MM:
        if row[0] in corners and row[3] in corners:
            width = float(np.linalg.norm(corners[row[3]] - corners[row[0]]))
            check_crown_span(frame.file.path, row, width, expected, "[solved] corners_mm")
    centre = np.mean(list(corners.values()), axis=0) if corners else np.array([0.0, 0.0, 300.0])
    head = Head(
        points_mm=np.zeros((0, 3)),
        faces=np.zeros((0, 3), dtype=np.int32),
        face_part=np.zeros(0, dtype=np.int8),
        with_teeth=np.zeros(0, dtype=bool),
        forward=forward,
        right=np.cross(up, forward),
        up=up,
        centre_mm=centre,
        corners=corners,
        landmarks={},
    )
    return SolvedHead(head, False, None, False, False)
