"""The score of every cause beside a fit without any difference, and how much it scatters by chance.

The fit that knows of no difference holds the teeth where they were solved and leaves free what is never
known: the sensor's smoothing, its enamel bias and the place of the head within their priors, and the waves
of the skin. The score of every cause is projected off those.

A Huber score grows no further beyond 1.345 sd, so that it scatters less than the residual it is made of. Its
covariance is therefore that of the clipped residuals (``clipping``): learned from them where there is a map,
known for the normal where there are a few clicks.

Source: Rao's score test with a sandwich covariance (White 1982, Maximum likelihood estimation of
misspecified models, Econometrica 50:1-25; from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bite.fit.block import ON_SKIN, Block
from bite.fit.causes import ALL_UNKNOWNS
from bite.fit.clipping import clipped_bread, curvature
from bite.fit.linear import Linear
from bite.fit.parameters import COUNT, HEAD_SHIFT, HEAD_TURN, P, Prior
from bite.fit.solution import Solution
from bite.fit.solver import solve
from bite.geometry.rigid import Array, frozen

PINNED_SD = 1e-5
"""Mm: as good as held, without a matrix that cannot be inverted."""
NEAR_MM, NEAR_DEG = 0.5, 0.5
"""A head within about this of its sensor is where it should be (our choice). One that was posed by landmarks
has a wide prior of its own and keeps it."""
ASSUMED = "assumed"
"""The kind of evidence that no reading is: how near the head is to its sensor, how deep enamel is seen, how
far the sensor smooths."""
PINNED = (P.FORWARD_MM, P.RIGHT_MM, P.UP_MM, P.LOG_SIZE)
"""Parameters that a model without any difference holds at zero."""


@dataclass(frozen=True, slots=True)
class CauseScores:
    """Scores of all unknowns of all causes, in the order of ``fit.causes.ALL_UNKNOWNS``.

    Parameters
    ----------
    score : array, shape (k,): slope of the log likelihood along each unknown, all else fitted
    meat : array, shape (k, k): covariance of the score by chance
    information : array, shape (k, k): how fast the score falls as the unknown grows
    parts : mapping from kind of evidence to its own score and information
    count : float, how many readings there are that count as one
    """

    score: Array
    meat: Array
    information: Array
    parts: dict[str, tuple[Array, Array]]
    count: float


@dataclass(frozen=True, slots=True)
class _Laid:
    """One block with the slopes of the causes."""

    block: Block
    seen: Any
    columns: NDArray[np.int64]
    linear: Linear
    slopes: Array
    """of the causes, in the block's own form"""
    rows: Array
    """the same over sigma, rows as the residuals"""
    curvature: Array
    """weight of each residual in the slope of the score"""
    kind: NDArray[np.str_]


def prior_of_none(prior: Prior) -> Prior:
    """Give the prior of a frame whose model is right: teeth held, head near its sensor."""
    pinned = list(PINNED)
    mean, sd = prior.mean.copy(), prior.sd.copy()
    mean[pinned], sd[pinned] = 0.0, PINNED_SD
    if (sd[HEAD_SHIFT] <= 1.0).all():
        sd[HEAD_SHIFT], sd[HEAD_TURN] = NEAR_MM, np.deg2rad(NEAR_DEG)
    return replace(prior, mean=frozen(mean), sd=frozen(sd))


_WARM_ROUNDS = 2
"""From a fit of nearly the same the first round learns the noise and the second the spreads (our choice)."""


def fitted_without(blocks: Sequence[Block], none: Prior, near: Solution | None = None) -> Solution:
    """Fit what is never known, and look once more from where the fit ended.

    The solver watches the offset, which is held here; its last step is not rendered again. A score needs
    residuals and parameters of one and the same place. ``near`` is a fit to start from, of the same blocks
    about a model that stands a little otherwise.
    """
    if near is None:
        found = solve(blocks, none, np.where(np.isfinite(none.sd), none.mean, 0.0))
    else:
        found = solve(blocks, none, near.parameters, least_rounds=_WARM_ROUNDS)
    seen = tuple(
        block.predict(found.parameters[columns])
        for block, columns in zip(found.blocks, found.columns, strict=True)
    )
    return replace(found, seen=seen)


def scores_of(solution: Solution, prior: Prior) -> CauseScores:
    """Take the score of every unknown of every cause.

    Parameters
    ----------
    solution : Solution, of ``fitted_without``
    prior : Prior, that it was fitted with
    """
    laid = [
        _laid(block, seen, columns, solution.parameters)
        for block, seen, columns in zip(solution.blocks, solution.seen, solution.columns, strict=True)
    ]
    size, count = len(ALL_UNKNOWNS), len(solution.parameters)
    precision = np.concatenate([prior.precision, *(b.extra_precision for b in solution.blocks)])
    mean = np.concatenate([prior.mean, np.zeros(count - COUNT)])
    mixed = np.zeros((count, size))
    for one in laid:
        mixed[one.columns] += (one.linear.slope * one.curvature[:, None]).T @ one.rows
    toward = clipped_bread(solution, precision) @ mixed
    # unknowns of the depth map's own are waves and lips, which belong to the skin; a block of another kind
    # has beliefs about crowns, which nothing measured
    own = np.zeros(count, dtype=bool)
    for one in laid:
        if one.block.name == "depth":
            own[one.columns] = np.arange(count)[one.columns] >= COUNT
    pull = precision * (mean - solution.parameters)
    parts = {
        name: (-toward[rows].T @ pull[rows], (toward[rows] * precision[rows, None]).T @ toward[rows])
        for name, rows in ((ASSUMED, ~own), (ON_SKIN, own))
    }
    meat = (toward * precision[:, None]).T @ toward
    for one in laid:
        projected = one.rows - one.linear.slope @ toward[one.columns]
        force = one.linear.residual * one.linear.robust_weight
        for name in np.unique(one.kind):
            rows = one.kind == name
            score, information = parts.get(name, (np.zeros(size), np.zeros((size, size))))
            inside = projected[rows]
            parts[str(name)] = (
                score + inside.T @ force[rows],
                information + inside.T @ (inside * one.curvature[rows, None]),
            )
        directions = np.concatenate([-toward[one.columns].T, np.eye(size)], axis=1)
        meat += one.block.clipped_scatter(one.seen, directions, one.slopes)
    if not any(b.name == "depth" for b in solution.blocks):
        del parts[ON_SKIN]
    return CauseScores(
        sum((score for score, _ in parts.values()), np.zeros(size)),
        meat,
        sum((information for _, information in parts.values()), np.zeros((size, size))),
        parts,
        float(sum(one.linear.weight.sum() for one in laid)),
    )


def _laid(block: Block, seen: Any, columns: NDArray[np.int64], parameters: Array) -> _Laid:
    linear = block.linear_of(seen)
    slopes = block.cause_slopes(seen, parameters[columns])
    rows = block.slope_rows(seen, slopes)
    return _Laid(block, seen, columns, linear, slopes, rows, curvature(block, linear), block.kinds(seen))
