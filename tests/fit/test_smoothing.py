"""The sensor's blur against sums written out over every pair of pixels."""

from __future__ import annotations

import numpy as np
import pytest

from bite.fit.smoothing import kernel, smooth

SHAPE = (17, 19)


def ragged() -> np.ndarray:
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    return np.asarray((x + 0.5 * y > 3) & (np.hypot(y - 9, x - 12) > 2.2))


def weights(smoothing_px: float) -> np.ndarray:
    """Weight of every pixel on every other, cut at four sds along rows and columns, shape (n, n)."""
    places = np.argwhere(np.ones(SHAPE, bool))
    away = places[:, None, :] - places[None, :, :]
    out = np.exp(-0.5 * (away**2).sum(2) / smoothing_px**2)
    out[(np.abs(away) > np.ceil(4.0 * smoothing_px)).any(2)] = 0.0
    return np.asarray(out)


def written_out(maps: np.ndarray, mask: np.ndarray, smoothing_px: float) -> np.ndarray:
    weight = weights(smoothing_px) * mask.ravel()
    with np.errstate(invalid="ignore", divide="ignore"):
        blurred = np.where(mask, maps, 0.0).reshape(len(maps), -1) @ weight.T / weight.sum(1)
    return np.asarray(blurred.reshape(maps.shape))


@pytest.mark.parametrize("smoothing_px", [0.6, 1.7, 3.0])
def test_a_blur_is_the_gaussian_mean_over_the_pixels_that_exist(smoothing_px: float) -> None:
    rng = np.random.default_rng(0)
    maps, mask = rng.normal(300.0, 5.0, (3, *SHAPE)), ragged()
    found = smooth(np.where(mask, maps, np.nan), mask, smoothing_px)
    expected = written_out(maps, mask, smoothing_px)
    near = np.isfinite(expected).all(0) & (found.coverage > 1e-6)
    assert near.sum() > 250
    np.testing.assert_allclose(found.maps[:, near], expected[:, near], rtol=1e-10)


def test_a_flat_map_stays_flat_beside_gaps() -> None:
    found = smooth(np.full((1, *SHAPE), 7.0), ragged(), 1.5)
    near = found.coverage > 1e-6
    assert found.maps[0, near] == pytest.approx(7.0)
    assert found.first_by_smoothing[near] == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("smoothing_px", [0.6, 1.73, 3.1])
def test_the_slope_by_the_blur_is_that_of_the_sums(smoothing_px: float) -> None:
    rng = np.random.default_rng(1)
    maps, mask = rng.normal(0.0, 5.0, (1, *SHAPE)), ragged()
    found = smooth(maps, mask, smoothing_px)
    step = 1e-5
    high, low = (written_out(maps, mask, smoothing_px + d)[0] for d in (step, -step))
    near = found.coverage > 1e-3
    # central differences at 1e-5 of values near 5: 1e-9 of rounding
    assert found.first_by_smoothing[near] == pytest.approx(((high - low) / (2 * step))[near], abs=1e-6)


def test_coverage_is_the_share_of_the_kernel_that_has_data_and_the_border_is_no_gap() -> None:
    mask = ragged()
    found = smooth(np.zeros((1, *SHAPE)), mask, 1.5)
    weight = weights(1.5)
    share = (weight * mask.ravel()).sum(1) / weight.sum(1)
    assert found.coverage == pytest.approx(share.reshape(SHAPE))
    assert smooth(np.zeros((1, *SHAPE)), np.ones(SHAPE, bool), 1.5).coverage == pytest.approx(1.0)


def test_the_kernel_has_the_stated_sd_and_reaches_four() -> None:
    for smoothing_px in (1.5, 3.0):
        weight, slope = kernel(smoothing_px)
        at = np.arange(len(weight)) - len(weight) // 2
        assert at[-1] == np.ceil(4 * smoothing_px) and weight.sum() == pytest.approx(1.0)
        # beyond four sds lie 6e-5 of the weight, with 16 times and more of the variance each
        assert np.sqrt(weight @ at**2) == pytest.approx(smoothing_px, rel=1e-3)
        high, low = (kernel(smoothing_px + d)[0] for d in (1e-6, -1e-6))
        if len(high) == len(low) == len(slope):
            assert slope == pytest.approx((high - low) / 2e-6, abs=1e-7)
