"""Filters of every kind against SciPy's own, integrals in closed form, and windows sorted one by one."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from bite.fit.smoothing import GAUSS, Kind, SensorFilter, Smoothed, kernel, smooth

SHAPE = (23, 26)
BOX = SensorFilter(Kind.BOX)
RNG_MAP = np.random.default_rng(0).normal(300.0, 5.0, (2, *SHAPE))


def holed() -> np.ndarray:
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    return np.asarray((np.hypot(y - 9, x - 12) > 2.6) & (x + y > 4) & ~((x == 20) & (y % 3 == 0)))


def whole() -> np.ndarray:
    return np.ones(SHAPE, bool)


def over_existing(filtered, maps: np.ndarray, mask: np.ndarray) -> np.ndarray:
    """Mean of what exists: the filter of the filled maps over the filter of the mask."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.stack([filtered(np.where(mask, m, 0.0)) / filtered(mask.astype(float)) for m in maps])


@pytest.mark.parametrize("mask", [whole(), holed()], ids=["whole", "holed"])
@pytest.mark.parametrize("sd_px", [0.7, 1.6, 2.9])
def test_gauss_is_scipys_over_what_exists(sd_px: float, mask: np.ndarray) -> None:
    def filtered(values: np.ndarray) -> np.ndarray:
        return ndimage.gaussian_filter(values, sd_px, mode="constant", radius=int(np.ceil(4 * sd_px)))

    found = smooth(np.where(mask, RNG_MAP, np.nan), mask, sd_px)
    np.testing.assert_allclose(found.maps, over_existing(filtered, RNG_MAP, mask), rtol=1e-10)


def sd_of(width_px: float) -> float:
    """Sd of a box of whole pixels: the variance of w places a pixel apart."""
    return float(np.sqrt((width_px**2 - 1.0) / 12.0))


@pytest.mark.parametrize("mask", [whole(), holed()], ids=["whole", "holed"])
@pytest.mark.parametrize("width_px", [3, 5, 7])
def test_a_box_of_whole_odd_width_is_scipys(width_px: int, mask: np.ndarray) -> None:
    def filtered(values: np.ndarray) -> np.ndarray:
        return ndimage.uniform_filter(values, width_px, mode="constant")

    found = smooth(np.where(mask, RNG_MAP, np.nan), mask, sd_of(width_px), BOX)
    seen = filtered(mask.astype(float)) > 1e-9
    expected = over_existing(filtered, RNG_MAP, mask)
    # the root and back leaves the outermost pixel a weight of 1e-16
    np.testing.assert_allclose(found.maps[:, seen], expected[:, seen], rtol=1e-10)


def means_over(values: np.ndarray, width_px: float) -> np.ndarray:
    """Sums over a window of any width about each column's middle, pixels taken as flat: by their integral."""
    edges = np.arange(values.shape[1] + 1) - 0.5
    middle = np.arange(values.shape[1])
    ahead = np.concatenate([np.zeros((len(values), 1)), values.cumsum(1)], axis=1)
    return np.stack(
        [np.interp(middle + width_px / 2, edges, row) - np.interp(middle - width_px / 2, edges, row)
         for row in ahead]
    ) / width_px  # fmt: skip


def boxed(maps: np.ndarray, mask: np.ndarray, sd_px: float) -> np.ndarray:
    def filtered(values: np.ndarray) -> np.ndarray:
        width_px = np.sqrt(12.0 * sd_px**2 + 1.0)
        return means_over(means_over(values, width_px).T, width_px).T

    return over_existing(filtered, maps, mask)


@pytest.mark.parametrize("mask", [whole(), holed()], ids=["whole", "holed"])
@pytest.mark.parametrize("width_px", [1.7, 2.0, 2.6, 4.0, 5.37])
def test_a_box_of_any_width_takes_its_outermost_pixels_in_part(width_px: float, mask: np.ndarray) -> None:
    sd_px = sd_of(width_px)
    found = smooth(np.where(mask, RNG_MAP, np.nan), mask, sd_px, BOX)
    expected = boxed(RNG_MAP, mask, sd_px)
    seen = np.isfinite(expected).all(0) & (found.coverage > 1e-9)
    assert seen.sum() > 0.95 * seen.size
    np.testing.assert_allclose(found.maps[:, seen], expected[:, seen], rtol=1e-9)


