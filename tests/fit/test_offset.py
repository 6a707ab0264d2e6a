"""What is told of a fit: which unknown, with which sd, and whether the rows stand apart."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from bite.fit.offset import fit_offset
from bite.fit.parameters import P, make_prior
from bite.stats.estimate import Estimate
from tests.fit.test_solver import FRONT, TRUTH, clicks, profile


def test_an_interval_is_95_per_cent_of_a_normal_about_the_value() -> None:
    low, high = Estimate(1.4, 0.2).interval
    assert norm.cdf([low, high], 1.4, 0.2) == pytest.approx([0.025, 0.975])


def test_each_estimate_is_its_own_unknown_with_both_parts_of_the_sd() -> None:
    rng = np.random.default_rng(0)
    found = fit_offset([profile(TRUTH, rng), clicks(TRUTH, rng, views=(FRONT,))], make_prior())
    solution = found.solution
    for told, index in (
        (found.offset, P.FORWARD_MM), (found.right, P.RIGHT_MM), (found.up, P.UP_MM),
        (found.smoothing, P.SMOOTHING_PX),
    ):  # fmt: skip
        assert told is not None
        both = solution.sampling[index, index] + solution.systematic[index, index]
        assert (told.value, told.sd) == (solution.parameters[index], pytest.approx(np.sqrt(both)))
    t = P.FORWARD_MM
    assert found.sampling_sd_mm == pytest.approx(np.sqrt(solution.sampling[t, t]))
    assert found.systematic_sd_mm == pytest.approx(np.sqrt(solution.systematic[t, t]))
    assert found.sampling_sd_mm != pytest.approx(found.systematic_sd_mm, rel=0.01)


def test_smoothing_is_none_without_depth() -> None:
    assert fit_offset([clicks(TRUTH, None)], make_prior()).smoothing is None


def test_how_far_the_offset_follows_the_enamel_bias_is_what_another_bias_does() -> None:
    rng = np.random.default_rng(1)
    blocks = [profile(TRUTH, rng), clicks(TRUTH, rng, views=(FRONT,))]
    one, two = (fit_offset(blocks, make_prior(enamel_bias_mm=b, enamel_bias_sd_mm=0.1)) for b in (0.1, 0.4))
    moved = (two.offset.value - one.offset.value) / 0.3
    # either fit ends within 0.01 mm: 0.05 of 0.3 mm
    assert one.forward_per_enamel == pytest.approx(moved, abs=0.05)
    assert one.forward_per_enamel == pytest.approx(1.0 / 0.99, abs=0.1)


@pytest.mark.parametrize("apart_mm", [0.8, -0.8])
def test_rows_apart_are_lower_less_upper(apart_mm: float) -> None:
    values = []
    for seed in range(12):
        rng = np.random.default_rng(seed)
        block = profile(TRUTH, rng, noise=0.1)
        lower = np.where(block.lower, block.predict(TRUTH).slopes[:, P.FORWARD_MM], 0.0)
        block = replace(block, measured_mm=block.measured_mm + apart_mm * lower)
        found = fit_offset([block, clicks(TRUTH, rng, views=(FRONT,))], make_prior()).rows
        assert found is not None
        values.append(found.value)
    assert np.mean(values) == pytest.approx(apart_mm, abs=0.2)


def test_rows_are_told_apart_only_where_both_are_seen() -> None:
    rng = np.random.default_rng(0)
    block = profile(TRUTH, rng)
    corners = clicks(TRUTH, rng, views=(FRONT,))
    only_upper = replace(block, lower=np.zeros(100, bool))
    assert fit_offset([only_upper, corners], make_prior()).rows is None
    # two readings of the lower row are too few
    few = np.flatnonzero(block.lower)[2:]
    measured = block.measured_mm.copy()
    measured[few] = np.nan
    assert fit_offset([replace(block, measured_mm=measured), corners], make_prior()).rows is None
    assert fit_offset([corners], make_prior()).rows is None
