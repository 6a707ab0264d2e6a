"""The least sd that a small patch of depth can give, met by a plane fit."""

from __future__ import annotations

import numpy as np


def test_plane_on_a_patch(reference) -> None:
    constants = reference("robust_constants")
    rng = np.random.default_rng(5)
    rows, columns = np.mgrid[-2:3, -2:3]
    design = np.column_stack([np.ones(25), columns.ravel(), rows.ravel()])
    truth = np.array([300.0, 0.4, -0.2])
    depths = design @ truth + rng.normal(0, 0.5, (2000, 25))
    found = np.linalg.lstsq(design, depths.T, rcond=None)[0].T
    # 2000 draws: a sample sd is good to 1 / sqrt(4000) = 1.6 %; 5 % is three of them
    offset_sd, slope_sd = constants.value("plane_fit_sd")
    np.testing.assert_allclose(found.std(0), [offset_sd, slope_sd, slope_sd], rtol=0.05)
    np.testing.assert_allclose(found.mean(0), truth, atol=4 * offset_sd / np.sqrt(2000))
    mean, sd, low, high = constants.value("chi2_22")
    chi2 = ((depths - found @ design.T) ** 2).sum(1) / 0.25
    assert abs(chi2.mean() - mean) < 4 * sd / np.sqrt(2000)
    inside = np.mean((chi2 > low) & (chi2 < high))
    assert abs(inside - 0.95) < 0.015  # three sd of a share of 2000
