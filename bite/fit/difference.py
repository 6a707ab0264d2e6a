"""How well the difference of two offsets is known that were fitted to the same readings and clicks.

Both offsets are, near their solutions, weighted sums of the same measured values. The weights differ little
when only
the solved teeth were moved, so most of the errors cancel: what is left is the scatter of the difference of
the weights.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from bite.fit.corner_block import CornerBlock
from bite.fit.depth_block import DepthBlock
from bite.fit.linear import Block, Linear
from bite.fit.noise import correlated_meat
from bite.fit.parameters import COUNT, P, Prior
from bite.fit.solution import Solution
from bite.fit.solver import SETTLED_MM
from bite.geometry.rigid import Array

_T = P.FORWARD_MM


@dataclass(frozen=True, slots=True)
class DifferenceSd:
    """Sd of a difference of two offsets, mm.

    Parameters
    ----------
    sampling_mm : float, from the scatter of readings and clicks
    systematic_mm : float, from priors that the data could not beat
    settling_mm : float, since either fit stops when it moves by less than 0.01 mm
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


def difference_sd(first: Solution, second: Solution, prior: Prior) -> DifferenceSd:
    """Find the sd of first minus second offset, fitted to the same readings with the same prior.

    For each block the weight of every measured value in either offset is laid out on the same readings,
    subtracted, and
    sent through the noise as a fit's own sampling sd is. Priors enter by the difference of their pull. A
    block without a
    twin, or with other readings, counts as if its errors were independent.

    Parameters
    ----------
    first, second : Solution
    prior : Prior, of both
    """
    variance, apart, own_prior = 0.0, 0.0, 0.0
    left = list(range(len(second.blocks)))
    for index, block in enumerate(first.blocks):
        twin = next((k for k in left if _are_twins(first, index, second, k)), None)
        alone = _alone(first, index)
        if twin is None:
            variance, apart = variance + alone, apart + alone
            own_prior += _waves(first, index)
            continue
        left.remove(twin)
        variance += _shared(first, index, second, twin)
        apart += alone + _alone(second, twin)
        own_prior += _waves_between(first, index, second, twin, block)
    for index in left:
        alone = _alone(second, index)
        variance, apart = variance + alone, apart + alone
        own_prior += _waves(second, index)
    pull = (first.bread[_T, :COUNT] - second.bread[_T, :COUNT]) * prior.precision
    known = np.isfinite(prior.sd)
    systematic = float(pull[known] ** 2 @ prior.sd[known] ** 2)
    return DifferenceSd(
        float(np.sqrt(max(variance + own_prior, 0.0))),
        float(np.sqrt(systematic)),
        # two errors, each even within that step to both sides
        float(np.sqrt(2.0 / 3.0) * SETTLED_MM),
        float(np.sqrt(max(apart, 0.0))),
    )


def _are_twins(first: Solution, index: int, second: Solution, other: int) -> bool:
    one, two = first.blocks[index], second.blocks[other]
    if isinstance(one, DepthBlock) and isinstance(two, DepthBlock):
        here = np.where(two.measured_mm > 0, two.measured_mm, 0.0)
        there = np.where(one.measured_mm > 0, one.measured_mm, 0.0)
        shared = _on_window(np.ones_like(here), one, two) > 0
        # the same map, whatever its window: a reading that differs is a reading of another frame
        return bool(shared.any() and np.array_equal(_on_window(here, one, two)[shared], there[shared]))
    if isinstance(one, CornerBlock) and isinstance(two, CornerBlock):
        same = [view.names for view in one.views] == [view.names for view in two.views]
        return same and len(_linear(first, index).residual) == len(_linear(second, other).residual)
    return False


def _linear(solution: Solution, index: int) -> Linear:
    return solution.blocks[index].linear_of(solution.seen[index])


def _direction(solution: Solution, index: int) -> Array:
    return np.asarray(solution.bread[_T, solution.columns[index]])


def _alone(solution: Solution, index: int) -> float:
    block: Block = solution.blocks[index]
    return block.scatter(solution.seen[index], _direction(solution, index)[None]).item()


def _shared(first: Solution, index: int, second: Solution, other: int) -> float:
    one, two = first.blocks[index], second.blocks[other]
    if isinstance(one, DepthBlock) and isinstance(two, DepthBlock):
        here, there = _depth_weights(first, index), _depth_weights(second, other)
        apart = here - _on_window(there, one, two)
        return correlated_meat(apart[None], one.noise).item()
    weights = []
    for solution, number in ((first, index), (second, other)):
        linear = _linear(solution, number)
        weights.append((linear.slope @ _direction(solution, number)) * np.sqrt(linear.robust_weight))
    return float(((weights[0] - weights[1]) ** 2).sum())


def _depth_weights(solution: Solution, index: int) -> Array:
    """Give d(offset)/d(reading over sigma), shape (h, w)."""
    block: Any = solution.blocks[index]
    seen = solution.seen[index]
    weight = np.zeros(seen.used.shape)
    weight[seen.used] = block.linear_of(seen).robust_weight
    combined = np.tensordot(_direction(solution, index), seen.all_slopes(), axes=1)
    return np.asarray(combined * weight / block.sigma_mm(seen.teeth_share))


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


def _pull(solution: Solution, index: int) -> Array:
    """Give how the offset follows the prior of each of a block's own unknowns, times the sd of that prior."""
    precision = solution.blocks[index].extra_precision
    return np.asarray(_direction(solution, index)[COUNT:] * np.sqrt(precision))


def _waves(solution: Solution, index: int) -> float:
    return float((_pull(solution, index) ** 2).sum())


def _waves_between(first: Solution, index: int, second: Solution, other: int, block: Block) -> float:
    here, there = _pull(first, index), _pull(second, other)
    if len(here) != len(there):
        return float((here**2).sum() + (there**2).sum())
    return float(((here - there) ** 2).sum())
