"""Robust weighted least squares over evidence blocks and priors, honest under correlated noise."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from bite.fit.block import Block
from bite.fit.linear import huber_weight
from bite.fit.linearised import LinearisedFit, inverted, look_at
from bite.fit.parameters import COUNT, P, Prior
from bite.fit.solution import Solution
from bite.fit.solved_fit import solution_of
from bite.geometry.rigid import Array

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
_INNER_ROUNDS = 3
"""Enough for the Huber weights: the next look at the model starts from there anyway (our choice)."""
_HALVINGS = 4
"""A step that is still worse at a sixteenth is no matter of its length (our choice)."""


def solve(
    blocks: Sequence[Block], prior: Prior, start: Array, *, least_rounds: int = LEAST_ROUNDS
) -> Solution:
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
    start : array, shape (14,), or with the blocks' own unknowns after them
    least_rounds : int, fewer where it starts at a fit of nearly the same

    Raises
    ------
    DegenerateGeometryError
        When neither evidence nor priors say anything of the forward offset.
    """
    size = COUNT + sum(len(block.extra_precision) for block in blocks)
    bounds = np.full(size, -np.inf), np.full(size, np.inf)
    bounds[0][:COUNT], bounds[1][:COUNT] = prior.low, prior.high
    here = np.zeros(size)
    here[: len(start)] = start
    here = np.clip(here, *bounds)
    state = look_at(blocks, here, prior, None, learn=True)
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
        if rounds >= least_rounds and moved < max(SETTLED_MM, near):
            # so short a step changes no prediction by anything that counts: nothing is rendered again for it
            here, converged = there, True
            limit = "0.01 mm" if moved < SETTLED_MM else f"{near:.3f} mm, a small part of its sd"
            reason = f"forward offset moved {moved:.4f} mm in round {rounds}, less than {limit}"
            break
        learn = rounds <= LEARN_NOISE_ROUNDS
        for _ in range(_HALVINGS):
            ahead = look_at(state.blocks, there, prior, covariance, learn=learn)
            # while noise is being learned, costs before and after do not compare
            if learn or ahead.mean_cost <= 1.02 * state.mean_cost + 1e-12:
                break
            step = 0.5 * step
            there = np.clip(here + step, *bounds)
        here, state = there, ahead
    on_bound = tuple(
        P(k).name.lower() for k in range(COUNT) if here[k] <= prior.low[k] or here[k] >= prior.high[k]
    )
    return solution_of(state, here, converged, reason, rounds, first_cost, on_bound)


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


def _step(state: LinearisedFit, here: Array) -> tuple[Array, Array]:
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
        inverse = inverted(state.gathered(matrices) + np.diag(state.precision))
        step = inverse @ right
    return step, inverse


