from pathlib import Path

import numpy as np
import pytest

from bite.errors import DegenerateGeometryError
from bite.evidence.clicks.tooth_row import DownSource, mm_per_px_from_corners, tooth_row_from_corners
from bite.evidence.enamel.tooth_regions import CROWN_WIDTH_TO_HEIGHT, polygons_mask, teeth_box_from_corners
from bite.files.corners import CornerPoint, Corners, CornerState, LandmarkPoint

UPPER = {"11d": (-40.0, -1.0), "11m": (-1.0, 0.0), "21m": (1.0, 0.0), "21d": (40.0, -1.0)}
COVERED = {"41d": (-25.0, 0.0), "31d": (25.0, 0.0)}
CENTRE = np.array([200.0, 160.0])


def _turn(places, degrees, mirror=False):
    a = np.deg2rad(degrees)
    turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    flip = np.array([-1.0, 1.0]) if mirror else np.ones(2)
    return {code: turn @ (flip * np.array(place)) + CENTRE for code, place in places.items()}


def _corners(upper, lower=None, landmarks=None, *, lower_state=CornerState.COVERED, sigma=None):
    points = {c: CornerPoint(CornerState.SEEN, *p, sigma) for c, p in upper.items()}
    points |= {c: CornerPoint(lower_state, *p, sigma) for c, p in (lower or {}).items()}
    marks = {name: LandmarkPoint(*p) for name, p in (landmarks or {}).items()}
    return Corners(Path("a.corners.json"), "a.png", 400, 320, points, marks)


@pytest.mark.parametrize("degrees", [0, 20, 90, 135, 180, -60])
def test_axes_turn_with_the_picture(degrees):
    row = tooth_row_from_corners(_corners(_turn(UPPER, degrees)))
    a = np.deg2rad(degrees)
    assert np.allclose(row.across, [np.cos(a), np.sin(a)], atol=1e-12)
    assert np.allclose(row.down, [-np.sin(a), np.cos(a)], atol=1e-12)
    assert row.crown_width_px == pytest.approx(40.0)
    assert row.down_from is DownSource.TOOTH_ORDER and not row.mirrored


def test_a_mirrored_picture_is_seen_where_something_shows_what_is_down():
    upper = _turn(UPPER, 0, mirror=True)
    alone = tooth_row_from_corners(_corners(upper))
    nose = tooth_row_from_corners(_corners(upper, landmarks=_turn({"subnasale": (0.0, -90.0)}, 0)))
    lower = _turn({"41d": (25.0, 30.0), "31d": (-25.0, 30.0)}, 0)
    below = tooth_row_from_corners(_corners(upper, lower, lower_state=CornerState.SEEN))
    assert not alone.mirrored
    for row, source in ((nose, DownSource.LANDMARKS), (below, DownSource.LOWER_ROW)):
        assert row.mirrored and row.down_from is source and np.allclose(row.down, [0, 1])


@pytest.mark.parametrize("degrees", [0, 37, 180])
def test_regions_lie_on_enamel_of_the_drawn_teeth(degrees):
    corners = _corners(_turn(UPPER, degrees), _turn(COVERED, degrees))
    regions = teeth_box_from_corners(corners)
    shape = (320, 400)
    y, x = np.mgrid[0:320, 0:400]
    a = np.deg2rad(degrees)
    across = (x - CENTRE[0]) * np.cos(a) + (y - CENTRE[1]) * np.sin(a)
    down = -(x - CENTRE[0]) * np.sin(a) + (y - CENTRE[1]) * np.cos(a)
    height = 40 / CROWN_WIDTH_TO_HEIGHT
    upper_enamel = (np.abs(across) < 40) & (np.abs(across) > 1) & (down < -1) & (down > -height)
    lower_enamel = (np.abs(across) < 25) & (down > 2) & (down < 6.1 / 8.6 * 40)
    upper, lower = regions.upper_mask(shape), regions.lower_mask(shape)
    assert upper.sum() > 0.4 * upper_enamel.sum() and not (upper & ~upper_enamel).any()
    assert lower.sum() > 0.4 * 50 * 3 / 8.6 * 40 and not (lower & ~lower_enamel).any()
    assert regions.row.lower_covered


def test_only_distal_corners_will_do():
    distal = {c: p for c, p in UPPER.items() if c.endswith("d")}
    regions = teeth_box_from_corners(_corners(_turn(distal, 0)))
    assert len(regions.upper_px) == 2 and regions.lower_px is None
    assert not regions.lower_mask((320, 400)).any()
    assert regions.edges_px.shape == (4, 2, 2)  # two incisal edges, two tooth sides


def test_one_tooth_gives_one_region():
    one = {c: p for c, p in UPPER.items() if c.startswith("11")}
    regions = teeth_box_from_corners(_corners(_turn(one, 0)))
    assert len(regions.upper_px) == 1
    assert regions.row.crown_width_px == pytest.approx(39.0, abs=0.1)


def test_hidden_and_missing_corners_do_not_make_a_row():
    places = _turn(UPPER, 0)
    with pytest.raises(DegenerateGeometryError, match="1 usable upper corners"):
        tooth_row_from_corners(_corners({"11d": places["11d"]}))
    points = {
        "11d": CornerPoint(CornerState.SEEN, 1.0, 2.0),
        "21d": CornerPoint(CornerState.HIDDEN, 80.0, 2.0),
    }
    with pytest.raises(DegenerateGeometryError):
        tooth_row_from_corners(Corners(Path("a"), "a.png", 400, 320, points))
    same = {"11d": (5.0, 5.0), "21d": (5.0, 5.0)}
    with pytest.raises(DegenerateGeometryError, match="apart"):
        tooth_row_from_corners(_corners(same))


def test_scale_takes_the_longest_span_of_known_width():
    scale = mm_per_px_from_corners(_corners(_turn(UPPER, 30), sigma=0.5))
    assert scale.mm_per_px == pytest.approx(2 * 8.6 / 80)
    # population 0.6 / 8.6, rounded angles 0.04 and clicks 0.5 sqrt 2 / 80
    assert scale.sd_mm_per_px / scale.mm_per_px == pytest.approx(
        np.sqrt((0.6 / 8.6) ** 2 + 0.04**2 + 0.5 / 80**2)
    )
    assert scale.source.startswith("11d to 21d")


def test_covered_points_give_no_scale_and_unsure_ones_count_less():
    with pytest.raises(DegenerateGeometryError, match="no two usable corners"):
        mm_per_px_from_corners(_corners({}, _turn(COVERED, 0)))
    lower = _corners({}, _turn(COVERED, 0), lower_state=CornerState.SEEN, sigma=1.0)
    unsure = _corners({}, _turn(COVERED, 0), lower_state=CornerState.UNSURE, sigma=1.0)
    assert mm_per_px_from_corners(lower).mm_per_px == pytest.approx(2 * 5.4 / 50)
    assert mm_per_px_from_corners(unsure).sd_mm_per_px > mm_per_px_from_corners(lower).sd_mm_per_px


def test_polygons_are_cut_at_the_picture():
    box = np.array([[-5.0, -5.0], [2.5, -5.0], [2.5, 1.5], [-5.0, 1.5]])
    assert polygons_mask((box,), (4, 5)).sum() == 6
    assert polygons_mask((box + 100,), (4, 5)).sum() == 0
