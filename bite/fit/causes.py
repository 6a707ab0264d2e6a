"""What else could be wrong beside the fit's own unknowns: one or more unknowns a cause, as motions of a head.

Each block says what they do to it (``Block.cause_slopes``) and what it would be with one of them mended
(``Block.with_cause``). The motion fields of a cause are laid over the solved model as the fit lays its own.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from bite.fit.head import Head
from bite.geometry.rigid import Array, crossed, rotation_from_vector
from bite.geometry.teeth import LOWER, SKIN, is_upper

LIP_WIDTH_MM, LIP_HEIGHT_MM = 32.0, 20.0
"""Half width and half height of the skin that counts as lips, a flat-topped bump (our choice)."""


class Cause(StrEnum):
    """What would explain a difference."""

    FORWARD = "teeth forward or back"
    LATERAL = "teeth sideways or up"
    SIZE = "teeth too small or large"
    TURN = "teeth pitched or rolled"
    ROWS = "rows apart"
    LIPS = "lips forward or back"
    HEAD = "whole head off"
    ENAMEL = "enamel seen too deep"
    SCALE = "depth scale or lens"


UNKNOWNS: dict[Cause, tuple[str, ...]] = {
    Cause.FORWARD: ("forward, mm",),
    Cause.LATERAL: ("right, mm", "up, mm"),
    Cause.SIZE: ("size, %",),
    Cause.TURN: ("pitch, deg", "roll, deg"),
    Cause.ROWS: ("lower forward, mm", "lower up, mm"),
    Cause.LIPS: ("lips forward, mm",),
    Cause.HEAD: ("right, mm", "down, mm", "away, mm"),
    Cause.ENAMEL: ("deeper, mm",),
    Cause.SCALE: ("scale, %",),
}
"""Names and units of each cause's unknowns, in the order of their slopes."""
ALL_UNKNOWNS = tuple((cause, name) for cause, names in UNKNOWNS.items() for name in names)
"""Every unknown of every cause, in one row."""
PER_DEG, PER_CENT = np.pi / 180.0, 0.01


@dataclass(frozen=True, slots=True)
class DirectedHead(Head):
    """A head whose first five motions are those of the causes: size, pitch, roll, lips, none; 8 stays up."""

    about_mm: Array

    def speeds(self, placed_mm: Array, with_teeth: NDArray[np.bool_], parameters: Array) -> Array:
        """Give d(point)/d(unknown), shape (9, n, 3), mm per unit: size 1, radians, mm."""
        arm = placed_mm - self.about_mm
        speeds = np.zeros((9, len(placed_mm), 3))
        speeds[0] = arm
        speeds[1], speeds[2] = np.cross(self.right, arm), np.cross(self.forward, arm)
        speeds[:3, ~with_teeth] = 0.0
        lips = np.where(with_teeth, 0.0, lips_share(self, arm))
        speeds[3] = lips[:, None] * self.forward
        speeds[8, with_teeth] = self.up
        return speeds

    def along(
        self, normals: Array, placed_mm: Array, with_teeth: NDArray[np.bool_], parameters: Array
    ) -> Array:
        """Give the speeds along directions of the points' own, shape (9, n), mm per unit."""
        arm = placed_mm - self.about_mm[:, None]
        turning = crossed(arm, normals)
        out = np.zeros((9, normals.shape[1]))
        out[0] = (arm * normals).sum(0)
        out[1], out[2] = self.right @ turning, self.forward @ turning
        out[:3, ~with_teeth] = 0.0
        out[3] = np.where(with_teeth, 0.0, lips_share(self, arm.T)) * (self.forward @ normals)
        out[8] = np.where(with_teeth, self.up @ normals, 0.0)
        return out


def lips_share(head: Head, arm_mm: Array) -> Array:
    """Tell how much skin at some arm from the middle of the incisors counts as lips, shape (n,), 0..1."""
    across, along = arm_mm @ head.right / LIP_WIDTH_MM, arm_mm @ head.up / LIP_HEIGHT_MM
    return np.asarray(np.exp(-(across**4) - along**4))


def directed(head: Head) -> DirectedHead:
    """Give a head that moves as the causes say."""
    known = {field.name: getattr(head, field.name) for field in fields(Head)}
    about = 0.5 * (head.row_centre(True) + head.row_centre(False))
    return DirectedHead(**known, about_mm=about)


def only_lower_moves(head: Head) -> Head:
    """Give the head with everything but the lower row held, rims included, as skin is."""
    held = np.where(head.face_part == LOWER, head.face_part, SKIN).astype(head.face_part.dtype)
    return replace(head, face_part=held)


def in_order(by_cause: dict[Cause, Array]) -> Array:
    """Lay the slopes of all causes in one row, in the order of ALL_UNKNOWNS."""
    return np.concatenate([by_cause[cause] for cause in UNKNOWNS])


_Move = Callable[[Array], Array]


def moved_head(head: Head, cause: Cause, values: Array) -> Head:
    """Give a head with one cause mended: points and corners, and landmarks where the whole head moves."""
    about = 0.5 * (head.row_centre(True) + head.row_centre(False))
    lower = np.zeros(len(head.points_mm), dtype=bool)
    lower[head.faces[head.face_part == LOWER]] = True

    def shift(step: Array) -> _Move:
        return lambda points: points + step

    def grown(points: Array) -> Array:
        return np.asarray(about + (1.0 + 0.01 * values[0]) * (points - about))

    def turned(points: Array) -> Array:
        turn = rotation_from_vector(np.deg2rad(values[0]) * head.right + np.deg2rad(values[1]) * head.forward)
        return np.asarray(about + (points - about) @ turn.T)

    if cause is Cause.LIPS:
        skin = np.where(head.with_teeth, 0.0, lips_share(head, head.points_mm - about))
        return replace(head, points_mm=head.points_mm + np.outer(skin, values[0] * head.forward))
    if cause is Cause.FORWARD:
        return _with(head, head.with_teeth, shift(values[0] * head.forward))
    if cause is Cause.LATERAL:
        return _with(head, head.with_teeth, shift(values[0] * head.right + values[1] * head.up))
    if cause is Cause.SIZE:
        return _with(head, head.with_teeth, grown)
    if cause is Cause.TURN:
        return _with(head, head.with_teeth, turned)
    if cause is Cause.ROWS:
        step = values[0] * head.forward + values[1] * head.up
        return _with(head, lower, shift(step), upper=False)
    assert cause is Cause.HEAD
    moved = _with(head, np.ones(len(lower), dtype=bool), shift(values))
    return replace(moved, landmarks={name: at + values for name, at in head.landmarks.items()})


def _with(head: Head, points: NDArray[np.bool_], move: _Move, *, upper: bool = True) -> Head:
    moved = np.array(head.points_mm)
    if points.any():
        moved[points] = move(moved[points])
    corners = {
        code: move(at[None])[0] if upper or not is_upper(code) else at for code, at in head.corners.items()
    }
    return replace(head, points_mm=moved, corners=corners)


def skin_shift(head: Head, cause: Cause, values: Array, points_mm: Array) -> Array:
    """Give by how much a mended cause moves points of the head's skin, shape (n, 3), mm."""
    about = 0.5 * (head.row_centre(True) + head.row_centre(False))
    if cause is Cause.LIPS:
        return np.outer(lips_share(head, points_mm - about), values[0] * head.forward)
    if cause is Cause.HEAD:
        return np.tile(values, (len(points_mm), 1))
    return np.zeros((len(points_mm), 3))
