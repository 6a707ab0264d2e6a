"""Readings with known slopes and noise as evidence for the solver: its answers can be worked out by hand."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from bite.fit.linear import Linear
from bite.fit.parameters import COUNT, P, Prior


@dataclass(frozen=True)
class Readings:
    """Readings that are linear in the unknowns.

    Parameters
    ----------
    measured_mm : shape (n,)
    by_named : shape (n, 14); ``by_own``, shape (n, j): mm per unit of the block's own unknowns
    own_sd : shape (j,), of their priors; 0 for none
    told_steeper : by how much the slopes that the solver is told are too steep: its steps are too short by it
    spread : how much more the residuals scatter than their sd, as variance; ``all_spread``: all of them
    asked : places that the solver asked for, in order
    """

    measured_mm: np.ndarray
    by_named: np.ndarray
    by_own: np.ndarray = field(default_factory=lambda: np.zeros((0, 0)))
    own_sd: np.ndarray = field(default_factory=lambda: np.zeros(0))
    sd_mm: float = 0.5
    told_steeper: float = 1.0
    spread: float = 1.0
    all_spread: float = 1.0
    name: str = "depth"
    asked: list[np.ndarray] = field(default_factory=list)

    @property
    def extra_precision(self) -> np.ndarray:
        return 1.0 / self.own_sd**2

    @property
    def shares_with(self) -> str:
        return ""

    @property
    def slopes(self) -> np.ndarray:
        own = self.by_own if self.by_own.size else np.zeros((len(self.by_named), 0))
        return np.concatenate([self.by_named, own], axis=1)

    def predict(self, parameters: np.ndarray, /) -> np.ndarray:
        self.asked.append(parameters.copy())
        return self.slopes @ parameters

    def linear_of(self, seen: np.ndarray, /) -> Linear:
        told = self.slopes * self.told_steeper / self.sd_mm
        return Linear((self.measured_mm - seen) / self.sd_mm, told, np.ones(len(seen)))

    def with_noise_from(self, seen: Any, parameters: Any, covariance: Any, /) -> Readings:
        return self

    def scatter(self, seen: np.ndarray, directions: np.ndarray, /, *, whole: bool = False) -> np.ndarray:
        linear = self.linear_of(seen)
        weighted = linear.slope * linear.robust_weight[:, None]
        spread = self.all_spread if whole else self.spread
        return directions @ (weighted.T @ weighted) @ directions.T * spread


def named(count: int, **columns: Any) -> np.ndarray:
    """Slopes by the named unknowns, shape (count, 14): a number or one a reading, zero where not named."""
    slopes = np.zeros((count, COUNT))
    for name, values in columns.items():
        slopes[:, P[name]] = values
    return slopes


def open_prior(**limits: tuple[float, float]) -> Prior:
    """No belief in anything, and bounds only where they are given."""
    low, high = np.full(COUNT, -np.inf), np.full(COUNT, np.inf)
    for name, (least, most) in limits.items():
        low[P[name]], high[P[name]] = least, most
    return Prior(np.zeros(COUNT), np.full(COUNT, np.inf), low, high)
