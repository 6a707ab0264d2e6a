"""Two views: lines of sight, and one picture at a time."""

import numpy as np
import pytest

from bite.annotate.drawing.sights import sights_in
from bite.annotate.state.clicks import ViewClicks
from bite.files.corners import CornerPoint, CornerState
from bite.geometry.epipolar import epipolar_curve
from tests.annotate.support import Hand


def test_the_line_passes_through_where_the_point_is_seen(stereo_hand: Hand) -> None:
    """Points projected into both views: the second must lie on the curve of the first, lens and all."""
    first, second = (view.camera for view in stereo_hand.bench.frame.views)
    rng = np.random.default_rng(2)
    for _ in range(30):
        point = np.array([[*rng.uniform(-60, 60, 2), rng.uniform(200, 600)]])
        a, b = first.project(point)[0], second.project(point)[0]
        curve = epipolar_curve(first, second, a, count=2000)
        # neighbouring samples are at most some px apart: the distance to the chord between them
        near = np.argsort(np.hypot(*(curve - b).T))[:2]
        start, end = curve[near]
        along = (end - start) / np.hypot(*(end - start))
        off = abs((b - start) @ np.array([-along[1], along[0]]))
        # the chord of a curve sampled every fraction of a pixel leaves it by far less than this
        assert off < 0.01


def test_the_curve_is_bent(stereo_hand: Hand) -> None:
    first, second = (view.camera for view in stereo_hand.bench.frame.views)
    curve = epipolar_curve(first, second, np.array([520.0, 60.0]))
    inside = curve[(curve >= 0).all(1) & (curve[:, 0] < 640) & (curve[:, 1] < 480)]
    along = (inside[-1] - inside[0]) / np.hypot(*(inside[-1] - inside[0]))
    sag = np.abs((inside - inside[0]) @ np.array([-along[1], along[0]])).max()
    assert sag > 0.5


def test_lines_show_for_what_is_clicked_in_the_other_view_only(stereo_hand: Hand) -> None:
    stereo_hand.click_picture((250.0, 200.0))
    bench = stereo_hand.bench
    assert bench.scene().sights == {}
    stereo_hand.key("v")
    assert set(bench.scene().sights) == {"11d"}
    stereo_hand.click_picture((300.0, 180.0))
    assert bench.scene().sights == {}
    assert set(stereo_hand.saved("front")["points"]) == set(stereo_hand.saved("side")["points"]) == {"11d"}


def test_the_line_is_drawn(stereo_hand: Hand) -> None:
    stereo_hand.click_picture((250.0, 200.0))
    stereo_hand.key("v")
    # the line's own yellow
    yellow = (np.abs(stereo_hand.pixels[:, :, :3].astype(int) - (0xF0, 0xE4, 0x42)).max(2) < 12).sum()
    assert yellow > 200


def test_covered_points_have_no_line(stereo_hand: Hand) -> None:
    frame = stereo_hand.bench.frame
    covered = ViewClicks({"41d": CornerPoint(CornerState.COVERED, 250.0, 200.0)})
    assert sights_in(frame, (covered, ViewClicks()), 1) == {}


def test_undo_goes_back_to_the_view_where_it_happened(stereo_hand: Hand) -> None:
    stereo_hand.click_picture((250.0, 200.0))
    stereo_hand.key("v", "z")
    assert stereo_hand.bench.desk.view == 0
    assert "picture front" in stereo_hand.bench.desk.said
    assert stereo_hand.saved("front")["points"] == {}


@pytest.mark.parametrize("key", ["f", "1", "b"])
def test_each_view_keeps_its_own_place_on_the_screen(stereo_hand: Hand, key: str) -> None:
    stereo_hand.wheel((300.0, 300.0), 3)
    before = stereo_hand.bench.transform
    stereo_hand.key("v", key, "v")
    assert stereo_hand.bench.transform == before