def test_a_box_of_one_pixel_leaves_the_map_alone() -> None:
    np.testing.assert_allclose(smooth(RNG_MAP, whole(), 1e-7, BOX).maps, RNG_MAP, rtol=1e-12)


@pytest.mark.parametrize("sd_px", [0.6, 0.93, 1.5, 2.1])
def test_the_slope_of_a_box_by_its_blur_is_that_of_the_integrals(sd_px: float) -> None:
    """Widths between odd whole ones (2.3, 3.4, 5.3, 7.3 px), where the outermost pixels enter or leave."""
    mask, step = holed(), 1e-5
    found = smooth(RNG_MAP[:1], mask, sd_px, BOX)
    high, low = (boxed(RNG_MAP[:1], mask, sd_px + d)[0] for d in (step, -step))
    numeric = (high - low) / (2 * step)
    seen = np.isfinite(numeric) & (found.coverage > 1e-3)
    assert np.abs(numeric[seen]).max() > 1.0
    # rounding of values near 300 at 1e-5: 6e-14 / 2e-5, and as much again for truncation
    np.testing.assert_allclose(found.first_by_smoothing[seen], numeric[seen], rtol=0, atol=1e-6)


def test_a_box_of_odd_width_has_the_stated_sd() -> None:
    for width_px in (3.0, 7.0, 15.0):
        weights = kernel(sd_of(width_px), Kind.BOX)[0]
        at = np.arange(len(weights)) - len(weights) // 2
        assert weights.sum() == pytest.approx(1.0) and (weights >= 0).all()
        # of whole pixels: (w^2 - 1) / 12
        assert weights @ at**2 == pytest.approx((width_px**2 - 1) / 12)


@pytest.mark.parametrize("kind", [Kind.GAUSS, Kind.BOX])
def test_coverage_is_the_share_of_what_the_window_could_have_given(kind: Kind) -> None:
    sensor, mask = SensorFilter(kind), holed()
    weights = kernel(1.5, kind)[0]
    both = np.outer(weights, weights)
    seen = ndimage.convolve(mask.astype(float), both, mode="constant")
    could = ndimage.convolve(np.ones(SHAPE), both, mode="constant")
    np.testing.assert_allclose(smooth(RNG_MAP, mask, 1.5, sensor).coverage, seen / could, rtol=1e-9)


def sorted_window(first: np.ndarray, mask: np.ndarray, row: int, column: int, side: int) -> list[float]:
    """What exists in a window, in order."""
    half = side // 2
    rows = slice(max(row - half, 0), row + half + 1)
    columns = slice(max(column - half, 0), column + half + 1)
    return sorted(first[rows, columns][mask[rows, columns]].tolist())


def median_of(maps: np.ndarray, mask: np.ndarray, side: int) -> Smoothed:
    return smooth(np.where(mask, maps, np.nan), mask, 2.0, SensorFilter(Kind.MEDIAN, side))


