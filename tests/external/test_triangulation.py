"""The midpoint of rays, from which triangulation starts, on a case with an exact answer."""

from __future__ import annotations

import numpy as np
import pytest

from bite.geometry.triangulate import midpoint


@pytest.fixture
def case(reference):
    return reference("midpoint")


def test_midpoint(case) -> None:
    centres, targets = case.array("midpoint_centres"), case.array("midpoint_targets")
    point, rms = midpoint(centres, targets - centres)
    np.testing.assert_allclose(point, case.array("midpoint"), rtol=0, atol=5e-5)
    assert 2 * rms == pytest.approx(case.value("midpoint_gap"), abs=5e-6)
