"""Robust weighted least squares over evidence blocks and priors, with a covariance that knows about correlated noise."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from bite.errors import DegenerateGeometryError
from bite.fit.linear import Block, Linear, huber_weight
from bite.fit.parameters import COUNT, P, Prior
from bite.geometry.rigid import Array, frozen

ROUNDS = 8
SETTLED_MM = 0.01
_LEARN_NOISE_ROUNDS = 3
_INNER_ROUNDS = 4
_HALVINGS = 4


@dataclass(frozen=True, slots=True)
class Solution:
    """Where the fit ended, and how well that is known.

    Parameters
    ----------
    parameters : array, shape (14,)
    bread : array, shape (14, 14): inverse of the full information (evidence and priors)
    sampling : array, shape (14, 14): covariance from the scatter of the evidence
    systematic : array, shape (14, 14): covariance from priors that the data could not beat
    evidence_share, prior_share : share of what is known of the forward offset, at a given enamel bias, by kind
    blocks, seen : the blocks as last used and what they predicted, for further questions
    converged, stop_reason, rounds, first_cost, last_cost, freedom, chi2_reduced, inlier_share, condition : fit status
    at_bound : names of parameters that ended on a bound
    """

    parameters: Array
    bread: Array
    sampling: Array
    systematic: Array
    evidence_share: dict[str, float]
    prior_share: float
    blocks: tuple[Block, ...]
    seen: tuple[Any, ...]
    converged: bool
    stop_reason: str
    rounds: int
    first_cost: float
    last_cost: float
    freedom: int
    chi2_reduced: dict[str, float]
    inlier_share: dict[str, float]
    condition: float
    at_bound: tuple[str, ...]

    @property
    def covariance(self) -> Array:
        """Sampling and systematic covariance together, shape (14, 14)."""
        return np.asarray(self.sampling + self.systematic)

    def sd(self, parameter: P) -> float:
        """Total sd of one parameter."""
        return float(np.sqrt(self.covariance[parameter, parameter]))


def solve(blocks: Sequence[Block], prior: Prior, start: Array) -> Solution:
    """Fit the parameters to all blocks and the prior.

    Iteratively reweighted least squares (Huber 1.345). Each block is asked anew after each step, so that surfaces are rendered
    where they then are; the step is halved only when it makes the fit worse. Stops when the forward offset moves less than
    0.01 mm, or less than a twentieth of its sd, after at most 8 rounds.

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
    here = np.clip(np.asarray(start, float), prior.low, prior.high)
    state = _look(blocks, here, prior, learn=True)
    first_cost = state.cost
    converged, reason, step, rounds = False, f"still moving after {ROUNDS} rounds", np.zeros(COUNT), 0
    while rounds < ROUNDS:
        rounds += 1
        step = _step(state.linears, prior, here)
        for halving in range(_HALVINGS + 1):
            there = np.clip(here + step, prior.low, prior.high)
            # the noise is learned anew while the fit still finds its place; then costs before and after do not compare
            ahead = _look(state.blocks, there, prior, learn=rounds <= _LEARN_NOISE_ROUNDS)
            if rounds <= _LEARN_NOISE_ROUNDS or ahead.mean_cost <= 1.02 * state.mean_cost + 1e-12:
                break
            if halving < _HALVINGS:
                step = 0.5 * step
        moved = abs(there[P.FORWARD_MM] - here[P.FORWARD_MM])
        here, state = there, ahead
        if rounds > _LEARN_NOISE_ROUNDS - 1:
            near = 0.05 * float(np.sqrt(np.linalg.pinv(_information(state.linears, prior))[P.FORWARD_MM, P.FORWARD_MM]))
            if moved < max(SETTLED_MM, near):
                limit = "0.01 mm" if moved < SETTLED_MM else "a twentieth of its sd"
                converged, reason = True, f"forward offset moved {moved:.4f} mm in round {rounds}, less than {limit}"
                break
    return _finish(state, prior, here, converged, reason, rounds, first_cost)


def extra_parameter(solution: Solution, block: int, slopes: Array) -> tuple[float, float]:
    """Estimate one more unknown of one block beside all others, from the fit as it stands.

    Parameters
    ----------
    solution : Solution
    block : int, index of the block that the unknown acts on; it must be able to give ``meat_of`` further slopes
    slopes : array, the block's own shape (h, w) or (n,): d(predicted)/d(unknown), unit of the block

    Returns
    -------
    value, sd : in the unknown's unit; sd infinite when nothing is known of it
    """
    body: Any = solution.blocks[block]
    seen = solution.seen[block]
    linear: Linear = body.linear_of(seen)
    if slopes.ndim == 2:
        flat = slopes[seen.used] / body.sigma_mm(seen.teeth_share)[seen.used]
        stack = np.concatenate([seen.slopes, slopes[None]])
    else:
        flat = slopes[seen.used] / body.sigma_mm[seen.used]
        stack = np.column_stack([seen.slopes, slopes])
    weighted = flat * linear.robust_weight
    mixed = linear.slope.T @ weighted
    toward = solution.bread @ mixed
    information = float(flat @ weighted - mixed @ toward)
    if not information > 1e-12 * float(flat @ weighted):
        return 0.0, float("inf")
    value = float(weighted @ linear.residual) / information
    direction = np.append(-toward, 1.0) / information
    variance = float(direction @ body.meat_of(seen, stack) @ direction)
    for index, other in enumerate(solution.blocks):
        if index != block:
            variance += float(direction[:-1] @ other.meat_of(solution.seen[index]) @ direction[:-1])
    return value, float(np.sqrt(max(variance, 0.0)))


