"""What else could be wrong: one or more unknowns a cause, with what each does to depth and to clicks.

The motion fields of a cause are laid over the solved model as the fit lays its own: built on the sharp
image, rims included, smoothed like the depth itself.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from bite.fit.corner_block import CornerBlock, Use
from bite.fit.depth_block import DepthBlock
from bite.fit.depth_prediction import Prediction
from bite.fit.head import Head
from bite.fit.parameters import HEAD_SHIFT, P
from bite.fit.profile_block import ProfileBlock, ProfilePrediction
from bite.geometry.rigid import Array
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
_DEG, _PER_CENT = np.pi / 180.0, 0.01


@dataclass(frozen=True, slots=True)
class _Directed(Head):
    """A head whose first five motions are those of the causes: size, pitch, roll, lips, none; 8 stays up."""

    about_mm: Array

    def speeds(self, placed_mm: Array, with_teeth: NDArray[np.bool_], parameters: Array) -> Array:
        arm = placed_mm - self.about_mm
        speeds = np.zeros((9, len(placed_mm), 3))
        speeds[0] = arm
        speeds[1], speeds[2] = np.cross(self.right, arm), np.cross(self.forward, arm)
        speeds[:3, ~with_teeth] = 0.0
        lips = np.where(with_teeth, 0.0, lips_share(self, arm))
        speeds[3] = lips[:, None] * self.forward
        speeds[8, with_teeth] = self.up
        return speeds


def lips_share(head: Head, arm_mm: Array) -> Array:
    """Tell how much skin at some arm from the middle of the incisors counts as lips, shape (n,), 0..1."""
    across, along = arm_mm @ head.right / LIP_WIDTH_MM, arm_mm @ head.up / LIP_HEIGHT_MM
    return np.asarray(np.exp(-(across**4) - along**4))


def _directed(head: Head) -> _Directed:
    known = {field.name: getattr(head, field.name) for field in fields(Head)}
    about = 0.5 * (head.row_centre(True) + head.row_centre(False))
    return _Directed(**known, about_mm=about)


def _only_lower_moves(head: Head) -> Head:
    """Give the head with everything but the lower row held, rims included, as skin is."""
    held = np.where(head.face_part == LOWER, head.face_part, SKIN).astype(head.face_part.dtype)
    return replace(head, face_part=held)


def depth_slopes(block: DepthBlock, seen: Prediction, parameters: Array) -> Array:
    """Give d(predicted depth)/d(unknown) of every unknown, shape (k, h, w), mm per unit of the unknown.

    Parameters
    ----------
    block : DepthBlock
    seen : Prediction, made at these parameters
    parameters : array, shape (14 + j,), of the block
    """
    sharp = replace(block, head=_directed(block.head)).area_view(parameters)
    lower = replace(block, head=_only_lower_moves(block.head)).area_view(parameters)
    stack = np.concatenate(
        [sharp.depth_mm[None], sharp.maps[:4], lower.maps[[P.FORWARD_MM, P.UP_MM]], sharp.depth_mm[None]]
    )
    maps = block.sensed(stack, sharp.part >= 0, parameters).maps[1:]
    own = seen.slopes
    return _in_order(
        {
            Cause.FORWARD: own[[P.FORWARD_MM]],
            Cause.LATERAL: own[[P.RIGHT_MM, P.UP_MM]],
            Cause.SIZE: maps[:1] * _PER_CENT,
            Cause.TURN: maps[1:3] * _DEG,
            Cause.ROWS: maps[4:6],
            Cause.LIPS: maps[3:4],
            Cause.HEAD: own[HEAD_SHIFT],
            Cause.ENAMEL: own[[P.ENAMEL_BIAS_MM]],
            Cause.SCALE: maps[6:7] * _PER_CENT,
        }
    )


def corner_slopes(block: CornerBlock, parameters: Array) -> Array:
    """Give d(predicted click)/d(unknown) over sigma of every unknown, (m, k), rows as the residuals."""
    own = block.predict(parameters).slope.T
    other = replace(block, head=_directed(block.head)).predict(parameters).slope.T
    corner, lower = _row_masks(block)
    other = np.where(corner, other, 0.0)
    none = np.zeros((1, own.shape[1]))
    return _in_order(
        {
            Cause.FORWARD: own[[P.FORWARD_MM]],
            Cause.LATERAL: own[[P.RIGHT_MM, P.UP_MM]],
            Cause.SIZE: other[:1] * _PER_CENT,
            Cause.TURN: other[1:3] * _DEG,
            Cause.ROWS: np.where(lower, own[[P.FORWARD_MM, P.UP_MM]], 0.0),
            Cause.LIPS: none,
            Cause.HEAD: own[HEAD_SHIFT],
            Cause.ENAMEL: none,
            Cause.SCALE: none,
        }
    ).T


def profile_slopes(block: ProfileBlock, seen: ProfilePrediction) -> Array:
    """Give d(predicted depth)/d(unknown) of every unknown along a profile, shape (n, k), mm per unit.

    A line says nothing of size and roll, and its own offset and slope take up what a head does. The part of
    a slope that is the lower row's is taken by where its readings lie.
    """
    own = seen.slopes.T
    none = np.zeros((1, own.shape[1]))
    teeth = own[P.ENAMEL_BIAS_MM]
    arm = block.along_mm - (block.along_mm[block.teeth].mean() if block.teeth.any() else 0.0)
    skin_forward = float(np.median(block.by_motion[0][~block.teeth])) if not block.teeth.all() else 0.0
    down = 1.0
    if block.lower.any() and (block.teeth & ~block.lower).any():
        upper = block.along_mm[block.teeth & ~block.lower].mean()
        down = np.sign(block.along_mm[block.lower].mean() - upper)
    return _in_order(
        {
            Cause.FORWARD: own[[P.FORWARD_MM]],
            Cause.LATERAL: own[[P.RIGHT_MM, P.UP_MM]],
            Cause.SIZE: none,
            Cause.TURN: np.stack([-down * arm * own[P.FORWARD_MM] * _DEG, none[0]]),
            Cause.ROWS: np.where(block.lower, own[[P.FORWARD_MM, P.UP_MM]], 0.0),
            # skin forward is nearer by as much as teeth forward are, where there is no tooth
            Cause.LIPS: (skin_forward * (1.0 - teeth))[None],
            Cause.HEAD: np.concatenate([none, none, own[[P.PROFILE_OFFSET_MM]]]),
            Cause.ENAMEL: teeth[None],
            Cause.SCALE: np.nan_to_num(seen.depth_mm)[None] * _PER_CENT,
        }
    ).T


def _in_order(by_cause: dict[Cause, Array]) -> Array:
    return np.concatenate([by_cause[cause] for cause in UNKNOWNS])


def _row_masks(block: CornerBlock) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Tell of each residual of a block whether a corner, and whether a lower corner, made it."""
    corner: list[bool] = []
    lower: list[bool] = []
    for clicks in block.views:
        tooth = [use != Use.LANDMARK for use in clicks.use]
        low = [t and not is_upper(name) for t, name in zip(tooth, clicks.names, strict=True)]
        full = [k for k, use in enumerate(clicks.use) if use != Use.BOUND for _ in range(2)]
        order = full + [k for k, use in enumerate(clicks.use) if use == Use.BOUND]
        corner += [tooth[k] for k in order]
        lower += [low[k] for k in order]
    return np.array(corner, dtype=bool), np.array(lower, dtype=bool)


def pinned_parameters() -> tuple[P, ...]:
    """Name the parameters that a model without any difference holds at zero."""
    return (P.FORWARD_MM, P.RIGHT_MM, P.UP_MM, P.LOG_SIZE)
