from functools import cache

import numpy as np
import pytest
from scipy import ndimage

from bite.evidence.enamel.below_edge import Below, read_below_edge
from bite.evidence.enamel.below_lines import LineKind
from bite.evidence.enamel.valley import unblurred

FINE = 4
ENAMEL, LOWER_ENAMEL, LIP, CAVITY = (214, 205, 186), (196, 186, 165), (170, 95, 90), (30, 18, 16)
TONGUE = (150, 80, 78)


@cache
def _levels(
    gap_mm, *, mm, blur_px, roll, lower, cavity, shadow_mm, shadow_light, lip_mm, lip, lower_enamel
):
    """Draw a mouth without noise, once for its grey and its coloured picture."""
    height, width = 130, 160
    y, x = np.mgrid[0 : height * FINE, 0 : width * FINE]
    x, y = ((x + 0.5) / FINE - 0.5 - 80) * mm, ((y + 0.5) / FINE - 0.5 - 60) * mm
    c, s = np.cos(np.deg2rad(roll)), np.sin(np.deg2rad(roll))
    along, down = x * c + y * s, -x * s + y * c
    fine = np.empty((height * FINE, width * FINE, 3))
    fine[:] = cavity
    if lower:
        for k in range(-3, 3):
            fine[(along > k * 5.4 + 0.1) & (along < k * 5.4 + 5.3) & (down > gap_mm)] = lower_enamel
        if gap_mm <= 0:
            fine[(down > 0) & (down < shadow_mm)] *= shadow_light
    for centre, half in ((-12.0, 3.4), (-4.3, 4.3), (4.3, 4.3), (12.0, 3.4)):
        away = np.abs(along - centre)
        fine[(away < half - 0.08) & (down < -((away / half) ** 8)) & (down > -12)] = ENAMEL
    fine[down < -8] = lip
    fine[down > lip_mm] = lip
    levels = ndimage.gaussian_filter(fine, (blur_px * FINE, blur_px * FINE, 0))
    return levels.reshape(height, FINE, width, FINE, 3).mean((1, 3))


def _mouth(
    gap_mm,
    *,
    mm=0.2,
    blur_px=1.2,
    noise=2.0,
    seed=0,
    roll=0.0,
    lower=True,
    gray=False,
    cavity=CAVITY,
    shadow_mm=0.3,
    shadow_light=0.55,
    lip_mm=7.5,
    lip=LIP,
    lower_enamel=LOWER_ENAMEL,
):
    """Draw a mouth, lower edges ``gap_mm`` below the upper ones; negative: behind them, in a shadow line."""
    levels = _levels(
        gap_mm,
        mm=mm,
        blur_px=blur_px,
        roll=roll,
        lower=lower,
        cavity=cavity,
        shadow_mm=shadow_mm,
        shadow_light=shadow_light,
        lip_mm=lip_mm,
        lip=lip,
        lower_enamel=lower_enamel,
    )
    levels = levels + np.random.default_rng(seed).normal(0, noise, levels.shape)
    picture = np.clip(np.rint(levels), 0, 255).astype(np.uint8)
    if gray:
        picture = np.repeat(picture[..., 1:2], 3, 2)
    c, s = np.cos(np.deg2rad(roll)), np.sin(np.deg2rad(roll))
    edge = np.array([[-8.4, -0.3], [-0.2, 0.0], [0.2, 0.0], [8.4, -0.3]])
    return picture, edge @ np.array([[c, s], [-s, c]]) / mm + [80, 60], (-s, c)


def _read(gap_mm, **scene):
    mm, blur_px = scene.get("mm", 0.2), scene.get("blur_px", 1.2)
    picture, edge, down = _mouth(gap_mm, **scene)
    return read_below_edge(
        picture, edge, down=down, mm_per_px=mm, blur_sigma_px=np.hypot(blur_px, 0.29), reach_mm=8.0
    )


@pytest.mark.parametrize(("mm", "blur_px"), [(0.2, 0.7), (0.2, 1.2), (0.2, 2.0), (0.35, 1.2)])
@pytest.mark.parametrize("gap_mm", [1.0, 1.5, 2.0, 3.0, 4.0])
@pytest.mark.parametrize("gray", [False, True])
def test_known_gaps_are_measured_in_colour_and_in_gray(gap_mm, mm, blur_px, gray):
    found = _read(gap_mm, mm=mm, blur_px=blur_px, gray=gray)
    # 0.03 mm: the drawing's own grid of a quarter of a pixel, plus three stated sd
    assert abs(found.band_mm - gap_mm) < 0.03 + 3 * found.band_sd_mm
    assert abs(found.band_mm - gap_mm) < 0.1
    if gap_mm >= 2.0:
        assert found.kind is Below.APART and found.share > 0.95
    assert found.kind in (Below.APART, Below.DOUBT)


