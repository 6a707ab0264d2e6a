"""Agreement of repeats against the papers that introduced it."""

from __future__ import annotations

import numpy as np
import pytest

from bite.stats.agreement import bland_altman, dahlberg, icc, mean_squares


@pytest.fixture
def peak_flow(reference):
    return reference("bland_altman_1986")


def test_bland_altman(peak_flow) -> None:
    wright, mini = peak_flow.array("wright_1"), peak_flow.array("mini_1")
    found = bland_altman(wright, mini)
    assert found.n == 17
    assert found.bias == pytest.approx(peak_flow.value("bias"), abs=1e-9)
    assert found.sd == pytest.approx(peak_flow.value("sd"), abs=1e-9)
    np.testing.assert_allclose((found.lower, found.upper), peak_flow.value("limits_1_96"), atol=1e-9)
    assert found.bias_se == pytest.approx(peak_flow.value("bias_se"), abs=1e-9)
    assert found.limit_se == pytest.approx(peak_flow.value("limit_se"), abs=1e-9)
    np.testing.assert_allclose(found.bias_interval, peak_flow.value("bias_interval"), atol=0.005)
    assert np.corrcoef(wright, mini)[0, 1] == pytest.approx(peak_flow.value("correlation"), abs=5e-4)


def test_bland_altman_as_printed(peak_flow) -> None:
    found = bland_altman(peak_flow.array("wright_1"), peak_flow.array("mini_1"), limit_factor=2.0)
    np.testing.assert_allclose((found.lower, found.upper), peak_flow.value("limits_2"), atol=1e-9)
    # the paper rounds mean, sd and se on the way, which adds up to 0.15
    np.testing.assert_allclose(found.lower_interval, peak_flow.value("lower_limit_interval"), atol=0.15)


def test_dahlberg(reference, peak_flow) -> None:
    table = reference("dahlberg")
    for name in ("wright", "mini"):
        first, second = (peak_flow.array(f"{name}_{i}") for i in (1, 2))
        assert dahlberg(first, second) == pytest.approx(table.value(f"{name}_error"), abs=5e-5)
        assert bland_altman(first, second).bias == pytest.approx(table.value(f"{name}_shift"), abs=5e-4)
    found = dahlberg(table.array("tooth_widths_first"), table.array("tooth_widths_second"))
    assert found == pytest.approx(table.value("tooth_width_error"), abs=5e-7)


def test_icc(reference) -> None:
    paper = reference("shrout_fleiss_1979")
    ratings = paper.array("ratings")
    squares = mean_squares(ratings)
    np.testing.assert_allclose(
        (squares.between, squares.within, squares.judges, squares.error),
        paper.array("mean_squares"),
        atol=5.1e-7,
    )
    found = [each.value for each in icc(ratings).values()]
    np.testing.assert_allclose(found, paper.array("icc_printed"), atol=0.005)
    np.testing.assert_allclose(found, paper.array("icc"), atol=5.1e-7)


def test_mean_squares_against_least_squares(reference) -> None:
    # the same split from two nested linear models, solved without any formula for mean squares
    ratings = reference("shrout_fleiss_1979").array("ratings")
    n, k = ratings.shape
    rows, columns = np.repeat(np.arange(n), k), np.tile(np.arange(k), n)
    by_row, by_column = np.eye(n)[rows], np.eye(k)[columns]

    def left_over(design: np.ndarray) -> float:
        solved = np.linalg.lstsq(design, ratings.ravel(), rcond=None)[0]
        return float(((ratings.ravel() - design @ solved) ** 2).sum())

    one, row, both = np.ones((n * k, 1)), left_over(by_row), left_over(np.hstack([by_row, by_column]))
    squares = mean_squares(ratings)
    assert squares.between == pytest.approx((left_over(one) - row) / (n - 1), rel=1e-9)
    assert squares.within == pytest.approx(row / (n * (k - 1)), rel=1e-9)
    assert squares.error == pytest.approx(both / ((n - 1) * (k - 1)), rel=1e-9)