@pytest.mark.parametrize("side", [3, 5, 7])
def test_a_median_of_a_whole_map_is_scipys(side: int) -> None:
    found = median_of(RNG_MAP, whole(), side)
    inner = np.s_[side // 2 : -(side // 2), side // 2 : -(side // 2)]
    expected = ndimage.median_filter(RNG_MAP[0], side)
    np.testing.assert_array_equal(found.maps[0][inner], expected[inner])
    assert not found.first_by_smoothing.any()
    np.testing.assert_allclose(found.coverage, 1.0, rtol=1e-12)


@pytest.mark.parametrize("side", [3, 5])
def test_a_median_beside_holes_and_borders_is_that_of_what_exists(side: int) -> None:
    mask = holed()
    found = median_of(RNG_MAP, mask, side)
    odd = 0
    for row, column in np.argwhere(mask):
        window = sorted_window(RNG_MAP[0], mask, row, column, side)
        # of an even number, the nearer one in the middle: a reading, not a mean of two
        assert found.maps[0, row, column] == window[(len(window) - 1) // 2]
        if len(window) % 2:
            assert found.maps[0, row, column] == np.nanmedian(window)
            odd += 1
    assert odd > 100 and np.isnan(found.maps[0][~mask]).all()


def test_all_maps_are_taken_from_the_pixel_that_was_picked() -> None:
    """The second map numbers the pixels; the third is the first again, upside down."""
    mask, side = holed(), 5
    number = np.arange(mask.size, dtype=float).reshape(SHAPE)
    maps = np.stack([RNG_MAP[0], number, -RNG_MAP[0]])
    found = median_of(maps, mask, side)
    picked = found.maps[1][mask].astype(int)
    np.testing.assert_array_equal(found.maps[0][mask], RNG_MAP[0].ravel()[picked])
    np.testing.assert_array_equal(found.maps[2], -found.maps[0])
    assert mask.ravel()[picked].all()
    rows, columns = np.nonzero(mask)
    away = np.maximum(np.abs(picked // SHAPE[1] - rows), np.abs(picked % SHAPE[1] - columns))
    assert away.max() == side // 2 and (picked != rows * SHAPE[1] + columns).mean() > 0.8


def test_a_median_keeps_the_side_of_a_step_that_has_more_pixels() -> None:
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    strip = np.where((y >= 10) & (y < 12), 290.0, 300.0)  # two rows are the fewer of five, the more of three
    assert (median_of(strip[None], whole(), 5).maps[0] == 300.0).all()
    assert (median_of(strip[None], whole(), 3).maps[0][10:12] == 290.0).all()
    corner = np.where((y < 10) & (x < 10), 290.0, 300.0)
    rounded = median_of(corner[None], whole(), 5).maps[0]
    assert rounded[9, 9] == 300.0 and rounded[9, 3] == 290.0  # nine of 25 there, fifteen here


def test_where_a_window_is_even_a_median_is_its_middle() -> None:
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    bowed = 300.0 + 0.03 * x - 0.02 * y + 0.0003 * x**2
    found = median_of(bowed[None], whole(), 5).maps[0]
    # windows of a nearly even surface differ by less than 0.5 mm from end to end: left as they are
    np.testing.assert_array_equal(found, bowed)
    inner = np.s_[2:-2, 2:-2]
    assert np.abs(found - ndimage.median_filter(bowed, 5))[inner].max() < 0.01
    # a wild reading makes its window uneven: it goes
    wild = bowed.copy()
    wild[11, 13] += 4.0
    assert median_of(wild[None], whole(), 5).maps[0][11, 13] == sorted_window(wild, whole(), 11, 13, 5)[12]


def test_coverage_of_a_median_is_the_share_of_its_window() -> None:
    mask, side = holed(), 5
    found = median_of(RNG_MAP, mask, side).coverage
    for row, column in np.argwhere(mask)[::7]:
        if 2 <= row < SHAPE[0] - 2 and 2 <= column < SHAPE[1] - 2:
            window = mask[row - 2 : row + 3, column - 2 : column + 3]
            assert found[row, column] == pytest.approx(window.mean())


def test_nothing_at_all_is_filtered_to_nothing() -> None:
    empty = np.zeros(SHAPE, bool)
    assert np.isnan(median_of(RNG_MAP, empty, 3).maps).all()
    for sensor in (GAUSS, BOX):
        assert np.isnan(smooth(RNG_MAP, empty, 1.0, sensor).maps).all()


def test_filters_are_told_by_their_names() -> None:
    assert [str(Kind(name)) for name in ("gauss", "box", "median", "edge-preserving")] == list(Kind)
    assert str(SensorFilter(Kind.MEDIAN, 5)) == "median of 5 px" and str(GAUSS) == "gauss"
