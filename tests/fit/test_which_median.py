"""Which median, if any, smoothed a map with thin teeth and slanted lips; shifts of steps in closed form."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from bite.fit.noise import assumed_noise
from bite.fit.smoothing import GAUSS, Kind, SensorFilter
from bite.fit.which_filter import LEAST_STEPS, MEDIANS, best_filter, steepness, step_shift_px

SHAPE = (72, 110)
SD_MM = 0.4
NOISE = assumed_noise(SD_MM, 1.0)
"""Three pixels count as one."""
ALL = np.ones(SHAPE, bool)


def mouth() -> np.ndarray:
    """Lips about a slanted opening, in it a thin upper row, gaps of 2 px between crowns, a lower row."""
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]].astype(float)
    middle = 30.0 + 0.12 * x
    inside = (np.abs(y - middle) < 7.5) & (np.hypot((x - 55) / 48, (y - middle) / 14) < 1)
    teeth = np.where(y < middle + 0.5, 300.0, 303.0)
    gap = ((x - 7) % 13 < 2) & (y < middle + 0.5)
    return np.where(inside, np.where(gap, 308.0, teeth), 292.0 + 0.02 * x)


def sensed(rng: np.random.Generator, filtered: np.ndarray, wild: float = 0.02) -> np.ndarray:
    noisy = filtered + rng.normal(0.0, SD_MM, SHAPE)
    return np.where(rng.random(SHAPE) < wild, noisy + rng.normal(0.0, 6.0, SHAPE), noisy)


@pytest.mark.parametrize("side", [3, 5, 7])
@pytest.mark.parametrize("present", [GAUSS, *MEDIANS], ids=str)
def test_the_median_that_made_a_map_is_named(side: int, present: SensorFilter) -> None:
    for seed in range(3):
        measured = sensed(np.random.default_rng(seed), ndimage.median_filter(mouth(), side))
        found = best_filter(mouth(), measured, 1.5, present, (GAUSS, *MEDIANS), ALL, NOISE)
        assert found == SensorFilter(Kind.MEDIAN, side)


@pytest.mark.parametrize("sd_px", [1.0, 1.8, 3.0])
def test_a_gaussian_is_kept_where_it_is_true(sd_px: float) -> None:
    """Known to a tenth of its width only, as a fit has it by then."""
    for seed in range(3):
        measured = sensed(np.random.default_rng(seed), ndimage.gaussian_filter(mouth(), sd_px))
        for believed in (0.9 * sd_px, 1.1 * sd_px):
            for present in (GAUSS, *MEDIANS):
                tried = (GAUSS, *MEDIANS)
                assert best_filter(mouth(), measured, believed, present, tried, ALL, NOISE) == GAUSS


def test_what_is_not_clearly_better_changes_nothing() -> None:
    """A map that is half one and half the other: whatever the fit has stays."""
    both = 0.5 * (ndimage.median_filter(mouth(), 5) + ndimage.median_filter(mouth(), 7))
    loud = assumed_noise(20.0, 1.0)
    for present in MEDIANS[1:]:
        assert best_filter(mouth(), both, 1.5, present, MEDIANS, ALL, loud) == present


def test_pixels_that_may_not_speak_do_not() -> None:
    """The left half is a median's, the right half a Gaussian's."""
    left = np.arange(SHAPE[1]) < SHAPE[1] // 2
    median, gauss = ndimage.median_filter(mouth(), 5), ndimage.gaussian_filter(mouth(), 1.5)
    measured = sensed(np.random.default_rng(0), np.where(left, median, gauss))
    for chosen, made in ((ALL & left, SensorFilter(Kind.MEDIAN, 5)), (ALL & ~left, GAUSS)):
        for present in (GAUSS, SensorFilter(Kind.MEDIAN, 5)):
            assert best_filter(mouth(), measured, 1.5, present, (GAUSS, *MEDIANS), chosen, NOISE) == made


def test_missing_readings_tell_nothing() -> None:
    rng = np.random.default_rng(0)
    measured = sensed(rng, ndimage.median_filter(mouth(), 3))
    measured[rng.random(SHAPE) < 0.3] = np.nan
    found = best_filter(mouth(), measured, 1.5, GAUSS, MEDIANS, ALL, NOISE)
    assert found == SensorFilter(Kind.MEDIAN, 3)


def test_steepness_of_a_plane() -> None:
    y, x = np.mgrid[:20, :30].astype(float)
    depth = 300.0 + 0.6 * x - 0.8 * y
    np.testing.assert_allclose(steepness(depth), 1.0, rtol=1e-9)
    depth[5:9, 5:9] = np.nan
    assert np.isfinite(steepness(depth)).all()


def sloped(count: int = 4000) -> np.ndarray:
    """Steepness as along blurred steps, 1 to 4 mm a pixel."""
    return np.linspace(1.01, 4.0, count).reshape(40, -1)


@pytest.mark.parametrize("shift_px", [0.2, 0.5, 0.9])
def test_a_planted_shift_comes_out_of_noise_and_wild_readings(shift_px: float) -> None:
    rng, steep = np.random.default_rng(2), sloped()
    every = np.ones(steep.shape, bool)
    for sd_mm in (0.0, 0.3):
        off = shift_px * rng.normal(size=steep.shape) * steep + rng.normal(0.0, sd_mm, steep.shape)
        off[rng.random(steep.shape) < 0.05] += 30.0
        # 4,000 shifts tell a MAD to 1.9 % and 5 % of wild ones make it 6 % larger; beside a small shift,
        # noise that counts at a typical step only leaves as much again
        small = 0.2 if shift_px < 0.3 and sd_mm else 0.1
        assert step_shift_px(off, steep, every, sd_mm) == pytest.approx(shift_px, rel=small)
    # one and the same shift everywhere is no scatter about a mean: it counts whole
    same = step_shift_px(shift_px * steep, steep, every, 0.0)
    assert same == pytest.approx(1.4826 * shift_px, rel=1e-3)


def test_noise_alone_is_no_shift() -> None:
    """Below a tenth of a pixel, under which steps are never trusted; and nothing where noise says it all."""
    every, steep = np.ones((40, 100), bool), sloped()
    for seed in range(10):
        noise = np.random.default_rng(seed).normal(0.0, 0.4, steep.shape)
        assert step_shift_px(noise, steep, every, 0.4) < 0.08
        assert step_shift_px(noise, steep, every, 0.5) == 0.0


def test_only_steps_are_asked_and_few_tell_nothing() -> None:
    steep = np.full((20, 20), 0.9)
    every = np.ones(steep.shape, bool)
    assert step_shift_px(5.0 * steep, steep, every, 0.1) is None  # a surface of 0.9 mm a pixel is no step
    steep.ravel()[: LEAST_STEPS - 1] = 2.0
    assert step_shift_px(5.0 * steep, steep, every, 0.1) is None
    steep.ravel()[: LEAST_STEPS] = 2.0
    wrong = np.where(steep > 1.0, 0.3 * steep, 50.0)
    assert step_shift_px(wrong, steep, every, 0.0) == pytest.approx(1.4826 * 0.3, rel=1e-3)
    assert step_shift_px(wrong, steep, every & (np.arange(20) > 0), 0.0) is None
