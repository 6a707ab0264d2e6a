"""What a Huber fit does with residuals: it clips them, and clipped residuals scatter less.

The answer of such a fit follows the sum of clipped residuals, weighted by slopes. Its scatter is that of the
clipped residuals, and it answers by the share of residuals that are not clipped. Taking the last round's
weights as fixed numbers instead would count twice what the clipping already took away.

Source: Huber 1981, Robust Statistics, chapter 7 (asymptotic covariance of M-estimates of regression; from
memory).
"""

from __future__ import annotations

import numpy as np

from bite.fit.block import Block
from bite.fit.linear import HUBER, UNCLIPPED_SHARE, Linear
from bite.fit.solution import Solution
from bite.geometry.rigid import Array


def curvature(block: Block, linear: Linear) -> Array:
    """Give the weight of each residual in the slope of the summed clipped residuals, shape (m,).

    A handful of clicks cannot tell how many of them are clipped: there the normal's share is taken.
    """
    if not block.many or not len(linear.residual):
        return linear.weight * UNCLIPPED_SHARE
    inside = np.abs(linear.residual) <= HUBER
    return np.asarray(linear.weight * float(np.average(inside, weights=linear.weight)))


def linears_of(solution: Solution) -> tuple[Linear, ...]:
    """Give the residuals and slopes that a solution ended with, a block each."""
    return tuple(
        block.linear_of(seen) for block, seen in zip(solution.blocks, solution.seen, strict=True)
    )


def clipped_bread(solution: Solution, precision: Array) -> Array:
    """Give how all unknowns answer to a push on the summed clipped residuals, shape (n, n).

    Parameters
    ----------
    solution : Solution
    precision : array, shape (n,), of all priors
    """
    matrix = np.diag(precision)
    linears = linears_of(solution)
    for block, linear, columns in zip(solution.blocks, linears, solution.columns, strict=True):
        weighted = linear.slope * curvature(block, linear)[:, None]
        matrix[np.ix_(columns, columns)] += linear.slope.T @ weighted
    # the diagonal is brought to one first; unknowns that nothing is known of stay where they are
    scale = np.sqrt(np.diag(matrix))
    known = np.flatnonzero(scale > 0)
    out = np.zeros_like(matrix)
    places, scale = np.ix_(known, known), scale[known]
    scaled = matrix[places] / np.outer(scale, scale)
    out[places] = np.linalg.pinv(scaled, rcond=1e-13, hermitian=True) / np.outer(scale, scale)
    return out
