from pathlib import Path

import numpy as np
import pytest
from scipy import ndimage

from bite.evidence.clicks.tooth_row import tooth_row_from_corners
from bite.evidence.enamel.edge_candidates import edges_near_teeth
from bite.evidence.enamel.reach import upper_enamel_shown
from bite.evidence.enamel.tooth_regions import teeth_box_from_corners
from bite.evidence.picture.sharpness import sharpness_at_edges
from bite.files.corners import CornerPoint, Corners, CornerState

ENAMEL, LIP, MM = (205, 196, 178), (170, 95, 90), 0.2
CENTRE = np.array([100.0, 80.0])


def _mouth(upper_mm, lower_mm, *, roll=0.0, blur_px=1.2, gray=False, lip=LIP, fine=4):
    """Draw enamel from ``upper_mm`` above to ``lower_mm`` below a faint line, 30 mm wide, among lips."""
    y, x = (np.mgrid[0 : 160 * fine, 0 : 200 * fine] + 0.5) / fine - 0.5
    c, s = np.cos(np.deg2rad(roll)), np.sin(np.deg2rad(roll))
    along = ((x - CENTRE[0]) * c + (y - CENTRE[1]) * s) * MM
    down = (-(x - CENTRE[0]) * s + (y - CENTRE[1]) * c) * MM
    levels = np.empty((*x.shape, 3))
    levels[:] = lip
    levels[(np.abs(along) < 15) & (down > -upper_mm) & (down < lower_mm)] = ENAMEL
    levels[(np.abs(along) < 15) & (down > 0) & (down < min(0.25, lower_mm))] *= 0.7
    levels = ndimage.gaussian_filter(levels, (blur_px * fine, blur_px * fine, 0))
    levels = levels.reshape(160, fine, 200, fine, 3).mean((1, 3))
    levels += np.random.default_rng(0).normal(0, 2, levels.shape)
    picture = np.clip(np.rint(levels), 0, 255).astype(np.uint8)
    if gray:
        picture = np.repeat(picture[..., 1:2], 3, 2)
    turn = np.array([[c, -s], [s, c]])
    places = {"11d": (-8.6, 0.0), "21d": (8.6, 0.0), "41d": (-5.4, 0.0), "31d": (5.4, 0.0)}
    points = {
        code: CornerPoint(
            CornerState.SEEN if code[0] in "12" else CornerState.COVERED,
            *(turn @ np.array(place) / MM + CENTRE),
        )
        for code, place in places.items()
    }
    return picture, Corners(Path("a.corners.json"), "a.png", 200, 160, points)


@pytest.mark.parametrize("roll", [0, 30, 180])
@pytest.mark.parametrize(("upper_mm", "lower_mm"), [(9.0, 6.0), (2.6, 1.6)])
def test_bare_enamel_is_measured_upwards(upper_mm, lower_mm, roll):
    picture, corners = _mouth(upper_mm, lower_mm, roll=roll)
    row = tooth_row_from_corners(corners)
    up = upper_enamel_shown(picture, row, mm_per_px=MM)
    # the change is found where a third of the light, or 9 of 25 units of redness, is gone: within a blur sd
    assert up.shown_mm == pytest.approx(upper_mm, abs=0.3) and not up.at_end


def test_gray_pictures_go_by_light():
    picture, corners = _mouth(5.0, 3.0, gray=True)
    up = upper_enamel_shown(picture, tooth_row_from_corners(corners), mm_per_px=MM)
    assert up.shown_mm == pytest.approx(5.0, abs=0.3)


def test_enamel_to_the_end_says_so():
    picture, corners = _mouth(9.0, 6.0)
    up = upper_enamel_shown(picture, tooth_row_from_corners(corners), mm_per_px=MM, reach_mm=5.0)
    assert up.at_end and up.shown_mm == pytest.approx(5.0, abs=0.15)


def test_a_scale_not_known_well_widens_the_sd():
    picture, corners = _mouth(9.0, 6.0)
    up = upper_enamel_shown(picture, tooth_row_from_corners(corners), mm_per_px=MM, mm_per_px_sd=0.014)
    assert up.sd_mm > 0.07 * 8.5


def test_regions_stay_below_a_low_lip():
    picture, corners = _mouth(2.6, 0.0)
    row = tooth_row_from_corners(corners)
    up = upper_enamel_shown(picture, row, mm_per_px=MM)
    regions = teeth_box_from_corners(corners, upper_shown_px=up.shown_mm / MM, lower_shown_px=0.0)
    mask = regions.upper_mask(picture.shape[:2])
    assert mask.sum() > 300
    assert picture[mask][:, 1].min() > 0.8 * ENAMEL[1]  # no pixel of lip, whose green is half of the enamel's
    assert regions.lower_px is None
    blind = teeth_box_from_corners(corners).upper_mask(picture.shape[:2])
    assert picture[blind][:, 1].min() < 0.6 * ENAMEL[1]


def test_none_off_the_picture():
    picture, corners = _mouth(9.0, 6.0)
    row = tooth_row_from_corners(corners)
    assert upper_enamel_shown(picture[:4, :4], row, mm_per_px=MM) is None


@pytest.mark.parametrize("roll", [0, 25])
@pytest.mark.parametrize("blur_px", [0.8, 2.0])
def test_edges_found_around_the_teeth_give_the_blur_both_ways(blur_px, roll):
    picture, corners = _mouth(7.0, 5.0, blur_px=blur_px, roll=roll)
    row = tooth_row_from_corners(corners)
    segments = edges_near_teeth(picture, row)
    found = sharpness_at_edges(picture, segments, across=row.across, half_length_px=row.crown_width_px / 3)
    # 12 %: a scan line's direction follows the noisy local gradient, and an enamel strip of 25 px is narrow
    assert found.up_down.sigma_px == pytest.approx(np.hypot(blur_px, 0.29), rel=0.12)
    assert found.sideways.sigma_px == pytest.approx(np.hypot(blur_px, 0.29), rel=0.12)


def test_no_candidates_off_the_picture():
    picture, corners = _mouth(9.0, 6.0)
    assert edges_near_teeth(picture[:3, :3], tooth_row_from_corners(corners)).shape == (0, 2, 2)
