"""A cause made true: model, readings and priors as they would be if one cause had a given size."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import cast

import numpy as np
from numpy.typing import NDArray

from bite.fit.corner_block import CornerBlock
from bite.fit.depth_block import DepthBlock
from bite.fit.head import Head
from bite.fit.linear import Block
from bite.fit.parameters import P, Prior
from bite.fit.profile_block import ProfileBlock
from bite.geometry.rigid import Array, frozen, rotation_from_vector
from bite.geometry.teeth import LOWER, is_upper
from bite.opinion.causes import Cause, lips_share

Move = Callable[[Array], Array]


def with_cause(
    blocks: Sequence[Block], prior: Prior, cause: Cause, values: Array
) -> tuple[tuple[Block, ...], Prior]:
    """Give blocks and prior of a frame whose solved model has one cause mended by the given values.

    Parameters
    ----------
    blocks : sequence of Block
    prior : Prior
    cause : Cause
    values : array, shape (k,), in the units of ``causes.UNKNOWNS``
    """
    if cause is Cause.ENAMEL:
        mean = prior.mean.copy()
        mean[P.ENAMEL_BIAS_MM] += values[0]
        return tuple(blocks), replace(prior, mean=frozen(mean))
    if cause is Cause.SCALE:
        return tuple(_rescaled(block, 1.0 + 0.01 * values[0]) for block in blocks), prior
    return tuple(_moved(block, cause, values) for block in blocks), prior


def _rescaled(block: Block, factor: float) -> Block:
    if isinstance(block, (DepthBlock, ProfileBlock)):
        return cast(Block, replace(block, measured_mm=block.measured_mm / factor))
    return block


def _moved(block: Block, cause: Cause, values: Array) -> Block:
    if isinstance(block, (DepthBlock, CornerBlock)):
        return cast(Block, replace(block, head=moved_head(block.head, cause, values)))
    assert isinstance(block, ProfileBlock)
    return cast(Block, replace(block, solved_mm=block.solved_mm + _profile_move(block, cause, values)))


def _profile_move(block: ProfileBlock, cause: Cause, values: Array) -> Array:
    """Give what a cause adds to the sharp depths of a profile, mm, to first order."""
    teeth, forward, up = block.teeth, block.by_motion[0], block.by_motion[2]
    if cause is Cause.FORWARD:
        return np.asarray(values[0] * forward * teeth)
    if cause is Cause.LATERAL:
        return np.asarray((values[0] * block.by_motion[1] + values[1] * up) * teeth)
    if cause is Cause.ROWS:
        return np.asarray((values[0] * forward + values[1] * up) * block.lower)
    if cause is Cause.LIPS and not teeth.all():
        return np.where(teeth, 0.0, values[0] * np.median(forward[~teeth]))
    # what a line hardly tells is left to the slopes alone
    return np.zeros(len(teeth))


def moved_head(head: Head, cause: Cause, values: Array) -> Head:
    """Give a head with one cause mended: points and corners, and landmarks where the whole head moves."""
    about = 0.5 * (head.row_centre(True) + head.row_centre(False))
    lower = np.zeros(len(head.points_mm), dtype=bool)
    lower[head.faces[head.face_part == LOWER]] = True

    def shift(step: Array) -> Move:
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


def _with(head: Head, points: NDArray[np.bool_], move: Move, *, upper: bool = True) -> Head:
    moved = np.array(head.points_mm)
    if points.any():
        moved[points] = move(moved[points])
    corners = {
        code: move(at[None])[0] if upper or not is_upper(code) else at for code, at in head.corners.items()
    }
    return replace(head, points_mm=moved, corners=corners)
