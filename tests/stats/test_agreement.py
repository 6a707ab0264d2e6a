"""Agreement: what is refused, what cannot change the answer, and intervals that hold the truth."""

from __future__ import annotations

import numpy as np
import pytest

from bite.errors import DegenerateGeometryError
from bite.stats.agreement import IccForm, bland_altman, dahlberg, icc, mean_squares


def test_a_steady_shift_is_bias_and_no_spread() -> None:
    first = np.array([1.0, 2.0, 4.0, 8.0])
    found = bland_altman(first + 0.5, first)
    assert (found.bias, found.sd) == (0.5, 0.0)
    assert (found.lower, found.upper) == (0.5, 0.5)
    assert dahlberg(first + 0.5, first) == pytest.approx(0.5 / np.sqrt(2))  # which Dahlberg cannot tell apart


def test_swapping_sides_turns_bias_round() -> None:
    rng = np.random.default_rng(0)
    a, b = rng.normal(size=(2, 12))
    there, back = bland_altman(a, b), bland_altman(b, a)
    assert back.bias == pytest.approx(-there.bias)
    assert (back.lower, back.upper) == pytest.approx((-there.upper, -there.lower))
    assert dahlberg(a, b) == pytest.approx(dahlberg(b, a))


def test_unit_does_not_matter() -> None:
    rng = np.random.default_rng(1)
    a, b = rng.normal(8.6, 0.6, (2, 12))
    assert bland_altman(a / 1000, b / 1000).lower_interval == pytest.approx(
        np.divide(bland_altman(a, b).lower_interval, 1000)
    )
    ratings = rng.normal(size=(6, 3))
    for form, found in icc(ratings).items():
        moved = icc(25.4 * ratings + 7)[form]
        assert moved.value == pytest.approx(found.value, abs=1e-9)
        assert moved.interval == pytest.approx(found.interval, abs=1e-9)


def test_intervals_of_bias_and_limits_hold_the_truth() -> None:
    # 2000 draws of 95 %: sd of the share 0.5 %. The limit's se is an approximation, so it has 1.5 % more room
    rng = np.random.default_rng(2)
    bias_held = limit_held = 0
    for _ in range(2000):
        found = bland_altman(rng.normal(0.3, 1.0, 30), np.zeros(30))
        bias_held += found.bias_interval[0] <= 0.3 <= found.bias_interval[1]
        limit_held += found.upper_interval[0] <= 0.3 + 1.96 <= found.upper_interval[1]
    assert bias_held / 2000 == pytest.approx(0.95, abs=0.02)
    assert limit_held / 2000 == pytest.approx(0.95, abs=0.035)


@pytest.mark.parametrize("pair", [([1.0], [1.0, 2.0]), ([1.0, np.nan], [1.0, 2.0]), ([1.0], [2.0])])
def test_bad_pairs_are_refused(pair) -> None:
    with pytest.raises(DegenerateGeometryError, match="agreement"):
        bland_altman(*map(np.array, pair))


def test_nothing_is_refused_by_dahlberg_too() -> None:
    with pytest.raises(DegenerateGeometryError, match="agreement"):
        dahlberg(np.array([]), np.array([]))
    assert dahlberg(np.array([1.0]), np.array([3.0])) == pytest.approx(np.sqrt(2))


@pytest.mark.parametrize("confidence", [0.0, 1.0, 95.0, -0.5, float("nan")])
def test_confidence_is_a_share(confidence) -> None:
    with pytest.raises(ValueError, match="confidence"):
        bland_altman(np.arange(3.0), np.zeros(3), confidence=confidence)
    with pytest.raises(ValueError, match="confidence"):
        icc(np.random.default_rng(0).normal(size=(4, 3)), confidence=confidence)


@pytest.mark.parametrize("shape", [(1, 4), (4, 1), (4,), (0, 0)])
def test_tables_too_small_are_refused(shape) -> None:
    with pytest.raises(DegenerateGeometryError, match="at least 2 targets by 2 judges"):
        mean_squares(np.zeros(shape))


def test_gaps_and_perfect_agreement_are_refused() -> None:
    table = np.random.default_rng(3).normal(size=(5, 3))
    table[2, 1] = np.nan
    with pytest.raises(DegenerateGeometryError, match="full table"):
        icc(table)
    with pytest.raises(DegenerateGeometryError, match="agree exactly"):
        icc(np.tile(np.arange(5.0)[:, None], (1, 3)))
    with pytest.raises(DegenerateGeometryError, match="agree exactly"):
        icc(np.arange(5.0)[:, None] + np.arange(3.0))


def test_order_of_targets_and_judges_does_not_matter() -> None:
    rng = np.random.default_rng(4)
    table = rng.normal(size=(6, 4)) + 2 * rng.normal(size=(6, 1))
    mixed = table[rng.permutation(6)][:, rng.permutation(4)]
    for form, found in icc(table).items():
        assert icc(mixed)[form].value == pytest.approx(found.value, abs=1e-12)


def test_a_judge_who_reads_high_lowers_absolute_agreement_alone() -> None:
    rng = np.random.default_rng(5)
    table = rng.normal(size=(20, 1)) + 0.2 * rng.normal(size=(20, 3))
    shifted = table + np.array([0.0, 0.0, 2.0])
    before, after = icc(table), icc(shifted)
    assert after[IccForm.FIXED_SINGLE].value == pytest.approx(before[IccForm.FIXED_SINGLE].value, abs=1e-12)
    assert after[IccForm.RANDOM_SINGLE].value < before[IccForm.RANDOM_SINGLE].value - 0.2


@pytest.mark.parametrize(
    ("form", "judge_sd", "least"),
    [
        (IccForm.ONE_WAY_SINGLE, 0.0, 0.935),
        (IccForm.FIXED_SINGLE, 0.7, 0.935),
        (IccForm.RANDOM_SINGLE, 0.7, 0.92),  # Satterthwaite's approximation
    ],
)
def test_interval_holds_the_true_correlation(form, judge_sd, least) -> None:
    # 1500 tables of 12 targets by 4 judges; sd of a share of 0.95 is 0.6 %
    rng = np.random.default_rng(6)
    between, noise = 1.0, 0.8
    total = between**2 + noise**2 + (judge_sd**2 if form is IccForm.RANDOM_SINGLE else 0.0)
    truth, held = between**2 / total, 0
    for _ in range(1500):
        table = (
            between * rng.normal(size=(12, 1))
            + judge_sd * rng.normal(size=(1, 4))
            + noise * rng.normal(size=(12, 4))
        )
        low, high = icc(table)[form].interval
        held += low <= truth <= high
    assert least <= held / 1500 <= 0.97


def test_mean_forms_follow_from_single_ones() -> None:
    # Spearman-Brown: the mean of k ratings has k r / (1 + (k - 1) r)
    table = np.random.default_rng(7).normal(size=(8, 3)) + 2 * np.arange(8.0)[:, None]
    found = icc(table)
    for single, mean in (
        (IccForm.ONE_WAY_SINGLE, IccForm.ONE_WAY_MEAN),
        (IccForm.RANDOM_SINGLE, IccForm.RANDOM_MEAN),
        (IccForm.FIXED_SINGLE, IccForm.FIXED_MEAN),
    ):
        for a, b in zip(
            (found[single].value, *found[single].interval),
            (found[mean].value, *found[mean].interval),
            strict=True,
        ):
            assert b == pytest.approx(3 * a / (1 + 2 * a), rel=1e-9)
