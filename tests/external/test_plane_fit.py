"""The least sd that a small patch of depth can give: nearly met by the solver."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest

from bite.fit.linear import Linear
from bite.fit.parameters import COUNT, P, Prior
from bite.fit.solver import solve

SIGMA_MM = 0.5
ROWS, COLUMNS = np.mgrid[-2:3, -2:3]
DESIGN = np.column_stack([np.ones(25), COLUMNS.ravel(), ROWS.ravel()])
TRUTH = np.array([2.0, 0.4, -0.2])
UNKNOWNS = [P.FORWARD_MM, P.RIGHT_MM, P.UP_MM]
"""Three of the solver's unknowns, used here as offset and slopes of a plane."""


@dataclass(frozen=True)
class Patch:
    """A patch of depth with known, independent noise, as evidence for the solver."""

    depth_mm: np.ndarray
    name: str = "depth"

    @property
    def extra_precision(self) -> np.ndarray:
        return np.zeros(0)

    @property
    def shares_with(self) -> str:
        return ""

    def predict(self, parameters: np.ndarray, /) -> np.ndarray:
        return DESIGN @ parameters[UNKNOWNS]

    def linear_of(self, seen: np.ndarray, /) -> Linear:
        slope = np.zeros((25, COUNT))
        slope[:, UNKNOWNS] = DESIGN / SIGMA_MM
        return Linear((self.depth_mm - seen) / SIGMA_MM, slope, np.ones(25))

    def with_noise_from(self, seen: Any, parameters: Any, covariance: Any, /) -> Patch:
        return self

    def scatter(self, seen: np.ndarray, directions: np.ndarray, /, *, whole: bool = False) -> np.ndarray:
        linear = self.linear_of(seen)
        weighted = linear.slope * linear.robust_weight[:, None]
        return directions @ (weighted.T @ weighted) @ directions.T


@pytest.fixture
def bound(reference) -> np.ndarray:
    offset, slope = reference("robust_constants").value("plane_fit_sd")
    return np.array([offset, slope, slope])


def patches(count: int, seed: int) -> np.ndarray:
    return DESIGN @ TRUTH + np.random.default_rng(seed).normal(0, SIGMA_MM, (count, 25))


@pytest.mark.slow
def test_the_solver_comes_within_its_efficiency(reference, bound) -> None:
    free = Prior(np.zeros(COUNT), np.full(COUNT, np.inf), np.full(COUNT, -np.inf), np.full(COUNT, np.inf))
    solved = [solve([Patch(depth)], free, np.zeros(COUNT)) for depth in patches(1000, 6)]
    found = np.array([one.parameters[UNKNOWNS] for one in solved])
    told = np.array([np.sqrt(np.diag(one.sampling)[UNKNOWNS]) for one in solved])
    # Huber's 95 % at the normal; 1000 draws leave 2.2 % on a sample sd, three of them
    expected = bound / np.sqrt(reference("robust_constants").value("huber_efficiency"))
    np.testing.assert_allclose(found.std(0), expected, rtol=0.07)
    np.testing.assert_allclose(found.mean(0), TRUTH, atol=4 * bound.max() / np.sqrt(1000))
    assert all(one.converged for one in solved)
    # what each fit says of itself is what many fits do; a sandwich of 25 residuals is short by some per cent
    np.testing.assert_allclose(told.mean(0), found.std(0), rtol=0.1)


def test_one_wild_reading_does_not_carry_the_plane_away(bound) -> None:
    free = Prior(np.zeros(COUNT), np.full(COUNT, np.inf), np.full(COUNT, -np.inf), np.full(COUNT, np.inf))
    depth = DESIGN @ TRUTH
    depth[12] += 100.0  # the middle reading: least squares moves by 4 mm
    found = solve([Patch(depth)], free, np.zeros(COUNT)).parameters[UNKNOWNS]
    assert abs(np.linalg.lstsq(DESIGN, depth, rcond=None)[0][0] - TRUTH[0]) == pytest.approx(4.0)
    assert np.abs(found - TRUTH).max() < bound[0]
