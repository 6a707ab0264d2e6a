"""Where does the measured skin put the solved head, before any fit of millimetres? Tens of mm and degrees.

The fit believes that a solved head is within a millimetre and a degree of its sensor, and linearises about
that. A head, depth map or camera of another moment is farther off, and a fit that starts there ends
nowhere. So the solved skin is first laid on the measured one, face by face along each depth ray.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from bite.errors import InputError
from bite.evidence.depth.cover import SkinFit
from bite.evidence.model.head import SolvedHead
from bite.files.bundle import BiteFrame
from bite.fit.head import Head
from bite.fit.parameters import HEAD_SHIFT, HEAD_TURN
from bite.geometry.rigid import Array, Rigid, frozen, rotation_from_vector
from bite.geometry.teeth import SKIN

FAR_MM, FAR_DEG = 2.0, 2.0
"""Twice what the fit believes of a solved head: from here on it starts from where the skin puts it (our
choice)."""
FARTHEST_MM = 60.0
"""A skin that is measured farther off than this is another unit or pose, which has messages of its own."""
MOST_FACES, ROUNDS = 3000, 40
"""So many faces and rounds place a head to 0.3 mm from 30 mm away in a twentieth of a second (our choice)."""
NEAR_MM = 36.0
"""Skin about the mouth, as far as the fit looks (our choice)."""
LEAST_FACES = 100
"""Fewer say too little of six unknowns (our choice)."""
STEEP = 0.35
"""Cosine of the slant below which a face says little along its ray (our choice)."""
_TUNING = 3.0
"""Scale of the Cauchy weights in robust sds, near the 2.4 that has 95 % efficiency (from memory)."""
_PRIOR_MM, _PRIOR_RAD = 40.0, np.radians(30.0)
"""Keeps motions that the skin does not see near zero: twice what is looked for (our choice)."""


@dataclass(frozen=True, slots=True)
class CoarsePlace:
    """The motion that lays the solved skin on the measured one.

    Parameters
    ----------
    motion : Rigid, of the head in the reference frame
    shift : array, shape (3,), mm, of the middle of the front teeth
    shift_mm : float, of the middle of the front teeth
    turn_deg : float
    towards_mm : float, part of the shift along the depth camera's axis, away from it positive
    left_mm : float, what is left between the two skins, robust sd
    """

    motion: Rigid
    shift: Array
    shift_mm: float
    turn_deg: float
    towards_mm: float
    left_mm: float

    @property
    def far(self) -> bool:
        """Whether the head stood so far off that a fit cannot start there."""
        return self.shift_mm > FAR_MM or self.turn_deg > FAR_DEG


def coarse_place(frame: BiteFrame, head: Head) -> CoarsePlace | None:
    """Lay the solved skin on the measured one; None without a depth map or where too little is measured.

    Parameters
    ----------
    frame : BiteFrame
    head : Head, as it was solved

    Notes
    -----
    Iterated closest points with projective association and distances along the ray to the solved face
    (Blais and Levine 1995, IEEE PAMI 17(8); Chen and Medioni 1992; both from memory), Cauchy weights.
    """
    if frame.depth_map is None or frame.depth_camera is None or not len(head.faces):
        return None
    camera, depth_mm = frame.depth_camera, frame.depth_map.depth_mm
    at, normal = _skin(head)
    if len(at) < LEAST_FACES:
        return None
    centre = head.centre_mm
    motion = Rigid(frozen(np.eye(3)), frozen(np.zeros(3)))
    left = float("inf")
    for count in range(ROUNDS):
        points, normals = motion.apply(at), normal @ motion.rotation.T
        local = camera.camera_from_reference.apply(points)
        facing = normals @ camera.camera_from_reference.rotation.T
        rays = local / local[:, 2:]
        slant = (facing * rays).sum(1)
        column, row = np.rint(camera.project_local(local)).T
        high, wide = depth_mm.shape
        inside = (local[:, 2] > 1.0) & (column >= 0) & (row >= 0) & (column < wide) & (row < high)
        inside &= -slant > STEEP * np.linalg.norm(rays, axis=1)
        measured = np.full(len(at), np.nan)
        measured[inside] = depth_mm[row[inside].astype(int), column[inside].astype(int)]
        off = measured - local[:, 2]
        kept = np.isfinite(off)
        if kept.sum() < LEAST_FACES:
            return None
        if count == 0:
            if abs(np.median(off[kept])) > FARTHEST_MM:
                return None
            # the distance first: faces meet their like only once it is about right
            away = camera.camera_from_reference.rotation.T @ np.array([0.0, 0.0, float(np.median(off[kept]))])
            motion = Rigid(frozen(np.eye(3)), frozen(away))
            continue
        lever = points[kept] - motion.apply(centre[None])[0]
        toward = normals[kept] / slant[kept, None]
        slopes = np.concatenate([toward, np.cross(lever, toward)], axis=1)
        residual = off[kept]
        left = float(1.4826 * np.median(np.abs(residual - np.median(residual))))
        scale = max(left, 0.3) * _TUNING
        weight = 1.0 / (1.0 + (residual / scale) ** 2)
        prior = np.diag(np.repeat([_PRIOR_MM**-2, _PRIOR_RAD**-2], 3)) * scale**2
        step = np.linalg.solve((slopes.T * weight) @ slopes + prior, (slopes.T * weight) @ residual)
        turn = rotation_from_vector(step[3:])
        pivot = motion.apply(centre[None])[0]
        rotation = turn @ motion.rotation
        motion = Rigid(frozen(rotation), frozen(pivot + step[:3] - rotation @ centre))
        if np.linalg.norm(step[:3]) < 0.01 and np.linalg.norm(step[3:]) < 1e-4:
            break
    moved = motion.apply(centre[None])[0] - centre
    axis = camera.camera_from_reference.rotation @ moved
    turned = np.degrees(np.arccos(np.clip((np.trace(motion.rotation) - 1.0) / 2.0, -1.0, 1.0)))
    shift_mm = float(np.linalg.norm(moved))
    return CoarsePlace(motion, frozen(moved), shift_mm, float(turned), float(axis[2]), left)


def placed_head(head: Head, motion: Rigid) -> Head:
    """Give the head moved as a whole."""
    def points(mapping: dict[str, Array]) -> dict[str, Array]:
        return {name: motion.apply(np.asarray(at)[None])[0] for name, at in mapping.items()}

    return replace(
        head,
        points_mm=motion.apply(head.points_mm),
        forward=motion.rotation @ head.forward,
        right=motion.rotation @ head.right,
        up=motion.rotation @ head.up,
        centre_mm=motion.apply(head.centre_mm[None])[0],
        corners=points(dict(head.corners)),
        landmarks=points(dict(head.landmarks)),
    )


def where_a_fit_starts(
    frame: BiteFrame, solved: SolvedHead | None
) -> tuple[SolvedHead | None, CoarsePlace | None]:
    """Give the solved model as the fit starts from it, and how far it was moved; None where it stays.

    Raises
    ------
    InputError
        When the pose reads the other way round.
    """
    placed = None if solved is None or solved.posed_by_landmarks else coarse_place(frame, solved.head)
    if solved is None or placed is None or not placed.far:
        return solved, None
    _refuse_reversed_pose(frame, solved, placed)
    return replace(solved, head=placed_head(solved.head, placed.motion)), placed


def _refuse_reversed_pose(frame: BiteFrame, solved: SolvedHead, placed: CoarsePlace) -> None:
    """Raise where the inverse of the stated pose lays the solved skin on the measured one, and it does not.

    Raises
    ------
    InputError
    """
    entry = frame.file.solved
    if entry is None or entry.pose is None or isinstance(entry.pose, str):
        return
    pose = Rigid(frozen(entry.pose[:3, :3]), frozen(entry.pose[:3, 3]))
    again = pose.inverse() @ pose.inverse()
    other = coarse_place(frame, placed_head(solved.head, again))
    if other is None or other.far or other.left_mm > placed.left_mm:
        return
    raise InputError(
        frame.file.path,
        "[solved] pose",
        f"is the other way round: its inverse lays the solved skin within {other.shift_mm:.1f} mm and "
        f"{other.turn_deg:.1f} degrees of the measured one, it itself {placed.shift_mm:.1f} mm and "
        f"{placed.turn_deg:.1f} degrees off",
        "write the motion from the mesh to the reference camera: x_camera = R x_mesh + T",
    )


def with_placing(skin: SkinFit, placed: CoarsePlace, parameters: Array) -> SkinFit:
    """Give how far the head was moved from where it was solved: coarsely, and by the fit from there."""
    whole = rotation_from_vector(parameters[HEAD_TURN]) @ placed.motion.rotation
    turned = np.degrees(np.arccos(np.clip((np.trace(whole) - 1.0) / 2.0, -1.0, 1.0)))
    shift = placed.shift + parameters[HEAD_SHIFT]
    return replace(skin, shift_mm=float(np.linalg.norm(shift)), turn_deg=float(turned))


def _skin(head: Head) -> tuple[Array, Array]:
    """Give the middles and unit normals of skin faces about the mouth, outward."""
    faces = head.faces[head.face_part == SKIN]
    middle = head.points_mm[faces].mean(1)
    arm = middle - head.centre_mm
    faces = faces[(np.linalg.norm(arm, axis=1) < NEAR_MM) & (arm @ head.forward > -15.0)]
    faces = faces[:: max(1, len(faces) // MOST_FACES)]
    corner = head.points_mm[faces]
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    length = np.linalg.norm(normal, axis=1)
    good = length > 0
    normal = normal[good] / length[good, None]
    # exports differ in which way faces are wound: most of a face's skin looks forward
    if np.median(normal @ head.forward) < 0:
        normal = -normal
    return corner[good].mean(1), normal
