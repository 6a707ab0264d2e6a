"""One evidence block, linearised: what solver, covariance and shares are made from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bite.geometry.rigid import Array

HUBER = 1.345
"""95 % efficiency at the normal (reference/robust_constants.toml)."""
CLIPPED_VARIANCE, UNCLIPPED_SHARE = 0.7101643, 0.8213743
"""Variance of a standard normal clipped at 1.345, and the share of it that is not clipped."""
MAD_TO_SD = 1.482602219
"""Consistency factor of the median absolute deviation at the normal (reference/robust_constants.toml)."""


@dataclass(frozen=True, slots=True)
class Linear:
    """Residuals over sigma and their slopes at one point of parameter space.

    Parameters
    ----------
    residual : array, shape (m,): (measured - predicted) / sigma
    slope : array, shape (m, k): d(predicted)/d(parameter) / sigma
    weight : array, shape (m,): trust in 0..1, before robust weighting
    plain_weight : array, shape (m,), to any scale, where what was doubted for its misfit counts whole; None:
        as ``weight``
    """

    residual: Array
    slope: Array
    weight: Array
    plain_weight: Array | None = None

    @property
    def robust_weight(self) -> Array:
        """Weight times the Huber weight of each residual, shape (m,)."""
        return self.weight * huber_weight(self.residual)

    @property
    def information(self) -> Array:
        """J' W J, shape (k, k)."""
        weighted = self.slope * np.sqrt(self.robust_weight)[:, None]
        return np.asarray(weighted.T @ weighted)

    @property
    def cost(self) -> float:
        """Half the weighted Huber loss."""
        size = np.abs(self.residual)
        loss = np.where(size <= HUBER, 0.5 * size**2, HUBER * (size - 0.5 * HUBER))
        return float(self.weight @ loss)


def huber_weight(residual: Array) -> Array:
    """Give min(1, 1.345 / |r|)."""
    return np.minimum(1.0, HUBER / np.maximum(np.abs(residual), 1e-300))


def robust_sd(values: Array) -> float:
    """Give the sd of values from their median absolute deviation.

    Examples
    --------
    >>> round(robust_sd(np.array([1.0, 2.0, 3.0, 4.0, 100.0])), 4)
    1.4826
    """
    return float(MAD_TO_SD * np.median(np.abs(values - np.median(values))))