@dataclass(frozen=True, slots=True)
class _State:
    blocks: tuple[Block, ...]
    seen: tuple[Any, ...]
    linears: tuple[Linear, ...]
    cost: float
    mean_cost: float


def _look(blocks: Sequence[Block], here: Array, prior: Prior, *, learn: bool) -> _State:
    seen = [block.predict(here) for block in blocks]
    if learn:
        blocks = [block.with_noise_from(view) for block, view in zip(blocks, seen, strict=True)]
    linears = [block.linear_of(view) for block, view in zip(blocks, seen, strict=True)]
    pull = float(0.5 * prior.precision @ (here - prior.mean) ** 2)
    cost = sum(linear.cost for linear in linears) + pull
    # pixels come and go as surfaces move, so that only costs per pixel compare
    mean = sum(linear.cost * len(linear.weight) / max(linear.weight.sum(), 1e-300) for linear in linears)
    count = sum(len(linear.weight) for linear in linears)
    return _State(tuple(blocks), tuple(seen), tuple(linears), cost, (mean + pull) / max(count, 1))


def _information(linears: Sequence[Linear], prior: Prior) -> Array:
    return sum((linear.information for linear in linears), np.diag(prior.precision))


def _step(linears: Sequence[Linear], prior: Prior, here: Array) -> Array:
    """Solve the linearised problem to the end, Huber weights included, before anything is rendered again."""
    step = np.zeros(COUNT)
    for _ in range(_INNER_ROUNDS):
        matrix = np.diag(prior.precision)
        right = prior.precision * (prior.mean - here)
        for linear in linears:
            left = linear.residual - linear.slope @ step
            weight = linear.weight * huber_weight(left)
            weighted = linear.slope * weight[:, None]
            matrix = matrix + linear.slope.T @ weighted
            right = right + weighted.T @ linear.residual
        step = _invert(matrix) @ right
    return step


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


def _finish(
    state: _State, prior: Prior, here: Array, converged: bool, reason: str, rounds: int, first_cost: float
) -> Solution:
    t = P.FORWARD_MM
    matrix = _information(state.linears, prior)
    bread = _invert(matrix)
    meat = sum(
        (block.meat_of(seen) for block, seen in zip(state.blocks, state.seen, strict=True)), np.zeros((COUNT, COUNT))
    )
    free = np.arange(COUNT) != P.ENAMEL_BIAS_MM
    known_bias = np.zeros((COUNT, COUNT))
    known_bias[np.ix_(free, free)] = _invert(matrix[np.ix_(free, free)])
    total = known_bias[t, t]
    share: dict[str, float] = {}
    for block, linear in zip(state.blocks, state.linears, strict=True):
        part = float(known_bias[t] @ linear.information @ known_bias[t] / total)
        share[block.name] = share.get(block.name, 0.0) + part
    scale = np.sqrt(np.diag(matrix))
    kept = scale > 0
    on_bound = (here <= prior.low) | (here >= prior.high)
    chi2, inliers = {}, {}
    for block, linear in zip(state.blocks, state.linears, strict=True):
        if len(linear.residual):
            chi2[block.name] = float(np.average(linear.residual**2, weights=linear.weight))
            inliers[block.name] = float(np.mean(np.abs(linear.residual) < 3.0))
    return Solution(
        parameters=frozen(here),
        bread=frozen(bread),
        sampling=frozen(bread @ meat @ bread),
        systematic=frozen(bread @ np.diag(prior.precision) @ bread),
        evidence_share=share,
        prior_share=float(known_bias[t] @ np.diag(prior.precision) @ known_bias[t] / total),
        blocks=state.blocks,
        seen=state.seen,
        converged=converged,
        stop_reason=reason,
        rounds=rounds,
        first_cost=first_cost,
        last_cost=state.cost,
        freedom=sum(len(linear.residual) for linear in state.linears) - COUNT,
        chi2_reduced=chi2,
        inlier_share=inliers,
        condition=float(np.linalg.cond((matrix / np.outer(scale, scale))[np.ix_(kept, kept)])) if kept.all()
        else float(np.linalg.cond(matrix[np.ix_(kept, kept)] / np.outer(scale[kept], scale[kept]))),
        at_bound=tuple(P(k).name.lower() for k in np.flatnonzero(on_bound)),
    )
