"""More of what a pixel of a depth map weighs, and of what is learned from it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from bite.fit.depth_block import DepthBlock
from bite.fit.parameters import COUNT, P
from bite.fit.smoothing import GAUSS, Kind, SensorFilter
from bite.geometry.teeth import UPPER
from tests.fit.test_depth_weights import AT, block, distance_mm, quad, scene


def test_distance_from_the_teeth_counts_in_millimetres() -> None:
    seen = block(scene(), mm_per_px=0.5).predict(AT)
    away_mm = 0.5 * distance_mm(seen.part == UPPER)
    near, far = seen.used & (away_mm < 5.5), seen.used & (away_mm > 6.5)
    np.testing.assert_allclose(seen.weight[near], np.exp(-((away_mm[near] / 20.0) ** 2)), rtol=5e-3)
    np.testing.assert_allclose(seen.weight[far], 9.0 * np.exp(-((away_mm[far] / 20.0) ** 2)), rtol=5e-3)
    assert near.sum() > 1000 and far.sum() > 300


def test_pixels_that_lips_and_teeth_share_tell_the_noise_of_neither() -> None:
    body = block(scene())
    seen = body.predict(AT)
    noise = np.random.default_rng(1).normal(0.0, 0.3, seen.part.shape)
    told = []
    for shared_mm in (5.0, -0.1):
        noise[(seen.teeth_share > 0.02) & (seen.teeth_share < 0.9)] = shared_mm
        said = replace(body, measured_mm=body.measured_mm + noise).with_noise_from(seen, AT, None).noise
        told.append((said.skin_sd_mm, said.teeth_sd_mm, said.correlation_px, said.inflation))
    assert told[0] == told[1]
    # a hundred pixels know a MAD to 8 %
    assert told[0][:2] == (pytest.approx(0.3, rel=0.06), pytest.approx(0.3, rel=0.25))


def test_the_spread_of_waves_is_learned_from_how_high_they_stand_and_how_well_that_is_known() -> None:
    """Sum of squares over the number of heights that the map, and not their prior, determines."""
    body = block(scene())
    count = body.skin.waves.count
    assert body.extra_precision[:count] == pytest.approx(np.full(count, 1 / 0.3**2))
    heights = np.zeros(len(body.extra_precision))
    heights[:count] = np.random.default_rng(0).normal(0.0, 0.15, count)
    variance = np.full(len(heights), 0.01)
    variance[:count] = np.linspace(0.01, 0.09, count)  # up to the prior's own: not determined at all
    covariance = np.diag(np.concatenate([np.ones(COUNT), variance]))
    seen, at = body.predict(AT), np.concatenate([AT, heights])
    noise = np.random.default_rng(1).normal(0.0, 0.3, seen.part.shape)
    body = replace(body, measured_mm=body.measured_mm + noise)
    expected = np.sqrt(np.sum(heights**2) / np.sum(1.0 - variance[:count] / 0.09))
    learned = body.with_noise_from(seen, at, covariance)
    assert learned.spread.wave_mm == pytest.approx(expected)
    assert learned.extra_precision[:count] == pytest.approx(np.full(count, expected**-2))
    assert body.with_noise_from(seen, at, None).spread.wave_mm == 0.3


def test_pixels_beside_nothing_are_left_out() -> None:
    """Where a tenth of the blur's weight falls beside the model: 1.28 sds from where it ends."""
    at = AT.copy()
    at[P.SMOOTHING_PX] = 2.4
    head = scene()
    narrow = np.concatenate([quad(24.5, 200.0, 300.0), head.points_mm[4:]])
    readable = block(replace(head, points_mm=narrow)).predict(at).readable
    # the wall ends 24.5 px right of column 60: its last pixel is column 84
    columns = np.flatnonzero(readable[20:80].any(0))
    assert (columns[0], columns[-1]) == (60 - 21, 60 + 21)


