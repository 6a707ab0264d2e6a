"""One evidence block, linearised: what solver, covariance and shares are made from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from bite.geometry.rigid import Array

HUBER = 1.345
"""95 % efficiency at the normal (reference/robust_constants.toml)."""
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
    """

    residual: Array
    slope: Array
    weight: Array

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
    def gradient(self) -> Array:
        """J' W r, shape (k,)."""
        return np.asarray(self.slope.T @ (self.residual * self.robust_weight))

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


class Block(Protocol):
    """A body of evidence that the solver can ask for its residuals."""

    @property
    def name(self) -> str:
        """Kind of evidence: ``depth``, ``corners``."""

    @property
    def extra_precision(self) -> Array:
        """Precision of the prior of each unknown that the block brings itself, shape (j,)."""

    @property
    def shares_with(self) -> str:
        """Name of the block whose own unknowns this one sees too, before any that it brings; or nothing."""

    def predict(self, parameters: Array, /) -> Any:
        """Say what should be seen at a point of parameter space, in the block's own form."""

    def linear_of(self, seen: Any, /) -> Linear:
        """Turn a prediction into residuals over sigma and their slopes."""

    def with_noise_from(self, seen: Any, parameters: Array, covariance: Array | None, /) -> Block:
        """Give the block with its noise learned from a prediction, made at these parameters."""

    def scatter(self, seen: Any, directions: Array, /, *, whole: bool = False) -> Array:
        """Give D J' W C W J D', shape (d, d), for directions D in the space of the block's unknowns.

        That is the covariance of the gradient along them, under the noise as it really is; with ``whole``,
        under everything
        that is left in the residuals.
        """
