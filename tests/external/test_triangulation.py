"""Midpoint and Sampson distance on cases with exact answers."""

from __future__ import annotations

import numpy as np
import pytest

from bite.geometry.triangulate import midpoint, sampson_squared


@pytest.fixture
def case(reference):
    return reference("sampson_midpoint")


def test_sampson_uses_squares(case) -> None:
    f, a, b = case.array("fundamental"), case.array("first")[None], case.array("second")[None]
    assert sampson_squared(f, a, b)[0] == pytest.approx(case.value("sampson_squared"), abs=1e-15)
    # the misprinted form, without squares, is no distance here: its denominator is zero
    line_b, line_a = f @ [*a[0], 1.0], f.T @ [*b[0], 1.0]
    assert line_b[0] + line_b[1] + line_a[0] + line_a[1] == 0.0


def test_midpoint(case) -> None:
    centres, targets = case.array("midpoint_centres"), case.array("midpoint_targets")
    point, rms = midpoint(centres, targets - centres)
    np.testing.assert_allclose(point, case.array("midpoint"), rtol=0, atol=5e-5)
    assert 2 * rms == pytest.approx(case.value("midpoint_gap"), abs=5e-6)
