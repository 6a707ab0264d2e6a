"""Robust weighted least squares over evidence blocks and priors, honest under correlated noise."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bite.errors import DegenerateGeometryError
from bite.fit.block import Block
from bite.fit.linear import Linear, huber_weight
from bite.fit.parameters import COUNT, P, Prior
from bite.fit.solution import Solution
from bite.geometry.rigid import Array, frozen

ROUNDS = 8
"""Most looks at the model: what still moves then swings, and is told as not settled (our choice)."""
SETTLED_MM = 0.01
"""A fiftieth of the tolerance of 0.5 mm (our choice)."""
LEARN_NOISE_ROUNDS = 6
"""The noise is known after these; learned on, it would move the costs that steps are held against (our
choice)."""
LEAST_ROUNDS = 3
"""Noise learned in the first round stands at the start, not at the fit (our choice)."""
PATIENT_ROUNDS = 6
"""From here on a tenth of the sd is rest enough: pixels that change hands keep thin strips from less (our
choice)."""
MISFIT_FROM, MISFIT_TO = 1.2, 1.6
"""Ratio of the two accounts of the variance from which the second counts, and at which it stands alone (our
choice: on skins with waves that the bumps can follow, 90 % of ratios lie between 0.8 and 1.4)."""
_INNER_ROUNDS = 3
"""Enough for the Huber weights: the next look at the model starts from there anyway (our choice)."""
_HALVINGS = 4
"""A step that is still worse at a sixteenth is no matter of its length (our choice)."""


def solve(blocks: Sequence[Block], prior: Prior, start: Array) -> Solution:
    """Fit the parameters to all blocks and the prior.

    Iteratively reweighted least squares (Huber 1.345). Each block is asked anew after each step, so that
    surfaces are rendered where they then are. A step back over a quarter of the last one or more is halved.
    Noise is learned in the first six rounds; after that a step is halved when it makes the fit worse. Stops
    when the forward offset moves less than 0.01 mm or 3 % of its sd (10 % from the sixth round on: pixels
    that change hands between surfaces keep a thin strip from settling closer), and after 8 rounds at the
    latest.

    Parameters
    ----------
    blocks : sequence of Block
    prior : Prior
    start : array, shape (14,)

    Raises
    ------
    DegenerateGeometryError
        When neither evidence nor priors say anything of the forward offset.
    """
    size = COUNT + sum(len(block.extra_precision) for block in blocks)
    bounds = np.full(size, -np.inf), np.full(size, np.inf)
    bounds[0][:COUNT], bounds[1][:COUNT] = prior.low, prior.high
    here = np.zeros(size)
    here[:COUNT] = start
    here = np.clip(here, *bounds)
    state = _look(blocks, here, prior, None, learn=True)
    first_cost = state.cost
    converged, reason, rounds, last = False, f"still moving after {ROUNDS} rounds", 0, 0.0
    while rounds < ROUNDS:
        rounds += 1
        step, covariance = _step(state, here)
        there = np.clip(here + step, *bounds)
        forward = float(there[P.FORWARD_MM] - here[P.FORWARD_MM])
        if forward * last < -0.25 * last**2:
            # pixels that change hands can throw a fit from one side to the other for ever
            step, forward = 0.5 * step, 0.5 * forward
            there = np.clip(here + step, *bounds)
        last, moved = forward, abs(forward)
        part = 0.03 if rounds < PATIENT_ROUNDS else 0.1
        near = part * float(np.sqrt(covariance[P.FORWARD_MM, P.FORWARD_MM]))
        if rounds >= LEAST_ROUNDS and moved < max(SETTLED_MM, near):
            # so short a step changes no prediction by anything that counts: nothing is rendered again for it
            here, converged = there, True
            limit = "0.01 mm" if moved < SETTLED_MM else f"{near:.3f} mm, a small part of its sd"
            reason = f"forward offset moved {moved:.4f} mm in round {rounds}, less than {limit}"
            break
        learn = rounds <= LEARN_NOISE_ROUNDS
        for _ in range(_HALVINGS):
            ahead = _look(state.blocks, there, prior, covariance, learn=learn)
            # while noise is being learned, costs before and after do not compare
            if learn or ahead.mean_cost <= 1.02 * state.mean_cost + 1e-12:
                break
            step = 0.5 * step
            there = np.clip(here + step, *bounds)
        here, state = there, ahead
    on_bound = tuple(
        P(k).name.lower() for k in range(COUNT) if here[k] <= prior.low[k] or here[k] >= prior.high[k]
    )
    return _finish(state, here, converged, reason, rounds, first_cost, on_bound)


def extra_parameter(solution: Solution, index: int, slopes: Array) -> tuple[float, float]:
    """Estimate one more unknown of one block beside all others, from the fit as it stands.

    Parameters
    ----------
    solution : Solution
    index : int, which block the unknown acts on
    slopes : array, in the block's own form: d(predicted)/d(unknown), mm per unit

    Returns
    -------
    value, sd : in the unknown's unit; sd infinite when nothing is known of it
    """
    block, seen, columns = solution.blocks[index], solution.seen[index], solution.columns[index]
    linear = block.linear_of(seen)
    flat = block.slope_rows(seen, slopes[None])[:, 0]
    weighted = flat * linear.robust_weight
    mixed = np.zeros(len(solution.parameters))
    mixed[columns] = linear.slope.T @ weighted
    toward = solution.bread @ mixed
    information = float(flat @ weighted - mixed @ toward)
    if not information > 1e-9 * float(flat @ weighted):
        return 0.0, float("inf")
    value = float(weighted @ linear.residual) / information
    own = np.append(-toward[columns], 1.0) / information
    variance = block.scatter(seen, own[None], slopes[None], whole=True).item()
    for k, other in enumerate(solution.blocks):
        if k != index:
            part = toward[solution.columns[k]] / information
            variance += other.scatter(solution.seen[k], part[None]).item()
    return value, float(np.sqrt(max(variance, 0.0)))


@dataclass(frozen=True, slots=True)
class _State:
    blocks: tuple[Block, ...]
    seen: tuple[Any, ...]
    linears: tuple[Linear, ...]
    columns: tuple[NDArray[np.int64], ...]
    precision: Array
    mean: Array
    cost: float
    mean_cost: float

    def gathered(self, matrices: Sequence[Array]) -> Array:
        """Add up one matrix a block in the places of its unknowns."""
        total = np.zeros((len(self.mean), len(self.mean)))
        for columns, matrix in zip(self.columns, matrices, strict=True):
            total[np.ix_(columns, columns)] += matrix
        return total


def _look(
    blocks: Sequence[Block], here: Array, prior: Prior, covariance: Array | None, *, learn: bool
) -> _State:
    columns = _places(blocks)
    place = COUNT + sum(len(block.extra_precision) for block in blocks)
    seen = [block.predict(here[c]) for block, c in zip(blocks, columns, strict=True)]
    if learn:
        blocks = [
            block.with_noise_from(view, here[c], None if covariance is None else covariance[np.ix_(c, c)])
            for block, view, c in zip(blocks, seen, columns, strict=True)
        ]
    linears = [block.linear_of(view) for block, view in zip(blocks, seen, strict=True)]
    precision = np.concatenate([prior.precision, *(block.extra_precision for block in blocks)])
    mean = np.concatenate([prior.mean, np.zeros(place - COUNT)])
    pull = float(0.5 * precision @ (here - mean) ** 2)
    # pixels come and go as surfaces move, so that only costs per unit of weight compare
    total = sum(float(linear.weight.sum()) for linear in linears)
    cost = sum(linear.cost for linear in linears) + pull
    mean_cost = cost / max(total, 1e-300)
    return _State(
        tuple(blocks), tuple(seen), tuple(linears), tuple(columns), precision, mean, cost, mean_cost
    )


def _places(blocks: Sequence[Block]) -> list[NDArray[np.int64]]:
    """Give for each block the places of its unknowns: the named ones, those it shares, its own."""
    own: dict[str, NDArray[np.int64]] = {"": np.arange(0)}
    columns, place = [], COUNT
    for block in blocks:
        count = len(block.extra_precision)
        own[block.name] = np.arange(place, place + count)
        columns.append(np.concatenate([np.arange(COUNT), own[block.shares_with], own[block.name]]))
        place += count
    return columns


def _step(state: _State, here: Array) -> tuple[Array, Array]:
    """Solve the linearised problem to the end, Huber weights included, before anything is rendered again."""
    step = np.zeros(len(here))
    inverse = np.zeros((len(here), len(here)))
    for _ in range(_INNER_ROUNDS):
        right = state.precision * (state.mean - here)
        matrices = []
        for linear, columns in zip(state.linears, state.columns, strict=True):
            weight = linear.weight * huber_weight(linear.residual - linear.slope @ step[columns])
            root = np.sqrt(weight)
            weighted = linear.slope * root[:, None]
            matrices.append(weighted.T @ weighted)  # of one array, which takes half the work
            right[columns] += weighted.T @ (root * linear.residual)
        inverse = _invert(state.gathered(matrices) + np.diag(state.precision))
        step = inverse @ right
    return step, inverse


def _invert(matrix: Array) -> Array:
    """Invert after scaling the diagonal to one: millimetres, radians and pixels differ by powers of ten."""
    scale = np.sqrt(np.diag(matrix))
    if not scale[P.FORWARD_MM] > 0:
        raise DegenerateGeometryError("no evidence says anything of where the teeth stand along forward")
    unknown = scale <= 0
    scale = np.where(unknown, 1.0, scale)
    scaled = matrix / np.outer(scale, scale)
    scaled[unknown, unknown] = 1.0
    try:
        inverse = np.linalg.inv(scaled)
    except np.linalg.LinAlgError as error:
        raise DegenerateGeometryError("the evidence leaves a combination of unknowns open") from error
    inverse[unknown] = 0.0
    inverse[:, unknown] = 0.0
    return np.asarray(inverse / np.outer(scale, scale))


def _scattered(state: _State, bread: Array, *, whole: bool) -> Array:
    total = np.zeros((COUNT, COUNT))
    for block, seen, columns in zip(state.blocks, state.seen, state.columns, strict=True):
        total += block.scatter(seen, bread[:COUNT, columns], whole=whole)
    return total


def _with_misfit(modelled: Array, misfit: Array) -> Array:
    """Widen the scatter of noise and modelled waves where all residuals together say clearly more.

    Both account for the same scatter and differ by chance: taking the larger of the two made intervals too
    wide. Where the skin is wrong in ways that its bumps cannot follow, the second one is the honest one.
    """
    told = np.diag(modelled)
    ratio = np.divide(np.diag(misfit), told, out=np.ones(len(told)), where=told > 0)
    believed = np.clip((ratio - MISFIT_FROM) / (MISFIT_TO - MISFIT_FROM), 0.0, 1.0)
    wider = np.sqrt(1.0 + believed * (ratio - 1.0))
    return np.asarray(modelled * np.outer(wider, wider))


def _finish(
    state: _State,
    here: Array,
    converged: bool,
    reason: str,
    rounds: int,
    first_cost: float,
    on_bound: tuple[str, ...],
) -> Solution:
    t = P.FORWARD_MM
    matrix = state.gathered([linear.information for linear in state.linears]) + np.diag(state.precision)
    bread = _invert(matrix)
    named_prior = np.where(np.arange(len(here)) < COUNT, state.precision, 0.0)
    # a block's own unknowns are part of its noise: what their prior holds is no outside knowledge
    own_prior = state.precision - named_prior
    noise_and_waves = _scattered(state, bread, whole=False) + (bread[:COUNT] * own_prior) @ bread[:, :COUNT]
    all_misfit = _scattered(state, bread, whole=True)
    sampling = _with_misfit(noise_and_waves, all_misfit)
    systematic = (bread[:COUNT] * named_prior) @ bread[:, :COUNT]
    free = np.arange(len(here)) != P.ENAMEL_BIAS_MM
    # shares are told for a known enamel bias: the bias itself is told apart, as systematic
    known = np.zeros_like(matrix)
    known[np.ix_(free, free)] = _invert(matrix[np.ix_(free, free)])
    share: dict[str, float] = {}
    for block, linear, columns in zip(state.blocks, state.linears, state.columns, strict=True):
        row, count = known[t, columns], len(block.extra_precision)
        own = columns[len(columns) - count :]
        part = float(row @ linear.information @ row + own_prior[own] @ known[t, own] ** 2)
        share[block.name] = share.get(block.name, 0.0) + part / float(known[t, t])
    chi2, inliers = {}, {}
    for block, linear in zip(state.blocks, state.linears, strict=True):
        if len(linear.residual):
            chi2[block.name] = float(np.average(linear.residual**2, weights=linear.weight))
            inliers[block.name] = float(np.mean(np.abs(linear.residual) < 3.0))
    named = matrix[:COUNT, :COUNT]
    scale = np.sqrt(np.diag(named))
    kept = np.flatnonzero(scale > 0)
    condition = np.linalg.cond(named[np.ix_(kept, kept)] / np.outer(scale[kept], scale[kept]))
    return Solution(
        parameters=frozen(here),
        bread=frozen(bread),
        sampling=frozen(sampling),
        systematic=frozen(systematic),
        evidence_share=share,
        prior_share=float(named_prior @ known[t] ** 2 / known[t, t]),
        blocks=state.blocks,
        seen=state.seen,
        columns=state.columns,
        converged=converged,
        stop_reason=reason,
        rounds=rounds,
        first_cost=first_cost,
        last_cost=state.cost,
        freedom=sum(len(linear.residual) for linear in state.linears) - len(here),
        chi2_reduced=chi2,
        inlier_share=inliers,
        condition=float(condition),
        at_bound=on_bound,
    )
