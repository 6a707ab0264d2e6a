"""Constants and intervals of robust fits and pooled scatter: the program's own beside published ones."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy import integrate, stats

from bite.agree.repeat_clicks import item_scatter, kind_scatter
from bite.fit.linear import HUBER, MAD_TO_SD, huber_weight, robust_sd
from tests.coverage import offset
from tests.worlds import study


@pytest.fixture
def constants(reference):
    return reference("robust_constants")


def efficiency(influence, kinks) -> float:
    """Give the asymptotic efficiency at the normal of a location estimate with this influence function."""
    pairs = list(itertools.pairwise([0.0, *kinks, 12.0]))
    # the mean slope of an influence is its covariance with x (Stein): no derivative is needed
    top = sum(integrate.quad(lambda x: x * influence(x) * stats.norm.pdf(x), a, b)[0] for a, b in pairs)
    low = sum(integrate.quad(lambda x: influence(x) ** 2 * stats.norm.pdf(x), a, b)[0] for a, b in pairs)
    return (2 * top) ** 2 / (2 * low)


def test_huber_weights_have_the_efficiency_that_is_claimed(constants) -> None:
    assert constants.value("huber_k") == HUBER
    found = efficiency(lambda x: x * float(huber_weight(np.array([x]))[0]), [HUBER])
    assert found == pytest.approx(constants.value("huber_efficiency"), abs=1e-6)


def test_mad_factor(constants) -> None:
    assert constants.value("mad_factor") == pytest.approx(MAD_TO_SD, abs=5e-10)
    # on quantiles of a normal of sd 3 the median absolute deviation gives 3 again
    assert robust_sd(3.0 * stats.norm.ppf((np.arange(9999) + 0.5) / 9999)) == pytest.approx(3.0, rel=1e-3)


def test_interval_of_pooled_clicks_is_that_of_a_variance(constants) -> None:
    """Twelve clicks of one corner have 2 x 11 degrees of freedom."""
    rng = np.random.default_rng(4)
    passes = [{"11d": (float(x), float(y))} for x, y in rng.normal(50.0, 0.7, (12, 2))]
    (found,) = kind_scatter(item_scatter(passes, [frozenset()] * 12))
    mean, _, low, high = constants.value("chi2_22")
    expected = found.sd * np.sqrt(mean / np.array([high, low]))
    np.testing.assert_allclose(found.interval, expected, rtol=5e-6)  # half the last digit of the table


@pytest.mark.parametrize("wilson", [offset.wilson, study.wilson], ids=["coverage", "worlds"])
def test_shares_that_the_studies_print(reference, wilson) -> None:
    """The studies whose tables docs/measured.md holds give each share with its interval."""
    table = reference("proportion_intervals")
    for case, printed in zip(table.value("cases"), table.value("wilson"), strict=True):
        np.testing.assert_allclose(wilson(*case), printed, atol=2e-5)  # 1.96 for 1.959964