def test_the_fit_and_the_sandwich_see_the_same_slopes() -> None:
    body = block(scene(0.8))
    seen = body.predict(AT)
    slope = body.linear_of(seen).slope * body.sigma_mm(seen.teeth_share)[seen.used, None]
    np.testing.assert_allclose(slope, seen.all_slopes()[:, seen.used].T, rtol=1e-12, atol=1e-12)
    assert not seen.all_slopes()[:, ~seen.used].any()
    # skin that comes out along its normal comes nearer by more where it is slanted
    height = -slope[:, COUNT : COUNT + body.skin.waves.count].min(0)
    assert height.max() == pytest.approx(np.hypot(1.0, 0.8), rel=0.08)


def boxed(told: bool, sensor: SensorFilter = GAUSS) -> DepthBlock:
    """A block about teeth 8 mm behind the skin round them."""
    head = scene()
    behind = head.points_mm + np.where(head.with_teeth[:, None], [0.0, 0.0, -7.5], 0.0)
    return replace(block(replace(head, points_mm=behind)), told=told, sensor=sensor)


def test_a_filter_may_be_as_boxy_as_is_believed_and_a_named_one_hardly() -> None:
    assert boxed(False).extra_precision[-1] == pytest.approx(0.7**-2)
    assert boxed(True).extra_precision[-1] == pytest.approx(0.05**-2)


def test_a_box_is_a_gaussian_and_the_whole_of_its_boxiness() -> None:
    body = boxed(False)
    at = AT.copy()
    at[P.SMOOTHING_PX] = 1.5
    count = len(body.extra_precision)
    boxy = body.predict(np.concatenate([at, np.zeros(count - 1), [1.0]]))
    box = replace(body, sensor=SensorFilter(Kind.BOX)).predict(at)
    np.testing.assert_allclose(boxy.depth_mm, box.depth_mm, rtol=0, atol=1e-9)
    plain = body.predict(at)
    apart = (boxy.depth_mm - plain.depth_mm)[plain.used]
    np.testing.assert_allclose(plain.own_slopes[:, -1], apart, rtol=0, atol=1e-9)
    assert np.abs(apart).max() > 0.1


def shifted(body: DepthBlock, shift_px: float) -> DepthBlock:
    """The block with steps of its map off by shifts of this sd, and noise of 0.1 mm."""
    rng = np.random.default_rng(0)
    seen = body.predict(AT)
    steep = np.hypot(*np.gradient(seen.depth_mm))
    noise = rng.normal(0.0, 0.1, steep.shape)
    noise += shift_px * np.where(steep > 1.0, steep, 0.0) * rng.normal(size=steep.shape)
    noisy = replace(body, measured_mm=body.measured_mm + noise)
    at = np.concatenate([AT, np.zeros(len(body.extra_precision))])
    return noisy.with_noise_from(noisy.predict(AT), at, np.eye(len(at)))


@pytest.mark.parametrize(("shift_px", "trusted_px"), [(0.0, 0.1), (0.4, 0.4), (3.0, 1.0)])
def test_steps_are_trusted_as_far_as_the_map_bears_them_out(shift_px: float, trusted_px: float) -> None:
    assert shifted(boxed(True), shift_px).step_px == pytest.approx(trusted_px, rel=0.3)


def test_the_filter_that_a_table_names_is_kept_and_another_is_tried_without() -> None:
    made = boxed(True, SensorFilter(Kind.MEDIAN, 5))
    count = len(made.extra_precision)
    noise = np.random.default_rng(0).normal(0.0, 0.1, made.measured_mm.shape)
    measured = made.predict(AT).depth_mm + noise
    covariance = np.eye(COUNT + count)
    for told, found in ((True, GAUSS), (False, SensorFilter(Kind.MEDIAN, 5))):
        body = replace(boxed(told), measured_mm=measured)
        learned = body.with_noise_from(body.predict(AT), np.concatenate([AT, np.zeros(count)]), covariance)
        assert learned.sensor == found
