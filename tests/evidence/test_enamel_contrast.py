import numpy as np
import pytest
from scipy import stats

from bite.evidence.enamel.contrast import ContrastBasis, enamel_contrast, ring_around

ENAMEL, LIP, CAVITY = (214, 205, 186), (170, 95, 90), (30, 18, 16)


def _strip(rng, enamel=ENAMEL, around=LIP, noise=8.0):
    picture = np.empty((60, 120, 3))
    picture[:] = around
    picture[20:40, 30:90] = enamel
    picture += rng.normal(0, noise, picture.shape)
    mask = np.zeros((60, 120), bool)
    mask[20:40, 30:90] = True
    return np.clip(np.rint(picture), 0, 255).astype(np.uint8), mask


@pytest.mark.parametrize("around", [LIP, CAVITY])
def test_teeth_stand_out_from_lips_and_cavity(around):
    picture, mask = _strip(np.random.default_rng(0), around=around)
    found = enamel_contrast(picture, mask, ring_around(mask, guard_px=2, width_px=8))
    assert found.basis is ContrastBasis.COLOUR
    assert found.separability > 0.99 and found.separability_sd < 0.01
    assert found.lighter > 5 * found.lighter_sd


def test_lips_where_the_teeth_should_be_score_below_a_half():
    picture, mask = _strip(np.random.default_rng(0), enamel=LIP, around=ENAMEL)
    found = enamel_contrast(picture, mask, ring_around(mask, guard_px=2, width_px=8))
    assert found.separability < 0.01 and found.lighter < 0 and found.less_red < 0


def test_a_region_moved_off_the_teeth_scores_less():
    """Less with every step until it has left them; beyond that the ring leaves them too, and all is alike."""
    picture, mask = _strip(np.random.default_rng(0))
    scores = []
    for shift in (0, 5, 10, 15, 20):
        moved = np.roll(mask, shift, 0)  # rows 20 to 39 move within the picture's 60
        ring = ring_around(moved, guard_px=2, width_px=8)
        scores.append(enamel_contrast(picture, moved, ring).separability)
    assert scores == sorted(scores, reverse=True)
    assert scores[0] > 0.99 and scores[-1] < 0.5


def test_alike_is_a_half_within_its_sd():
    z = []
    for seed in range(60):
        picture, mask = _strip(np.random.default_rng(seed), enamel=LIP, around=LIP)
        found = enamel_contrast(picture, mask, ring_around(mask, guard_px=2, width_px=8))
        z.append((found.separability - 0.5) / found.separability_sd)
    # 60 draws: mean within 3.3 / sqrt(60), sd within 30 %
    assert abs(np.mean(z)) < 0.43 and np.std(z) == pytest.approx(1.0, abs=0.3)


def test_a_gray_picture_goes_by_lightness_and_says_so():
    picture, mask = _strip(np.random.default_rng(0), (200, 200, 200), (120, 120, 120), noise=0.0)
    noise = np.random.default_rng(1).normal(0, 8, (60, 120, 1))
    picture = np.clip(np.rint(picture + noise), 0, 255).astype(np.uint8)
    found = enamel_contrast(picture, mask, ring_around(mask, guard_px=2, width_px=8))
    assert found.basis is ContrastBasis.LIGHTNESS
    assert found.less_red is None and found.less_red_sd is None
    assert found.separability > 0.99


def test_redness_tells_pale_enamel_from_equally_light_skin():
    picture, mask = _strip(np.random.default_rng(0), (170, 165, 150), (205, 150, 140))
    found = enamel_contrast(picture, mask, ring_around(mask, guard_px=2, width_px=8))
    assert abs(found.lighter) < 2.0
    assert found.less_red > 3 * found.less_red_sd and found.separability > 0.9


def test_separability_is_the_mann_whitney_statistic():
    rng = np.random.default_rng(2)
    levels = rng.integers(90, 130, (20, 40))
    levels[:, 20:] += 8
    picture = np.repeat(levels[..., None], 3, 2).astype(np.uint8)
    mask = np.zeros((20, 40), bool)
    mask[:, 20:] = True
    found = enamel_contrast(picture, mask, ~mask)
    u = stats.mannwhitneyu(levels[mask], levels[~mask]).statistic
    assert found.separability == pytest.approx(u / 400**2, abs=1e-12)


def test_ring_keeps_its_distance():
    mask = np.zeros((40, 40), bool)
    mask[18:22, 18:22] = True
    ring = ring_around(mask, guard_px=3, width_px=4)
    assert not ring[17, 20] and not ring[15, 20] and ring[14, 20] and ring[11, 20] and not ring[10, 20]
    assert not ring_around(np.zeros((4, 4), bool), guard_px=1, width_px=2).any()


def test_too_few_pixels_are_refused():
    picture, mask = _strip(np.random.default_rng(0))
    with pytest.raises(ValueError, match="surroundings hold 0 pixels"):
        enamel_contrast(picture, mask, mask)
