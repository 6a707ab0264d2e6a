"""How well the difference of two offsets is known that were fitted to the same readings and clicks.

Both offsets are, near their solutions, weighted sums of the same clipped residuals (``clipping``). The
weights differ little when only the solved teeth were moved, so most of the errors cancel: what is left is the
scatter of the difference of the weights. A fit stops while its offset may still move by some hundredths of
a millimetre, which is more than that scatter: both are brought to rest first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from bite.fit.block import Look
from bite.fit.clipping import clipped_bread
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
        found = _twin(one, left)
        if found is None:
            variance, waves = variance + one.alone, waves + float(one.pull @ one.pull)
            continue
        twin, between = found
        left = [two for two in left if two is not twin]
        apart += twin.alone
        variance += between
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
class _Followed:
    """How an offset follows one block.

    ``alone`` is the variance that the block brings by itself, mm^2, and ``pull`` how the offset follows the
    block's own unknowns, in their sds.
    """

    look: Look
    alone: float
    pull: Array


@dataclass(frozen=True, slots=True)
class _Weights:
    answer: Array
    """how the offset answers to a push on each unknown"""
    blocks: tuple[_Followed, ...]


def _weights_of(solution: Solution, prior: Prior) -> _Weights:
    precision = np.concatenate([prior.precision, *(block.extra_precision for block in solution.blocks)])
    answer = clipped_bread(solution, precision)[_T]
    out = []
    for block, seen, columns in zip(solution.blocks, solution.seen, solution.columns, strict=True):
        look = Look(block, seen, block.linear_of(seen), answer[columns])
        own = block.extra_precision
        pull = look.direction[len(look.direction) - len(own) :] * np.sqrt(own)
        out.append(_Followed(look, block.alone(look), pull))
    return _Weights(answer, tuple(out))


def _twin(one: _Followed, others: Sequence[_Followed]) -> tuple[_Followed, float] | None:
    """Find the block that holds the same readings, and the variance that they leave in the difference."""
    for two in others:
        between = one.look.block.apart(one.look, two.look)
        if between is not None:
            return two, between
    return None


def _waves_between(here: Array, there: Array) -> float:
    if len(here) != len(there):
        return float((here**2).sum() + (there**2).sum())
    return float(((here - there) ** 2).sum())
