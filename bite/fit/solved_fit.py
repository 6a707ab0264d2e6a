"""What a fit that has come to rest is worth: its covariance, who said how much of it, and its health."""

from __future__ import annotations

import numpy as np

from bite.fit.linearised import LinearisedFit, inverted
from bite.fit.parameters import COUNT, P
from bite.fit.solution import Solution
from bite.geometry.rigid import Array, frozen

MISFIT_FROM, MISFIT_TO = 1.2, 1.6
"""Ratio of the two accounts of the variance from which the second counts, and at which it stands alone (our
choice: on skins with waves that the bumps can follow, 90 % of ratios lie between 0.8 and 1.4)."""


def _scattered(state: LinearisedFit, bread: Array, *, whole: bool) -> Array:
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


def solution_of(
    state: LinearisedFit,
    here: Array,
    converged: bool,
    reason: str,
    rounds: int,
    first_cost: float,
    on_bound: tuple[str, ...],
) -> Solution:
    """Tell what the fit found, how sure it is, and who says so.

    Parameters
    ----------
    state : LinearisedFit, where the fit ended
    here : array, shape (14 + j,)
    converged, reason, rounds, first_cost : how it ended
    on_bound : tuple of str, names of parameters that stand at a bound

    Raises
    ------
    DegenerateGeometryError
        When the evidence leaves a combination of unknowns open.
    """
    t = P.FORWARD_MM
    matrix = state.gathered([linear.information for linear in state.linears]) + np.diag(state.precision)
    bread = inverted(matrix)
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
    known[np.ix_(free, free)] = inverted(matrix[np.ix_(free, free)])
    share: dict[str, float] = {}
    for block, linear, columns in zip(state.blocks, state.linears, state.columns, strict=True):
        row, count = known[t, columns], len(block.extra_precision)
        own = columns[len(columns) - count :]
        part = float(row @ linear.information @ row + own_prior[own] @ known[t, own] ** 2)
        share[block.name] = share.get(block.name, 0.0) + part / float(known[t, t])
    chi2, inliers = {}, {}
    for block, linear in zip(state.blocks, state.linears, strict=True):
        if len(linear.residual):
            # what was doubted for its misfit must not vouch for the fit
            weight = linear.weight if linear.plain_weight is None else linear.plain_weight
            chi2[block.name] = float(np.average(linear.residual**2, weights=weight))
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
