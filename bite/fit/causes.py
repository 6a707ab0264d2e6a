"""What else could be wrong: one or more unknowns a cause, with what each does to depth and to clicks.

The motion fields of a cause are laid over the solved model as the fit lays its own: built on the sharp
image, rims
included, smoothed like the depth itself.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from bite.fit.corner_block import CornerBlock, Use
from bite.fit.depth_block import DepthBlock, Prediction
from bite.fit.head import Head
from bite.fit.parameters import HEAD_SHIFT, P
from bite.fit.smoothing import smooth
from bite.geometry.rigid import Array
from bite.geometry.teeth import LOWER, is_upper

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
        across, along = arm @ self.right / LIP_WIDTH_MM, arm @ self.up / LIP_HEIGHT_MM
        lips = np.where(with_teeth, 0.0, np.exp(-(across**4) - along**4))
        speeds[3] = lips[:, None] * self.forward
        speeds[8, with_teeth] = self.up
        return speeds


def _directed(head: Head) -> _Directed:
    known = {field.name: getattr(head, field.name) for field in fields(Head)}
    about = 0.5 * (head.row_centre(True) + head.row_centre(False))
    return _Directed(**known, about_mm=about)


def depth_slopes(block: DepthBlock, seen: Prediction, parameters: Array) -> dict[Cause, Array]:
    """Give d(predicted depth)/d(unknown) of each cause, shape (k, h, w), mm per unit of the unknown.

    Parameters
    ----------
    block : DepthBlock
    seen : Prediction, made at these parameters
    parameters : array, shape (14 + j,), of the block
    """
    sharp = replace(block, head=_directed(block.head))._sharp(parameters)
    plain = block._sharp(parameters)
    lower = plain.part == LOWER
    stack = np.concatenate(
        [sharp.maps[:4], np.where(lower, plain.maps[[P.FORWARD_MM, P.UP_MM]], 0.0), sharp.depth_mm[None]]
    )
    maps = smooth(stack, sharp.part >= 0, float(parameters[P.SMOOTHING_PX])).maps
    own = seen.slopes
    return {
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


def corner_slopes(block: CornerBlock, parameters: Array) -> dict[Cause, Array]:
    """Give d(predicted click)/d(unknown) over sigma of each cause, (m, k), rows as the residuals."""
    own = block.predict(parameters).slope
    other = replace(block, head=_directed(block.head)).predict(parameters).slope
    corner, lower = _row_masks(block)
    other = np.where(corner[:, None], other, 0.0)
    none = np.zeros((len(own), 1))
    return {
        Cause.FORWARD: own[:, [P.FORWARD_MM]],
        Cause.LATERAL: own[:, [P.RIGHT_MM, P.UP_MM]],
        Cause.SIZE: other[:, :1] * _PER_CENT,
        Cause.TURN: other[:, 1:3] * _DEG,
        Cause.ROWS: np.where(lower[:, None], own[:, [P.FORWARD_MM, P.UP_MM]], 0.0),
        Cause.LIPS: none,
        Cause.HEAD: own[:, HEAD_SHIFT],
        Cause.ENAMEL: none,
        Cause.SCALE: none,
    }


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