@pytest.mark.parametrize("shadow_light", [0.3, 0.55, 0.8, 1.0])
@pytest.mark.parametrize("blur_px", [0.7, 1.2, 2.0])
def test_a_shadow_line_is_closed_in_colour_and_unsaid_in_gray(blur_px, shadow_light):
    found = _read(-2.0, blur_px=blur_px, shadow_light=shadow_light)
    # the lip begins at 7.5 mm, the shadow ends at 0.3; colour and blur reach beyond both
    assert found.kind is Below.ENAMEL and 6.3 < found.shown_mm < 8.1
    gray = _read(-2.0, blur_px=blur_px, shadow_light=shadow_light, gray=True)
    assert gray.kind is Below.UNSEEN and gray.shown_mm is None and not gray.colour_used


def test_a_wide_soft_shadow_is_no_opening():
    assert _read(-2.0, shadow_mm=1.4, shadow_light=0.75).kind is Below.ENAMEL


@pytest.mark.parametrize(
    ("lip", "gray"),
    [
        *(((170, 95, 90), gray) for gray in (False, True)),
        *(((120, 80, 72), gray) for gray in (False, True)),
        *(((92, 70, 62), gray) for gray in (False, True)),
        ((150, 40, 60), False),  # lipstick; seen by green light alone it is as dark as an open mouth
    ],
)
def test_a_lip_at_the_edge_is_unseen_whatever_its_shade(lip, gray):
    found = _read(0.0, lower=False, lip_mm=0.4, gray=gray, lip=lip)
    assert found.kind is Below.UNSEEN and found.shown_mm is None


@pytest.mark.parametrize("gray", [False, True])
def test_dark_with_a_lip_below_it_is_an_opening(gray):
    found = _read(0.0, lower=False, lip_mm=2.2, gray=gray)
    assert found.kind is Below.APART and found.band_mm == pytest.approx(2.2, abs=0.15)
    # the band must be what says so: half a millimetre of it is a shadow
    assert _read(0.0, lower=False, lip_mm=0.5, gray=gray).kind is Below.UNSEEN


@pytest.mark.parametrize("gray", [False, True])
def test_black_to_the_end_is_at_least_a_doubt(gray):
    assert _read(0.0, lower=False, gray=gray, lip_mm=50.0).kind is Below.DOUBT


def test_dim_lower_teeth_below_a_shadow_are_not_called_closed():
    assert _read(-2.0, lower_enamel=(104, 98, 86)).kind is Below.UNSEEN


@pytest.mark.parametrize("roll", [-70, 35, 180])
def test_roll_changes_nothing(roll):
    found = _read(2.0, roll=roll)
    assert found.kind is Below.APART and found.band_mm == pytest.approx(2.0, abs=0.1)


def test_clicks_half_a_millimetre_off_change_nothing():
    picture, edge, down = _mouth(2.0)
    for shift in (-2.5, 2.5):
        found = read_below_edge(
            picture, edge + np.array([0, shift]), down=down, mm_per_px=0.2, blur_sigma_px=1.2, reach_mm=8.0
        )
        assert found.kind is Below.APART and found.band_mm == pytest.approx(2.0, abs=0.1)


def test_two_corners_do_and_an_unfamiliar_scale_widens_the_answer():
    picture, edge, down = _mouth(2.0)
    found = read_below_edge(picture, edge[[0, 3]], down=down, mm_per_px=0.2, blur_sigma_px=1.2, reach_mm=8.0)
    assert found.band_mm == pytest.approx(2.0, abs=0.1)
    wide = read_below_edge(
        picture, edge, down=down, mm_per_px=0.2, mm_per_px_sd=0.014, blur_sigma_px=1.2, reach_mm=8.0
    )
    assert wide.band_sd_mm > 0.07 * 2.0


def test_lines_outside_are_not_read():
    picture, edge, down = _mouth(1.5)
    outside = read_below_edge(picture, edge + np.array([0, 500]), down=down, mm_per_px=0.2)
    assert outside.kind is Below.NOT_READ and outside.lines_read == 0 and outside.band_mm is None
    assert (outside.lines == LineKind.NOT_READ).all()


def test_a_picture_that_ends_below_the_teeth_is_read_as_far_as_it_goes():
    picture, edge, down = _mouth(2.0)
    found = read_below_edge(picture[:90], edge, down=down, mm_per_px=0.2, blur_sigma_px=1.2)
    assert found.kind is Below.APART


def test_bad_calls_are_refused():
    picture, edge, down = _mouth(1.5)
    with pytest.raises(ValueError, match="1 edge points"):
        read_below_edge(picture, edge[:1], down=down, mm_per_px=0.2)
    with pytest.raises(ValueError, match="needed 2 or more and a scale"):
        read_below_edge(picture, edge, down=down, mm_per_px=0.0)


def test_blur_is_taken_out_exactly_of_a_box():
    x = np.linspace(-30, 30, 60001)
    from scipy.special import ndtr

    for width in (1.5, 3.0, 6.0):
        image = ndtr((x + width / 2) / 1.3) - ndtr((x - width / 2) / 1.3)
        seen = np.ptp(x[image > 0.5 * image.max()])
        assert unblurred(np.array([seen]), 1.3)[0] == pytest.approx(width, abs=0.01)
