"""What a depth map answers beyond its fit: causes, clipped residuals, and another look at the same map."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from bite.fit.area_view import area_view
from bite.fit.causes import PER_CENT, PER_DEG, Cause, directed, in_order, only_lower_moves
from bite.fit.depth_prediction import Prediction
from bite.fit.linear import HUBER
from bite.fit.noise import MapNoise, correlated_meat
from bite.fit.parameters import HEAD_SHIFT, P
from bite.geometry.rigid import Array

if TYPE_CHECKING:
    from bite.fit.block import Look
    from bite.fit.depth_block import DepthBlock

LEAST_ROW_PX = 10
"""A row counts as seen where so many pixels follow half of its move or more (our choice: fewer are a rim)."""


def cause_slopes(block: DepthBlock, seen: Prediction, parameters: Array) -> Array:
    """Give d(predicted depth)/d(unknown) of every unknown, shape (k, h, w), mm per unit of the unknown.

    Parameters
    ----------
    block : DepthBlock
    seen : Prediction, made at these parameters
    parameters : array, shape (14 + j,), of the block
    """
    # other motions of the very model that was seen: nothing is rendered again for them
    sharp = area_view(seen.model, directed(block.head), parameters)
    lower = area_view(seen.model, only_lower_moves(block.head), parameters)
    stack = np.concatenate(
        [sharp.depth_mm[None], sharp.maps[:4], lower.maps[[P.FORWARD_MM, P.UP_MM]], sharp.depth_mm[None]]
    )
    maps = block.sensed(stack, sharp.part >= 0, parameters).maps[1:]
    own = seen.slopes
    return in_order(
        {
            Cause.FORWARD: own[[P.FORWARD_MM]],
            Cause.LATERAL: own[[P.RIGHT_MM, P.UP_MM]],
            Cause.SIZE: maps[:1] * PER_CENT,
            Cause.TURN: maps[1:3] * PER_DEG,
            Cause.ROWS: maps[4:6],
            Cause.LIPS: maps[3:4],
            Cause.HEAD: own[HEAD_SHIFT],
            Cause.ENAMEL: own[[P.ENAMEL_BIAS_MM]],
            Cause.SCALE: maps[6:7] * PER_CENT,
        }
    )


def lower_forward(seen: Prediction) -> Array | None:
    """Give the slope by the lower row forward alone, (1, h, w), where either row moves enough pixels."""
    lower = seen.lower_forward
    upper = seen.slopes[P.FORWARD_MM] - lower
    enough = [(np.abs(slope[seen.used]) > 0.5).sum() >= LEAST_ROW_PX for slope in (lower, upper)]
    return lower[None] if all(enough) else None


def clipped_noise(block: DepthBlock, seen: Prediction) -> MapNoise:
    """Give scale and correlation of the clipped residuals of a depth map."""
    sigma = block.sigma_mm(seen.teeth_share)
    off = block.measured_mm - seen.depth_mm
    clipped = replace(block, measured_mm=seen.depth_mm + np.clip(off, -HUBER * sigma, HUBER * sigma))
    return clipped.with_noise_from(seen, np.zeros(0), None).noise


def clipped_scatter(block: DepthBlock, seen: Prediction, directions: Array, extra: Array) -> Array:
    """Give the covariance of the summed clipped residuals along directions, shape (d, d)."""
    used = seen.used
    columns = np.concatenate([seen.slopes[:, used], seen.own_slopes.T, extra[:, used]])
    weight = block.linear_of(seen).weight / block.sigma_mm(seen.teeth_share)[used]
    maps = np.zeros((len(directions), *used.shape))
    maps[:, used] = (directions @ columns) * weight
    return correlated_meat(maps, clipped_noise(block, seen))


def alone(block: DepthBlock, look: Look) -> float:
    """Give the variance that the map brings to the offset, mm^2."""
    maps = _per_mm(block, look) * block.sigma_mm(look.seen.teeth_share)
    return float(correlated_meat(maps[None], clipped_noise(block, look.seen)).item())


def apart(one: DepthBlock, look: Look, two: DepthBlock, other: Look) -> float | None:
    """Give the variance that one map leaves in the difference of two offsets, mm^2; None for two maps."""
    here = np.where(two.measured_mm > 0, two.measured_mm, 0.0)
    there = np.where(one.measured_mm > 0, one.measured_mm, 0.0)
    shared = _on_window(np.ones_like(here), one, two) > 0
    # the same map, whatever its window: a reading that differs is a reading of another frame
    if not (shared.any() and np.array_equal(_on_window(here, one, two)[shared], there[shared])):
        return None
    between = (_per_mm(one, look) - _on_window(_per_mm(two, other), one, two)) * one.sigma_mm(
        look.seen.teeth_share
    )
    return float(correlated_meat(between[None], clipped_noise(one, look.seen)).item())


def _per_mm(block: DepthBlock, look: Look) -> Array:
    """Give d(offset)/d(reading), shape (h, w), mm per mm."""
    seen = look.seen
    used = seen.used
    combined = look.direction @ np.concatenate([seen.slopes[:, used], seen.own_slopes.T])
    out = np.zeros(used.shape)
    out[used] = combined * look.linear.weight / block.sigma_mm(seen.teeth_share)[used] ** 2
    return out


def _on_window(weights: Array, one: DepthBlock, two: DepthBlock) -> Array:
    """Lay weights of the second block's window out on the first one's; what sticks out is cut."""
    window, source = one.grid.window, two.grid.window
    out = np.zeros((window.height, window.width))
    top, left = source.top - window.top, source.left - window.left
    rows = slice(max(top, 0), min(top + source.height, window.height))
    columns = slice(max(left, 0), min(left + source.width, window.width))
    if rows.stop <= rows.start or columns.stop <= columns.start:
        return out
    out[rows, columns] = weights[
        rows.start - top : rows.stop - top, columns.start - left : columns.stop - left
    ]
    return out
