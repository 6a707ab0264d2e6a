"""The sd that enamel in sight promises: its scaling, and the sd that the real fit then states."""

from dataclasses import replace

import numpy as np
import pytest

from bite.choose.expected_sd import FLOOR_MM, DepthQuality, expected_sd_mm

QUALITY = DepthQuality(0.5)


def _teeth(height=20, width=100, shape=(140, 180)):
    mask = np.zeros(shape, bool)
    top, left = (shape[0] - height) // 2, (shape[1] - width) // 2
    mask[top : top + height, left : left + width] = True
    return mask


def _variance(mask, quality=QUALITY, readings=None, mm_per_px=0.5):
    return expected_sd_mm(mask, readings, quality, mm_per_px=mm_per_px) ** 2 - FLOOR_MM**2


def test_twice_the_noise_is_twice_the_sd_where_priors_are_far():
    sure = replace(QUALITY, smoothing_sd_px=1e-6, smoothing_px=0.01)
    twice = replace(sure, noise_mm=0.8)
    # lip edges are a prior of their own, so that a little less than four times the variance is left
    assert 3.0 < _variance(_teeth(40), twice) / _variance(_teeth(40), sure) <= 4.001


def test_less_enamel_promises_less():
    sds = [expected_sd_mm(_teeth(height), None, QUALITY, mm_per_px=0.5) for height in (4, 8, 16, 30)]
    assert sds == sorted(sds, reverse=True) and sds[0] > 2 * sds[-1]


def test_a_blurred_strip_promises_less_than_a_sharp_one():
    sharp, blurred = replace(QUALITY, smoothing_px=1.0), replace(QUALITY, smoothing_px=3.5)
    assert _variance(_teeth(7), blurred) > 2 * _variance(_teeth(7), sharp)


def test_holes_cost():
    holes = np.ones((140, 180), bool)
    holes[:, 90:] = False
    assert _variance(_teeth(), readings=holes) > 1.5 * _variance(_teeth())
    assert expected_sd_mm(_teeth(), np.zeros((140, 180), bool), QUALITY, mm_per_px=0.5) is None


def test_a_finer_picture_of_the_same_mouth_says_the_same():
    coarse = expected_sd_mm(_teeth(), None, QUALITY, mm_per_px=0.5)
    fine = np.kron(_teeth(), np.ones((4, 4), bool))
    # the ring of skin falls on the grid a little differently
    assert expected_sd_mm(fine, None, QUALITY, mm_per_px=0.125) == pytest.approx(coarse, rel=0.02)


def test_a_mouth_at_the_border_and_no_mouth():
    mask = np.zeros((60, 80), bool)
    assert expected_sd_mm(mask, None, QUALITY, mm_per_px=0.5) is None
    mask[:12, :60] = True
    assert expected_sd_mm(mask, None, QUALITY, mm_per_px=0.5) > 0


@pytest.mark.slow
def test_it_goes_with_the_sd_that_the_real_fit_states():
    from scipy.stats import spearmanr

    from tests.coverage.choose import expected_beside_fit

    # twelve frames from a thin strip to a wide grin: fewer may have sds that are all alike, and no order to
    # keep; python -m tests.coverage.choose --sd has more of them, in maps that show the whole face
    pairs = [expected_beside_fit(seed, size_px=(240, 200)) for seed in range(301, 313)]
    stated, expected = np.array(pairs).T
    assert spearmanr(stated, expected)[0] > 0.75
    ratio = expected / stated
    assert 0.75 < np.median(ratio) < 1.35 and ratio.min() > 0.5 and ratio.max() < 2.0
