import numpy as np
import pytest
from scipy import ndimage

from bite.evidence.enamel.band import black_width, unblurred
from bite.evidence.enamel.gap_scan import LineKind, scan_gap

FINE = 4
ENAMEL, LOWER_ENAMEL, LIP, CAVITY = (214, 205, 186), (196, 186, 165), (170, 95, 90), (30, 18, 16)
TONGUE = (150, 80, 78)


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
):
    """Draw a mouth, lower edges ``gap_mm`` below the upper ones; negative: behind them, in a shadow line."""
    height, width = 130, 160
    y, x = np.mgrid[0 : height * FINE, 0 : width * FINE]
    x, y = ((x + 0.5) / FINE - 0.5 - 80) * mm, ((y + 0.5) / FINE - 0.5 - 60) * mm
    c, s = np.cos(np.deg2rad(roll)), np.sin(np.deg2rad(roll))
    along, down = x * c + y * s, -x * s + y * c
    fine = np.empty((height * FINE, width * FINE, 3))
    fine[:] = cavity
    if lower:
        for k in range(-3, 3):
            fine[(along > k * 5.4 + 0.1) & (along < k * 5.4 + 5.3) & (down > gap_mm)] = LOWER_ENAMEL
        if gap_mm <= 0:
            fine[(down > 0) & (down < shadow_mm)] *= shadow_light
    for centre, half in ((-12.0, 3.4), (-4.3, 4.3), (4.3, 4.3), (12.0, 3.4)):
        away = np.abs(along - centre)
        fine[(away < half - 0.08) & (down < -((away / half) ** 8)) & (down > -12)] = ENAMEL
    fine[down < -8] = LIP
    fine[down > lip_mm] = LIP
    levels = ndimage.gaussian_filter(fine, (blur_px * FINE, blur_px * FINE, 0))
    levels = levels.reshape(height, FINE, width, FINE, 3).mean((1, 3))
    levels = levels + np.random.default_rng(seed).normal(0, noise, levels.shape)
    picture = np.clip(np.rint(levels), 0, 255).astype(np.uint8)
    if gray:
        picture = np.repeat(picture[..., 1:2], 3, 2)
    edge = np.array([[-8.4, -0.3], [-0.2, 0.0], [0.2, 0.0], [8.4, -0.3]])
    return picture, edge @ np.array([[c, s], [-s, c]]) / mm + [80, 60], (-s, c)


def _scan(gap_mm, *, blur_sd_px=0.15, **scene):
    mm, blur_px = scene.get("mm", 0.2), scene.get("blur_px", 1.2)
    picture, edge, down = _mouth(gap_mm, **scene)
    return scan_gap(
        picture,
        edge,
        down=down,
        mm_per_px=mm,
        blur_sigma_px=np.hypot(blur_px, 0.29),
        blur_sigma_sd_px=blur_sd_px,
    )


@pytest.mark.parametrize(("mm", "blur_px"), [(0.2, 0.7), (0.2, 1.2), (0.2, 2.0), (0.35, 1.2)])
@pytest.mark.parametrize("gap_mm", [0.5, 1.0, 1.5, 2.0, 3.0, 4.0])
def test_known_gaps(gap_mm, mm, blur_px):
    found = _scan(gap_mm, mm=mm, blur_px=blur_px)
    # 0.03 mm: the drawing's own grid of a quarter of a pixel, plus three stated sd
    assert abs(found.band_mm - gap_mm) < 0.03 + 3 * found.band_sd_mm
    if gap_mm >= 1:
        assert abs(found.band_mm - gap_mm) < 0.06
        assert found.opening.value > 0.95
        assert found.opening_mm == pytest.approx(found.band_mm)


@pytest.mark.slow
def test_bias_and_sd_over_noise():
    found = [_scan(1.5, noise=6.0, seed=k, mm=0.2) for k in range(12)]
    widths = np.array([f.band_mm for f in found])
    assert abs(widths.mean() - 1.5) < 0.02
    # noise is only one part of the stated sd, so the stated one may not be smaller than the scatter by much
    assert widths.std(ddof=1) < 2 * np.mean([f.band_sd_mm for f in found])
    assert np.mean([f.band_sd_mm for f in found]) < 0.08


