"""Matching: unbiased, with a true sd, and nothing where there is nothing to match."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from bite.evidence.stereo.match import match
from bite.evidence.stereo.refine import beside_step, local_plane, refined
from bite.evidence.stereo.row_spline import sample_rows, sample_values
from bite.evidence.stereo.rows import rows_off
from bite.evidence.stereo.search import searched, stretched
from bite.evidence.stereo.sigma import ASSUMED_FLOOR_PX, sigma_parts
from bite.evidence.stereo.support import centred, distinct, textured
from tests.evidence.stereo_scenes import pair, robust_sd

SHAPE = (220, 300)
Y, X = np.mgrid[: SHAPE[0], : SHAPE[1]].astype(float)
SURFACES = {
    "flat": 17.3 + 0 * X,
    "slanted": 12.0 + 0.04 * X + 0.02 * Y,
    "curved": 20.0 + 3.0 * np.sin(X / 50.0) * np.cos(Y / 60.0),
}


@pytest.mark.parametrize("kind", SURFACES)
@pytest.mark.parametrize("gain", [1.0, 0.8])
def test_disparities_are_unbiased_and_scatter_as_stated(kind, gain):
    left, right = pair(SHAPE, SURFACES[kind], contrast=6.0, gain=gain)
    found = match(left, right, 32.0)
    error = (found.disparity_px - SURFACES[kind])[:, 40:]
    seen = np.isfinite(error)
    assert seen.mean() > 0.8
    # some 1000 independent patches of sd 0.06 px: the mean is known to 0.002 px, five of them are 0.01
    assert abs(np.median(error[seen])) < 0.01
    standardised = robust_sd(error[seen] / found.sigma_px[:, 40:][seen])
    assert 0.8 < standardised < 1.2
    assert (np.abs(error[seen]) > 1.0).mean() < 0.002


@pytest.mark.slow
def test_more_noise_or_less_texture_is_told():
    sigma = []
    for contrast, noise in ((5.0, 1.0), (6.0, 1.5), (6.0, 2.0)):
        found = match(*pair(SHAPE, 17.3, contrast=contrast, noise=noise), 32.0)
        error = (found.disparity_px - 17.3)[:, 40:]
        sigma.append(float(np.nanmedian(found.sigma_px)))
        assert 0.7 < robust_sd(error) / sigma[-1] < 1.3
    assert sigma[0] < sigma[1] < sigma[2]


def test_no_place_is_pulled_to_whole_pixels():
    off = []
    for share in (0.0, 0.25, 0.5, 0.75):
        found = match(*pair((120, 240), 14.0 + share, contrast=5.0, seed=4), 24.0)
        off.append(float(np.nanmedian(found.disparity_px[:, 30:])) - 14.0 - share)
    # each is known to 0.005 px
    assert np.abs(off).max() < 0.02


def test_smooth_enamel_between_textured_lips_is_not_filled_in():
    contrast = np.where((Y > 80) & (Y < 140), 0.0, 10.0)
    left, right = pair(SHAPE, 15.0 + 0.02 * Y, contrast=contrast, noise=0.3)
    found = match(left, right, 32.0)
    seen = np.isfinite(found.disparity_px)
    assert seen[:70, 40:].mean() > 0.75 and seen[150:, 40:].mean() > 0.75
    assert seen[90:130].mean() < 0.02
    # the search alone fills a good part of it: that is what must not come through
    assert np.isfinite(searched(left, right, 32.0))[90:130, 40:].mean() > 0.1


def test_one_strong_edge_on_smooth_enamel_does_not_measure_what_lies_beside_it():
    contrast = np.where((Y > 80) & (Y < 140), 0.0, 10.0)
    left, right = pair(SHAPE, 15.0, contrast=contrast)
    for picture, at in ((left, 150.0), (right, 135.0)):
        picture[80:141] -= 60.0 * np.exp(-0.5 * ((X[80:141] - at) / 1.0) ** 2)
    seen = np.isfinite(match(left, right, 32.0).disparity_px)
    beside = seen[95:125, 135:146].mean() + seen[95:125, 155:166].mean()
    assert beside < 0.02


def test_a_repeating_pattern_is_not_matched():
    left = 128.0 + 50.0 * np.sin(2 * np.pi * (X - 12.0) / 4.0) + np.random.default_rng(1).normal(0, 1, SHAPE)
    right = 128.0 + 50.0 * np.sin(2 * np.pi * X / 4.0) + np.random.default_rng(2).normal(0, 1, SHAPE)
    assert np.isfinite(match(left, right, 32.0).disparity_px).mean() < 0.02


def test_steps_keep_their_distance():
    disparity = np.where(X < 150, 12.0, 20.0)
    found = match(*pair(SHAPE, disparity, contrast=10.0), 32.0)
    seen = np.isfinite(found.disparity_px)
    off = np.abs(found.disparity_px - disparity)
    assert (off[seen & (X > 40)] > 1.0).mean() < 0.01
    assert beside_step(disparity)[100, 148:152].all() and not beside_step(disparity)[100, 140]


def test_outside_and_nothing_seen():
    left, right = pair(SHAPE, 15.0)
    left[:, 200:] = np.nan
    found = match(left, right, 32.0)
    assert not np.isfinite(found.disparity_px[:, 200:]).any() and np.isfinite(found.disparity_px).any()
    empty = np.full(SHAPE, np.nan)
    for a, b in ((empty, right), (left, empty), (left * 0 + 128.0, right * 0 + 128.0)):
        nothing = match(a, b, 32.0)
        assert not np.isfinite(nothing.disparity_px).any() and not nothing.scatter.measured


def test_few_places_say_that_their_scatter_is_assumed():
    found = match(*pair((40, 100), 9.0), 16.0)
    assert not found.scatter.measured and found.scatter.floor_px == ASSUMED_FLOOR_PX


@pytest.mark.parametrize(("length_px", "least"), [(40.0, 0.95), (20.0, 0.6)])
def test_waves_longer_than_a_patch_are_kept(length_px, least):
    # a plain average over a patch of sd 2.5 px would keep 0.93 and 0.73 of them
    wave = np.sin(2 * np.pi * Y / length_px)
    left, right = pair(SHAPE, 16.0 + wave, contrast=12.0, noise=0.5, grain_px=0.8)
    found = match(left, right, 32.0).disparity_px
    seen = np.isfinite(found)
    kept = float((found[seen] - 16.0) @ wave[seen] / (wave[seen] @ wave[seen]))
    assert least < kept < 1.05


def test_planes_are_kept_at_the_rim_of_what_is_known():
    plane, slope = local_plane(5.0 + 0.3 * X - 0.1 * Y, X > 120)
    # the inner pixels exactly; at the rim a floor on the slope's own certainty leaves a few hundredths
    assert np.abs(plane - (5.0 + 0.3 * X - 0.1 * Y))[12:-12, 123:-12].max() < 0.15
    assert np.allclose(slope[20:-20, 140:-20], 0.3, atol=0.03)


def test_rows_are_read_between_pixels():
    from scipy.ndimage import spline_filter1d

    row = gaussian_filter(np.random.default_rng(5).normal(size=(4, 400)), (0, 3.0))
    coefficients = spline_filter1d(row, 3, axis=1, mode="mirror")
    at = np.broadcast_to(np.arange(400) * 0.5 + 100.3, (4, 400))
    value, slope = sample_rows(coefficients, at)
    ahead, behind = (sample_rows(coefficients, at + step)[0] for step in (1e-4, -1e-4))
    assert np.abs((ahead - behind) / 2e-4 - slope).max() < 1e-6
    whole, _ = sample_rows(coefficients, np.broadcast_to(np.arange(400.0), (4, 400)))
    assert np.abs(whole - row)[:, 2:-3].max() < 1e-9
    assert value.shape == (4, 400)
    np.testing.assert_array_equal(sample_values(coefficients, at), value)


def test_support_of_a_patch():
    left, right = pair(SHAPE, 15.0, contrast=8.0)
    shifts = refined(left, right, np.full(SHAPE, 15.0))
    parts = sigma_parts(shifts)
    inner = np.s_[20:-20, 40:-20]
    for test in (textured(shifts, parts), distinct(left, right, shifts), centred(shifts)):
        assert test[inner].mean() > 0.9
    noise = np.random.default_rng(8)
    flat = [128.0 + noise.normal(0, 1.0, SHAPE) for _ in range(2)]
    shifts = refined(*flat, np.full(SHAPE, 15.0))
    assert textured(shifts, sigma_parts(shifts))[inner].mean() < 0.05


def test_brightness_and_contrast_are_brought_together():
    a, b = stretched(np.linspace(0, 100, 900).reshape(30, 30), np.linspace(50, 250, 900).reshape(30, 30))
    assert np.abs(a.astype(int) - b.astype(int)).max() <= 1


def test_rows_that_do_not_agree_are_found():
    left, right = pair((200, 300), 12.0, grain_px=2.0)
    assert rows_off(left, right, 32.0).calibrated
    for down in (-6, 3, 9):
        found = rows_off(left, np.roll(right, down, 0), 32.0)
        assert not found.calibrated and found.down_px == pytest.approx(down, abs=0.1)


def test_nothing_alike_says_nothing_of_the_rows():
    left, _ = pair((200, 300), 12.0, grain_px=2.0)
    right, _ = pair((200, 300), 12.0, grain_px=2.0, seed=99)
    assert rows_off(left, right, 32.0).calibrated
    assert rows_off(left * 0, right * 0, 32.0).places == 0


def test_outlines_that_slide_are_no_fault_of_the_calibration():
    # a bright slanted shape before a dark wall: its outline is the strongest thing in both pictures, and seen
    # from two places it is not the same line
    left, right = pair((300, 400), 12.0, grain_px=2.0, contrast=3.0)
    rows, columns = np.mgrid[:300, :400]
    left[columns < 120 + 0.3 * rows] = 20.0
    right[columns < 118 + 0.24 * rows] = 20.0
    assert rows_off(left, right, 32.0).calibrated


def test_a_camera_rolled_about_its_axis_is_found():
    from scipy.ndimage import map_coordinates

    left, right = pair((300, 400), 12.0, grain_px=2.0)
    rows, columns = np.mgrid[:300, :400].astype(float)
    rolled = map_coordinates(right, [rows + 0.03 * (columns - 200.0), columns], order=1, mode="nearest")
    found = rows_off(left, rolled, 32.0)
    assert not found.calibrated and abs(found.down_px) < 1.0 < found.off_px


def test_what_lies_about_the_known_part_changes_nothing():
    """Sums run over the known part alone: cut off what lies about it, and the rest stays as it was."""
    left, right = pair(SHAPE, SURFACES["slanted"], contrast=6.0)
    start = np.where((X > 60) & (X < 260) & (Y > 30) & (Y < 190), SURFACES["slanted"], np.nan)
    cut = (slice(20, 200), slice(0, 290))
    whole, part = (refined(left[c], right[c], start[c]) for c in (np.s_[:, :], cut))
    # the spline of a row that ends earlier differs by a quarter of its value a pixel before: 0.27^30 is 1e-17
    for name in ("disparity_px", "residual", "weight", "plane_px", "spread_energy"):
        mine, other = getattr(whole, name)[cut][whole.known[cut]], getattr(part, name)[part.known]
        np.testing.assert_allclose(mine, other, rtol=0, atol=1e-9)
    np.testing.assert_array_equal(distinct(left, right, whole)[cut], distinct(left[cut], right[cut], part))
