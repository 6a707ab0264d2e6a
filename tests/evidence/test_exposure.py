import numpy as np
import pytest

from bite.evidence.picture.exposure import exposure_of


def _gray(levels):
    return np.repeat(np.asarray(levels, np.uint8)[..., None], 3, 2)


def test_a_ramp_fills_the_published_bins():
    ramp = _gray(np.arange(256).reshape(16, 16))
    found = exposure_of(ramp, np.ones((16, 16), bool))
    assert found.over.value == pytest.approx(9 / 256)  # 247 to 255
    assert found.under.value == pytest.approx(26 / 256)  # 0 to 25
    assert found.median_luminance == pytest.approx(127.5)


def test_pixels_outside_the_mask_do_not_count():
    picture = _gray(np.full((20, 20), 255))
    picture[5:15, 5:15] = 150
    mask = np.zeros((20, 20), bool)
    mask[5:15, 5:15] = True
    found = exposure_of(picture, mask)
    assert (found.over.value, found.under.value, found.median_luminance) == (0.0, 0.0, pytest.approx(150))
    assert found.over.sd > 0  # a share of 0 in 100 pixels is not known exactly


def test_one_glint_against_many():
    spot, many = np.full((40, 40), 180), np.full((40, 40), 180)
    spot[10:16, 10:16] = 255
    many[::7, ::7] = 255
    mask = np.ones((40, 40), bool)
    one = exposure_of(_gray(spot), mask, mm_per_px=0.2)
    all_over = exposure_of(_gray(many), mask, mm_per_px=0.2)
    assert one.over.value == pytest.approx(all_over.over.value)
    assert one.largest_clipped_share == pytest.approx(36 / 1600)
    assert one.largest_clipped_mm2 == pytest.approx(36 * 0.04)
    assert all_over.largest_clipped_share == pytest.approx(1 / 1600)
    # a clump is fewer independent pixels, so its share is known less well
    assert one.over.sd > 1.5 * all_over.over.sd


@pytest.mark.slow
def test_sd_of_the_share_matches_drawn_pictures():
    rng = np.random.default_rng(5)
    mask = np.ones((40, 40), bool)
    shares, sds = [], []
    for _ in range(200):
        levels = np.clip(rng.normal(225, 15, (40, 40)), 0, 255)
        found = exposure_of(_gray(levels), mask)
        shares.append(found.over.value)
        sds.append(found.over.sd)
    # sd of a sd from 200 draws is 5 %
    assert np.mean(sds) / np.std(shares) == pytest.approx(1.0, abs=0.2)


def test_an_empty_mask_is_refused():
    with pytest.raises(ValueError, match="empty"):
        exposure_of(_gray(np.zeros((4, 4))), np.zeros((4, 4), bool))
    with pytest.raises(ValueError, match="needed bool"):
        exposure_of(_gray(np.zeros((4, 4))), np.ones((4, 5), bool))
