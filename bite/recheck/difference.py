"""How well the difference of two offsets is known that were fitted to the same readings and clicks.

Both offsets are, near their solutions, weighted sums of the same clipped residuals (``clipping``). The
weights differ little when only the solved teeth were moved, so most of the errors cancel: what is left is the
scatter of the difference of the weights. A fit stops while its offset may still move by some hundredths of
a millimetre, which is more than that scatter: both are brought to rest first.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from bite.fit.clipping import CLIPPED_VARIANCE, clipped_bread, clipped_noise
from bite.fit.corner_block import CornerBlock
from bite.fit.depth_block import DepthBlock
from bite.fit.depth_prediction import Prediction
from bite.fit.linear import Block, Linear
from bite.fit.lip_block import LipBlock
from bite.fit.noise import correlated_meat
from bite.fit.parameters import COUNT, P, Prior
from bite.fit.solution import Solution
from bite.fit.solver import solve
from bite.geometry.rigid import Array

_T = P.FORWARD_MM
AT_REST_MM, MOST_RESTS = 0.002, 3
"""A fit is at rest when fitting it again from where it ended moves the offset by less than this."""


@dataclass(frozen=True, slots=True)
class DifferenceSd:
    """Sd of a difference of two offsets, mm.

    Parameters
    ----------
    sampling_mm : float, from the scatter of readings and clicks
    systematic_mm : float, from priors that the data could not beat
    settling_mm : float, by how much either fit still moved when it was last fitted again; at rest it stands
        anywhere within the 0.002 mm that count as rest, all places alike
    apart_mm : float, what the sampling part would be if nothing were shared
    """

    sampling_mm: float
    systematic_mm: float
    settling_mm: float
    apart_mm: float

    @property
    def total_mm(self) -> float:
        """All parts together, mm."""
        return float(np.sqrt(self.sampling_mm**2 + self.systematic_mm**2 + self.settling_mm**2))


@dataclass(frozen=True, slots=True)
class AtRest:
    """A fit brought to rest, and by how much its offset moved in the last round, mm."""

    solution: Solution
    last_move_mm: float

    @property
    def restless_mm(self) -> float:
        """Sd of what is left to move, mm."""
        return float(max(self.last_move_mm, AT_REST_MM / np.sqrt(3.0)))

    @property
    def offset_mm(self) -> float:
        """Where the teeth came to rest, mm forward."""
        return float(self.solution.parameters[_T])


def at_rest(found: Solution, prior: Prior) -> AtRest:
    """Fit again from where a fit ended, until its offset stays.

    Parameters
    ----------
    found : Solution
    prior : Prior, that it was fitted with
    """
    here, moved = found, np.inf
    for _ in range(MOST_RESTS):
        there = solve(here.blocks, prior, here.parameters[:COUNT])
        moved, here = abs(float(there.parameters[_T] - here.parameters[_T])), there
        if moved < AT_REST_MM:
            break
    # the last step of a solve is not rendered: weights are wanted from where the offset is
    places = zip(here.blocks, here.columns, strict=True)
    seen = tuple(block.predict(here.parameters[columns]) for block, columns in places)
    return AtRest(replace(here, seen=seen), moved)


def difference_sd(first: AtRest, second: AtRest, prior: Prior) -> DifferenceSd:
    """Find the sd of first minus second offset, fitted to the same readings with the same prior.

    For each block the weight of every measured value in either offset is laid out on the same readings,
    subtracted, and sent through the noise of the clipped residuals. Priors enter by the difference of their
    pull. A block without a twin, or with other readings, counts as if its errors were independent.

    Parameters
    ----------
    first, second : AtRest
    prior : Prior, of both
    """
    here, there = _weights_of(first.solution, prior), _weights_of(second.solution, prior)
    variance, apart, waves = 0.0, 0.0, 0.0
    left = list(there.blocks)
    for one in here.blocks:
        apart += one.alone
        twin = next((two for two in left if _are_twins(one, two)), None)
        if twin is None:
            variance, waves = variance + one.alone, waves + float(one.pull @ one.pull)
            continue
        left.remove(twin)
        apart += twin.alone
        variance += _between(one, twin)
        waves += _waves_between(one.pull, twin.pull)
    for two in left:
        variance, apart = variance + two.alone, apart + two.alone
        waves += float(two.pull @ two.pull)
    known = np.isfinite(prior.sd)
    pull = (here.answer[:COUNT] - there.answer[:COUNT]) * prior.precision
    systematic = float(pull[known] ** 2 @ prior.sd[known] ** 2)
    return DifferenceSd(
        float(np.sqrt(max(variance + waves, 0.0))),
        float(np.sqrt(systematic)),
        float(np.hypot(first.restless_mm, second.restless_mm)),
        float(np.sqrt(max(apart, 0.0))),
    )


@dataclass(frozen=True, slots=True)
class _BlockWeights:
    """How an offset follows the readings of one block.

    ``direction`` is the answer to a push on the block's clipped residuals, ``alone`` the variance that the
    block brings by itself, mm^2, and ``pull`` how the offset follows the block's own unknowns, in their sds.
    """

    block: Block
    seen: Any
    linear: Linear
    direction: Array
    alone: float
    pull: Array


@dataclass(frozen=True, slots=True)
class _Weights:
    answer: Array
    """how the offset answers to a push on each unknown"""
    blocks: tuple[_BlockWeights, ...]


def _weights_of(solution: Solution, prior: Prior) -> _Weights:
    precision = np.concatenate([prior.precision, *(block.extra_precision for block in solution.blocks)])
    answer = clipped_bread(solution, precision)[_T]
    out = []
    for block, seen, columns in zip(solution.blocks, solution.seen, solution.columns, strict=True):
        linear, direction = block.linear_of(seen), answer[columns]
        own = block.extra_precision
        pull = direction[len(direction) - len(own) :] * np.sqrt(own)
        if isinstance(block, DepthBlock):
            maps = _per_mm(block, seen, linear, direction) * block.sigma_mm(seen.teeth_share)
            alone = correlated_meat(maps[None], clipped_noise(block, seen)).item()
        elif isinstance(block, (CornerBlock, LipBlock)):
            alone = CLIPPED_VARIANCE * float((linear.slope @ direction) ** 2 @ linear.weight)
        else:
            alone = block.scatter(seen, direction[None]).item()
        out.append(_BlockWeights(block, seen, linear, direction, alone, pull))
    return _Weights(answer, tuple(out))


def _are_twins(first: _BlockWeights, second: _BlockWeights) -> bool:
    one, two = first.block, second.block
    if isinstance(one, DepthBlock) and isinstance(two, DepthBlock):
        here = np.where(two.measured_mm > 0, two.measured_mm, 0.0)
        there = np.where(one.measured_mm > 0, one.measured_mm, 0.0)
        shared = _on_window(np.ones_like(here), one, two) > 0
        # the same map, whatever its window: a reading that differs is a reading of another frame
        return bool(shared.any() and np.array_equal(_on_window(here, one, two)[shared], there[shared]))
    if isinstance(one, CornerBlock) and isinstance(two, CornerBlock):
        same = [view.names for view in one.views] == [view.names for view in two.views]
        return same and len(first.linear.residual) == len(second.linear.residual)
    if isinstance(one, LipBlock) and isinstance(two, LipBlock):
        return bool(np.isin(one.key, two.key).any())
    return False


def _between(first: _BlockWeights, second: _BlockWeights) -> float:
    """Give the variance of the difference that the readings of twins bring, mm^2."""
    one, two = first.block, second.block
    if isinstance(one, DepthBlock) and isinstance(two, DepthBlock):
        here = _per_mm(one, first.seen, first.linear, first.direction)
        there = _per_mm(two, second.seen, second.linear, second.direction)
        apart = (here - _on_window(there, one, two)) * one.sigma_mm(first.seen.teeth_share)
        return correlated_meat(apart[None], clipped_noise(one, first.seen)).item()
    here, there = (
        (side.linear.slope @ side.direction) * np.sqrt(side.linear.weight) for side in (first, second)
    )
    if isinstance(one, LipBlock) and isinstance(two, LipBlock):
        both = np.union1d(one.key, two.key)
        here = np.bincount(np.searchsorted(both, one.key), here, len(both)).astype(np.float64)
        there = np.bincount(np.searchsorted(both, two.key), there, len(both)).astype(np.float64)
    return CLIPPED_VARIANCE * float(((here - there) ** 2).sum())


def _per_mm(block: DepthBlock, seen: Prediction, linear: Linear, direction: Array) -> Array:
    """Give d(offset)/d(reading), shape (h, w), mm per mm."""
    weight = np.zeros(seen.used.shape)
    weight[seen.used] = linear.weight
    combined = np.tensordot(direction, seen.all_slopes(), axes=1)
    return np.asarray(combined * weight / block.sigma_mm(seen.teeth_share) ** 2)


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


def _waves_between(here: Array, there: Array) -> float:
    if len(here) != len(there):
        return float((here**2).sum() + (there**2).sum())
    return float(((here - there) ** 2).sum())
