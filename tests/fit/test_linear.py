"""A linearised block: weights, loss and information against their definitions."""

from __future__ import annotations

import numpy as np
import pytest

from bite.fit.linear import Linear, huber_weight, robust_sd

LIMIT = 1.345  # Huber's constant of 95 % efficiency, reference/robust_constants.toml


def linear(shift: np.ndarray | None = None) -> Linear:
    """Twelve residuals, some of them wild, after a step of the two unknowns by ``shift``."""
    rng = np.random.default_rng(0)
    residual, slope = rng.normal(0.0, 2.0, 12), rng.normal(size=(12, 2))
    weight = rng.uniform(0.2, 1.0, 12)
    if shift is not None:
        residual = residual - slope @ shift
    return Linear(residual, slope, weight)


def loss(residual: float) -> float:
    """Area under the clipped residual from 0 on, summed in a thousand strips."""
    middle = (np.arange(1000) + 0.5) / 1000 * abs(residual)
    return float(np.minimum(middle, LIMIT).mean() * abs(residual))


def test_cost_is_the_weighted_area_under_clipped_residuals() -> None:
    block = linear()
    assert (np.abs(block.residual) > LIMIT).sum() > 3
    expected = sum(w * loss(r) for w, r in zip(block.weight, block.residual, strict=True))
    assert block.cost == pytest.approx(expected, rel=1e-5)


def test_information_is_that_of_residuals_under_their_huber_weights() -> None:
    block = linear()
    expected = np.zeros((2, 2))
    for r, row, w in zip(block.residual, block.slope, block.weight, strict=True):
        expected += w * min(1.0, LIMIT / abs(r)) * np.outer(row, row)
    assert block.information == pytest.approx(expected)


def test_weights_fall_as_one_over_the_residual() -> None:
    assert huber_weight(np.array([0.0, LIMIT, -2 * LIMIT, 10 * LIMIT])) == pytest.approx([1.0, 1.0, 0.5, 0.1])


def test_robust_sd_knows_no_offset() -> None:
    values = np.array([-1.0, 0.0, 1.0, 2.0, 50.0])
    assert robust_sd(values + 300.0) == pytest.approx(robust_sd(values)) == pytest.approx(1.482602219)
