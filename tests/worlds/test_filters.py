"""The sensor's filters against those of SciPy and OpenCV, and block matching against what it is for."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from scipy.ndimage import gaussian_filter, median_filter, uniform_filter

from tests.worlds.description import Filter
from tests.worlds.filters import filtered, smoothing_px

MAP = 300.0 + np.random.default_rng(3).normal(0.0, 1.0, (60, 70))
INNER = (slice(15, -15), slice(15, -15))
"""Away from the border, where each library continues the map in its own way."""


@pytest.mark.parametrize(
    ("kind", "width", "theirs"),
    [
        (Filter.GAUSS, 2.0, lambda a: gaussian_filter(a, 2.0, truncate=5.0)),
        (Filter.BOX, 5.0, lambda a: uniform_filter(a, 5)),
        (Filter.MEDIAN, 5.0, lambda a: median_filter(a, 5)),
    ],
)
def test_as_scipy(kind: Filter, width: float, theirs) -> None:  # type: ignore[no-untyped-def]  # handed in
    np.testing.assert_allclose(filtered(MAP, kind, width)[INNER], theirs(MAP)[INNER], atol=1e-9)


def test_edge_preserving_as_opencv() -> None:
    theirs = cv2.bilateralFilter(MAP.astype(np.float32), 11, 1.5, 2.0)
    # theirs is in single precision and reads its exponential off a table
    np.testing.assert_allclose(filtered(MAP, Filter.BILATERAL, 2.0)[INNER], theirs[INNER], atol=2e-3)


def test_a_box_between_whole_widths_has_its_own_variance() -> None:
    line = np.zeros((41, 41))
    line[20, 20] = 1.0
    spread = filtered(line, Filter.BOX, 6.0).sum(axis=0)
    at = np.arange(41) - 20.0
    # five whole pixels and half of the sixth on each side: (10 + 2 * 0.5 * 9) / 6
    assert (spread * at**2).sum() / spread.sum() == pytest.approx((10.0 + 9.0) / 6.0)
    assert spread.sum() == pytest.approx(1.0)
    # whole pixels that count in part spread a little more than a box does
    said = smoothing_px(Filter.BOX, 6.0)
    assert said is not None
    assert said**2 == pytest.approx((10.0 + 9.0) / 6.0, abs=0.2)


@pytest.mark.parametrize("kind", list(Filter))
def test_holes_stay_and_leave_a_plane_alone(kind: Filter) -> None:
    plane = np.full((40, 40), 310.0)
    plane[10:14, 20:23] = np.nan
    found = filtered(plane, kind, 5.0 if kind is not Filter.GAUSS else 2.0)
    assert np.array_equal(np.isnan(found), np.isnan(plane))
    np.testing.assert_allclose(found[np.isfinite(found)], 310.0, atol=1e-9)


def test_block_matching_fattens_the_foreground() -> None:
    step = np.full((40, 40), 320.0)
    step[:, :20] = 310.0
    found = filtered(step, Filter.BLOCK_MATCHING, 7.0)[20]
    # two columns beyond the step the near surface fills 2 of a block's 7 columns: 3.3 * 2 to 1.25 * 5; one on
    # it fills one
    assert list(found[19:23]) == [310.0, 310.0, 310.0, 320.0]


def test_block_matching_leaves_a_slant_where_it_is() -> None:
    slant = np.broadcast_to(300.0 + 0.5 * np.arange(40.0), (40, 40))
    found = filtered(slant, Filter.BLOCK_MATCHING, 7.0)
    np.testing.assert_allclose(found[INNER], slant[INNER], atol=1e-9)


def test_a_median_eats_a_thin_strip_and_a_gaussian_keeps_its_mean() -> None:
    strip = np.full((40, 40), 310.0)
    strip[19:21] = 320.0
    assert filtered(strip, Filter.MEDIAN, 5.0)[20, 20] == 310.0
    assert filtered(strip, Filter.GAUSS, 2.0)[:, 20].sum() == pytest.approx(strip[:, 20].sum(), abs=1e-6)
