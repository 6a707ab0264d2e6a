"""Which filter smoothed a map, and what shift its steps leave open: maps with planted filters and shifts."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter, median_filter

from bite.fit.noise import assumed_noise
from bite.fit.smoothing import GAUSS, Kind, SensorFilter
from bite.fit.which_filter import MEDIANS, best_filter, steepness, step_shift_px

SD_MM = 0.3
NOISE = replace(assumed_noise(SD_MM, 0.1), inflation=1.0)
EVERYWHERE = np.ones((40, 60), bool)
MEDIAN_5 = SensorFilter(Kind.MEDIAN, 5)


def sharp() -> np.ndarray:
    """A mouth: a strip 8 mm behind its surroundings, with a slanted side."""
    y, x = np.mgrid[:40, :60]
    return np.where((np.abs(y - 20) < 6) & (x > 8 + 0.4 * y) & (x < 50), 300.0, 292.0)


def chosen(measured_mm: np.ndarray, present: SensorFilter = GAUSS, **noise: float) -> SensorFilter:
    return best_filter(
        sharp(), measured_mm, 1.5, present, (GAUSS, *MEDIANS), EVERYWHERE, replace(NOISE, **noise)
    )


def with_noise(map_mm: np.ndarray) -> np.ndarray:
    return map_mm + np.random.default_rng(0).normal(0.0, SD_MM, map_mm.shape)


@pytest.mark.parametrize("present", [GAUSS, MEDIAN_5])
def test_the_filter_that_made_the_map_is_found(present: SensorFilter) -> None:
    assert chosen(with_noise(gaussian_filter(sharp(), 1.5)), present) == GAUSS
    assert chosen(with_noise(median_filter(sharp(), 5)), present) == MEDIAN_5


def log_odds(measured_mm: np.ndarray) -> float:
    """How much likelier a median of 5 makes the steps than a Gaussian, by a Huber loss written out."""
    steep = np.hypot(*np.gradient(sharp())) > 1.0
    loss = []
    for made in (gaussian_filter(sharp(), 1.5), median_filter(sharp(), 5)):
        size = np.abs(measured_mm - made)[steep] / SD_MM
        loss.append(np.where(size <= 1.345, 0.5 * size**2, 1.345 * size - 0.5 * 1.345**2).sum())
    return float(loss[0] - loss[1])


def test_another_filter_is_taken_at_odds_of_fifty_to_one_and_not_before() -> None:
    """The same map with ever more pixels that count as one: e to the fourth is 54."""
    measured = with_noise(median_filter(sharp(), 5))
    odds = log_odds(measured)
    rest = tuple(f for f in MEDIANS if f != MEDIAN_5)
    assert odds > 50.0 and rest
    for counted, taken in ((odds / 4.2, MEDIAN_5), (odds / 3.8, GAUSS)):
        noise = replace(NOISE, inflation=counted)
        assert best_filter(sharp(), measured, 1.5, GAUSS, (MEDIAN_5,), EVERYWHERE, noise) == taken


def test_few_steps_tell_nothing() -> None:
    measured = with_noise(median_filter(sharp(), 5))
    steep = np.flatnonzero(np.hypot(*np.gradient(sharp())) > 1.0)
    for count, taken in ((59, GAUSS), (60, MEDIAN_5)):
        some = np.zeros(EVERYWHERE.size, bool)
        some[steep[:count]] = True
        found = best_filter(sharp(), measured, 1.5, GAUSS, (MEDIAN_5,), some.reshape(40, 60), NOISE)
        assert found == taken


def test_a_planted_shift_is_found_at_steps_and_noise_is_none() -> None:
    rng = np.random.default_rng(1)
    smooth = gaussian_filter(sharp(), 1.0)
    steep = steepness(smooth)
    noise = rng.normal(0.0, SD_MM, smooth.shape)
    shifted = 0.4 * steep * rng.normal(size=smooth.shape)
    wild = np.where(rng.random(smooth.shape) < 0.05, 40.0, 0.0)
    # some 200 pixels of step know a MAD to 6 %
    assert step_shift_px(shifted + noise, steep, EVERYWHERE, SD_MM) == pytest.approx(0.4, rel=0.25)
    assert step_shift_px(shifted + noise + wild, steep, EVERYWHERE, SD_MM) == pytest.approx(0.4, rel=0.3)
    assert step_shift_px(noise, steep, EVERYWHERE, SD_MM) < 0.08
    flat = np.where(steep > 1.0, 0.0, 5.0)  # what is wrong of surfaces is no shift
    assert step_shift_px(shifted + flat, steep, EVERYWHERE, SD_MM) == pytest.approx(0.4, rel=0.25)


def test_a_shift_needs_sixty_pixels() -> None:
    steep = np.full((10, 10), 2.0)
    for count in (59, 60):
        some = np.arange(100).reshape(10, 10) < count
        assert (step_shift_px(np.ones((10, 10)), steep, some, 0.1) is None) == (count == 59)