@pytest.mark.parametrize("shadow_light", [0.3, 0.55, 0.8])
@pytest.mark.parametrize("blur_px", [0.7, 1.2, 2.0])
def test_overlap_with_a_shadow_line_is_no_opening(blur_px, shadow_light):
    found = _scan(-2.0, blur_px=blur_px, shadow_light=shadow_light)
    assert found.opening.value == 0.0 and found.open_end.value == 0.0
    assert found.opening_mm is None
    assert found.band_mm < 0.5 and found.band_sd_mm > 0.02


def test_a_wide_soft_shadow_is_told_by_its_faintness():
    found = _scan(-2.0, shadow_mm=1.2, shadow_light=0.75)
    assert found.opening.value == 0.0
    assert found.band_darkness < 0.35


def test_no_line_at_all_is_overlap():
    found = _scan(-2.0, shadow_light=1.0)
    assert found.overlap.value > 0.9
    assert found.band_mm == 0.0 and found.band_sd_mm > 0.0


@pytest.mark.parametrize("gray", [False, True])
def test_without_lower_enamel_the_end_is_open(gray):
    found = _scan(0.0, lower=False, gray=gray, lip_mm=4.0)
    assert found.open_end.value == 1.0
    assert found.band_mm is None and found.opening_mm is None
    assert found.open_end_mm > 5.0
    assert np.isnan(found.width_mm).all()
    assert found.colour_used is not gray


def test_a_tongue_in_the_gap_is_not_enamel():
    found = _scan(3.0, cavity=TONGUE)
    assert found.opening.value > 0.95
    assert found.band_mm == pytest.approx(3.0, abs=0.1)


@pytest.mark.parametrize("roll", [-70, 35, 180])
def test_roll_changes_nothing(roll):
    assert _scan(1.5, roll=roll).band_mm == pytest.approx(1.5, abs=0.05)


def test_gray_pictures_work():
    found = _scan(1.5, gray=True)
    assert found.band_mm == pytest.approx(1.5, abs=0.05) and not found.colour_used


def test_clicks_half_a_millimetre_off_change_nothing():
    picture, edge, down = _mouth(1.5)
    for shift in (-2.5, 2.5):
        found = scan_gap(picture, edge + np.array([0, shift]), down=down, mm_per_px=0.2, blur_sigma_px=1.2)
        assert found.band_mm == pytest.approx(1.5, abs=0.05)


def test_two_corners_and_known_lower_edge():
    picture, edge, down = _mouth(2.0)
    lower = np.array([[-5.3, 2.0], [5.3, 2.0]]) / 0.2 + [80, 60]
    found = scan_gap(picture, edge[[0, 3]], down=down, mm_per_px=0.2, lower_edge_px=lower, blur_sigma_px=1.2)
    assert found.band_mm == pytest.approx(2.0, abs=0.05)
    # an unfamiliar scale widens the answer in proportion
    wide = scan_gap(picture, edge, down=down, mm_per_px=0.2, mm_per_px_sd=0.014, blur_sigma_px=1.2)
    assert wide.band_sd_mm > 0.07 * 2.0


def test_shares_add_up_and_lines_outside_are_not_read():
    picture, edge, down = _mouth(1.5)
    found = scan_gap(picture, edge, down=down, mm_per_px=0.2)
    parts = (found.overlap, found.shadow_line, found.opening, found.open_end)
    assert sum(p.value for p in parts) == pytest.approx(1.0)
    assert all(0 < p.sd < 0.3 for p in parts)
    outside = scan_gap(picture, edge + np.array([0, 500]), down=down, mm_per_px=0.2)
    assert outside.lines_read == 0 and (outside.kind == LineKind.NOT_READ).all()
    assert outside.band_mm is None and np.isnan(outside.opening.value)


def test_bad_calls_are_refused():
    picture, edge, down = _mouth(1.5)
    with pytest.raises(ValueError, match="1 edge points"):
        scan_gap(picture, edge[:1], down=down, mm_per_px=0.2)
    with pytest.raises(ValueError, match="needed 2 or more and a scale"):
        scan_gap(picture, edge, down=down, mm_per_px=0.0)


def test_blur_is_taken_out_exactly_of_a_box():
    x = np.linspace(-30, 30, 60001)
    from scipy.special import ndtr

    for width in (1.5, 3.0, 6.0):
        image = ndtr((x + width / 2) / 1.3) - ndtr((x - width / 2) / 1.3)
        seen = np.ptp(x[image > 0.5 * image.max()])
        assert unblurred(np.array([seen]), 1.3)[0] == pytest.approx(width, abs=0.01)
        assert black_width(np.array([image.max()]), 1.3)[0] <= width + 1e-6
