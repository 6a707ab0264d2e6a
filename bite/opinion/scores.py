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

from bite.fit.clipping import CLIPPED_VARIANCE, clipped_bread, clipped_noise, curvature
from bite.fit.corner_block import CornerBlock
from bite.fit.depth_block import DepthBlock
from bite.fit.linear import Block, Linear, huber_weight
from bite.fit.noise import correlated_meat
from bite.fit.parameters import COUNT, HEAD_SHIFT, HEAD_TURN, Prior
from bite.fit.profile_block import ProfileBlock
from bite.fit.solution import Solution
from bite.fit.solver import solve
from bite.geometry.rigid import Array, frozen
from bite.opinion.causes import ALL_UNKNOWNS, corner_slopes, depth_slopes, pinned_parameters, profile_slopes

PINNED_SD = 1e-5
NEAR_MM, NEAR_DEG = 0.5, 0.5
"""A head within about this of its sensor is where it should be (our choice). One that was posed by landmarks
has a wide prior of its own and keeps it."""
CLICKS, ON_TEETH, ON_SKIN, ASSUMED = "clicks", "depth on teeth", "depth on skin", "assumed"
"""Kinds of evidence. Assumed is what no reading says: how near the head is to its sensor, how deep enamel is
seen, how far the sensor smooths."""


@dataclass(frozen=True, slots=True)
class CauseScores:
    """Scores of all unknowns of all causes, in the order of ``causes.ALL_UNKNOWNS``.

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
    """One block with the slopes of the causes over sigma, rows as its residuals; as maps for a depth map."""

    block: Block
    seen: Any
    columns: NDArray[np.int64]
    linear: Linear
    slopes: Array
    maps: Array | None
    curvature: Array
    """weight of each residual in the slope of the score"""
    kind: NDArray[np.str_]


def prior_of_none(prior: Prior) -> Prior:
    """Give the prior of a frame whose model is right: teeth held, head near its sensor."""
    pinned = list(pinned_parameters())
    mean, sd = prior.mean.copy(), prior.sd.copy()
    mean[pinned], sd[pinned] = 0.0, PINNED_SD
    if (sd[HEAD_SHIFT] <= 1.0).all():
        sd[HEAD_SHIFT], sd[HEAD_TURN] = NEAR_MM, np.deg2rad(NEAR_DEG)
    return replace(prior, mean=frozen(mean), sd=frozen(sd))


def fitted_without(blocks: Sequence[Block], none: Prior) -> Solution:
    """Fit what is never known, and look once more from where the fit ended.

    The solver watches the offset, which is held here; its last step is not rendered again. A score needs
    residuals and parameters of one and the same place.
    """
    found = solve(blocks, none, np.where(np.isfinite(none.sd), none.mean, 0.0))
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
        mixed[one.columns] += (one.linear.slope * one.curvature[:, None]).T @ one.slopes
    toward = clipped_bread(solution, precision) @ mixed
    own = np.arange(count) >= COUNT
    pull = precision * (mean - solution.parameters)
    # the waves belong to the skin: what holds them is no outside knowledge
    parts = {
        name: (-toward[rows].T @ pull[rows], (toward[rows] * precision[rows, None]).T @ toward[rows])
        for name, rows in ((ASSUMED, ~own), (ON_SKIN, own))
    }
    meat = (toward * precision[:, None]).T @ toward
    for one in laid:
        projected = one.slopes - one.linear.slope @ toward[one.columns]
        force = one.linear.residual * one.linear.robust_weight
        for name in np.unique(one.kind):
            rows = one.kind == name
            score, information = parts.get(name, (np.zeros(size), np.zeros((size, size))))
            inside = projected[rows]
            parts[str(name)] = (
                score + inside.T @ force[rows],
                information + inside.T @ (inside * one.curvature[rows, None]),
            )
        meat += _meat(one, projected, toward[one.columns])
    if not any(b.extra_precision.size or b.name == "depth" for b in solution.blocks):
        del parts[ON_SKIN]
    return CauseScores(
        sum((score for score, _ in parts.values()), np.zeros(size)),
        meat,
        sum((information for _, information in parts.values()), np.zeros((size, size))),
        parts,
        float(sum(one.linear.weight.sum() for one in laid)),
    )


def _laid(block: Block, seen: Any, columns: NDArray[np.int64], parameters: Array) -> _Laid:
    linear, own = block.linear_of(seen), parameters[columns]
    if isinstance(block, DepthBlock):
        maps = np.where(seen.used, depth_slopes(block, seen, own), 0.0)
        slopes = maps[:, seen.used].T / block.sigma_mm(seen.teeth_share)[seen.used, None]
        teeth = seen.teeth_share[seen.used] > 0.5
    else:
        maps, teeth = None, np.zeros(len(linear.residual), dtype=bool)
        if isinstance(block, CornerBlock):
            slopes = corner_slopes(block, own)
        else:
            assert isinstance(block, ProfileBlock)
            slopes = profile_slopes(block, seen)[seen.used] / block.sigma_mm[seen.used, None]
            teeth = seen.teeth_share[seen.used] > 0.5
    kind = np.where(teeth, ON_TEETH, CLICKS if isinstance(block, CornerBlock) else ON_SKIN)
    return _Laid(block, seen, columns, linear, slopes, maps, curvature(block, linear), kind)


def _meat(one: _Laid, projected: Array, toward: Array) -> Array:
    """Give the covariance of the projected scores that the scatter of one block brings, shape (k, k)."""
    block, seen, linear = one.block, one.seen, one.linear
    if isinstance(block, DepthBlock):
        assert one.maps is not None
        sigma = block.sigma_mm(seen.teeth_share)
        weight = np.zeros(seen.used.shape)
        weight[seen.used] = linear.weight
        maps = one.maps - np.tensordot(toward.T, seen.all_slopes(), axes=1)
        return correlated_meat(maps * (weight / sigma), clipped_noise(block, seen))
    if isinstance(block, ProfileBlock):
        extra = np.zeros((len(block.along_mm), one.slopes.shape[1]))
        extra[seen.used] = one.slopes * block.sigma_mm[seen.used, None]
        directions = np.concatenate([-toward.T, np.eye(extra.shape[1])], axis=1)
        trust = huber_weight(linear.residual)
        shrunk = np.mean((linear.residual * trust) ** 2) / max(float(np.mean(trust**2)), 1e-300)
        return np.asarray(block.scatter(seen, directions, extra) * shrunk)
    return np.asarray(projected.T @ (projected * (CLIPPED_VARIANCE * linear.weight)[:, None]))
