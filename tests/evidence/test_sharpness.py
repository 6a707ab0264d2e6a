import numpy as np
import pytest
from scipy import ndimage

from bite.evidence.picture.edge_fit import fit_steps
from bite.evidence.picture.scan_lines import sample_lines
from bite.evidence.picture.sharpness import RISE_PER_SIGMA, sharpness_at_edges

FINE = 8
UPRIGHT = np.array([[[50.0, 20.0], [50.0, 80.0]]])
LEVEL = np.array([[[20.0, 50.0], [80.0, 50.0]]])
APERTURE = 1 / 12


def _draw(shape_of, blur_px, *, noise=0.0, motion_px=0.0, size=100, seed=0):
    """Draw on an 8 times finer grid, blur, average to pixels: their aperture adds a variance of 1/12 px^2."""
    y, x = (np.mgrid[0 : size * FINE, 0 : size * FINE] + 0.5) / FINE - 0.5
    fine = np.where(shape_of(x, y), 200.0, 60.0)
    fine = ndimage.gaussian_filter(fine, blur_px * FINE)
    if motion_px:
        fine = ndimage.uniform_filter1d(fine, round(motion_px * FINE), axis=1)
    levels = fine.reshape(size, FINE, size, FINE).mean((1, 3))
    levels = levels + np.random.default_rng(seed).normal(0, noise, levels.shape)
    return np.repeat(np.clip(np.rint(levels), 0, 255).astype(np.uint8)[..., None], 3, 2)


def _slanted(x, y):
    return (x - 50) * np.cos(0.07) + (y - 50) * np.sin(0.07) > 0


@pytest.mark.parametrize("noise", [0.0, 2.0, 5.0])
@pytest.mark.parametrize("blur_px", [0.6, 1.0, 2.0, 4.0, 6.0])
def test_edge_width_is_the_known_blur(blur_px, noise):
    found = sharpness_at_edges(_draw(_slanted, blur_px, noise=noise), UPRIGHT, half_length_px=20).sideways
    truth = np.sqrt(blur_px**2 + APERTURE)
    # 5 % for interpolation (worst below 1 px, where the picture itself is undersampled) and 3 sd of the noise
    assert abs(found.sigma_px - truth) < 0.05 * truth + 3 * found.sigma_sd_px
    assert found.lines_used > 50
    assert found.rise_px == pytest.approx(RISE_PER_SIGMA * found.sigma_px)


@pytest.mark.slow
def test_stated_sd_matches_the_scatter_over_pictures():
    found = [
        sharpness_at_edges(_draw(_slanted, 1.5, noise=4.0, seed=k), UPRIGHT, half_length_px=15).sideways
        for k in range(30)
    ]
    scatter = np.std([w.sigma_px for w in found], ddof=1)
    # sd of a sd from 30 draws is 13 %; the stated one leaves room for edges that are not alike
    assert 0.6 < np.mean([w.sigma_sd_px for w in found]) / scatter < 2.0


def test_motion_shows_its_direction():
    def corner(x, y):
        return (x > 50) & (y > 50)

    sides = np.array([[[50.0, 62.0], [50.0, 92.0]], [[62.0, 50.0], [92.0, 50.0]]])
    still = sharpness_at_edges(_draw(corner, 0.8, noise=2.0), sides, half_length_px=12)
    moved = sharpness_at_edges(_draw(corner, 0.8, noise=2.0, motion_px=6.0), sides, half_length_px=12)
    assert still.sideways.sigma_px == pytest.approx(still.up_down.sigma_px, rel=0.1)
    assert moved.up_down.sigma_px == pytest.approx(still.up_down.sigma_px, rel=0.1)
    added = np.sqrt(moved.sideways.sigma_px**2 - still.sideways.sigma_px**2)
    assert (
        0.29 * 6 < added < 0.35 * 6
    )  # a box of length L has sd 0.289 L; the fitted step reads a little more
    assert moved.worst is moved.sideways
    rolled = sharpness_at_edges(
        _draw(corner, 0.8, noise=2.0, motion_px=6.0), sides, across=(0.0, 1.0), half_length_px=12
    )
    assert rolled.worst is rolled.up_down  # along the row of a picture rolled by 90 degrees


@pytest.mark.parametrize("width_px", [1.0, 2.0, 3.0])
def test_a_thin_dark_line_is_not_taken_for_a_step(width_px):
    picture = _draw(lambda x, y: np.abs(x - 50) > width_px / 2, 1.2, noise=2.0)
    found = sharpness_at_edges(picture, UPRIGHT, half_length_px=15)
    assert found.sideways is None
    assert "clean step" in found.sideways_reason


def test_no_edge_gives_a_reason():
    flat = _draw(lambda x, y: x > 1e9, 1.0, noise=3.0)
    found = sharpness_at_edges(flat, UPRIGHT, half_length_px=15)
    assert found.sideways is None and found.worst is None
    assert found.sideways_reason.startswith("0 of 60 scan lines")
    assert found.up_down_reason == "no candidate edge runs this way"


def test_an_edge_wider_than_the_scan_lines_is_refused():
    found = sharpness_at_edges(_draw(_slanted, 6.0), UPRIGHT, half_length_px=6)
    assert found.sideways is None


def test_bad_candidates_do_not_spoil_good_ones():
    picture = _draw(_slanted, 1.5, noise=2.0)
    mixed = np.concatenate([UPRIGHT, UPRIGHT + 30.0, [[[10.0, 10.0], [10.0, 90.0]]]])
    alone = sharpness_at_edges(picture, UPRIGHT, half_length_px=15).sideways
    among = sharpness_at_edges(picture, mixed, half_length_px=15).sideways
    assert among.sigma_px == pytest.approx(alone.sigma_px, rel=0.03)
    assert among.lines_tried > alone.lines_tried


def test_scan_lines_leave_the_picture_as_nan():
    plane = np.tile(np.arange(30.0), (20, 1))
    out = sample_lines(plane, np.array([[10.5, 5.0]]), np.array([[1.0, 0.0]]), np.array([0.0, 3.25, 40.0]))
    assert out[0, :2] == pytest.approx([10.5, 13.75], abs=1e-6) and np.isnan(out[0, 2])


def test_step_fit_recovers_every_parameter():
    s = np.arange(-15, 15, 0.5)
    from scipy.special import ndtr

    values = np.stack(
        [40 + 100 * ndtr((s - 2.3) / 1.7), 180 - 90 * ndtr((s + 4.1) / 3.0), np.full(len(s), np.nan)]
    )
    found = fit_steps(values, s)
    assert found.place_px[:2] == pytest.approx([2.3, -4.1], abs=1e-3)
    assert found.sigma_px[:2] == pytest.approx([1.7, 3.0], abs=1e-3)
    assert found.step[:2] == pytest.approx([100, -90], abs=0.05)
    assert np.isnan(found.sigma_px[2]) and not found.complete[2]
