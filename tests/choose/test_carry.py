"""Carried corners: where they go, what they lose, and how their sd grows."""

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from bite.choose.carry import Lost, carry_on, start_carry
from bite.errors import DegenerateGeometryError
from bite.files.corners import CornerPoint, Corners, CornerState
from demo_bite.scene.take import Planted
from tests.choose.takes import clicked_corners, small_take


@pytest.fixture(scope="module")
def clicked():
    take = small_take(11)
    image = take.frame(take.clicked).image
    return image, clicked_corners(take, Path("c.json"), "p.png")


def _moved(image, right, down, *, gain=1.0, tilt=0.0, blur=0.0):
    height, width = image.shape[:2]
    turn = cv2.getRotationMatrix2D((width / 2, height / 2), tilt, 1.0)
    turn[:, 2] += (right, down)
    out = cv2.warpAffine(image, turn, (width, height), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    if blur:
        out = cv2.GaussianBlur(out, (0, 0), blur)
    return np.clip(gain * out.astype(float), 0, 255).astype(np.uint8), turn


def _errors(carried, corners, turn):
    rows = []
    for code, point in carried.points.items():
        start = corners.points[code]
        there = turn @ (start.x_px, start.y_px, 1.0)
        rows.append((*(np.array([point.x_px, point.y_px]) - there), point.way_px))
    return np.array(rows)


@pytest.mark.slow
@pytest.mark.parametrize(
    "right, down, gain, tilt, blur",
    [(0, 0, 1.0, 0, 0), (3.3, -2.6, 1.0, 0, 0), (9, 6, 0.7, 2.0, 0), (-4, 5, 1.2, -3.0, 0.8)],
)
def test_corners_follow_a_shift_a_tilt_and_a_change_of_light(clicked, right, down, gain, tilt, blur):
    image, corners = clicked
    anchor, start = start_carry(image, corners)
    after, turn = _moved(image, right, down, gain=gain, tilt=tilt, blur=blur)
    carried = carry_on(anchor, start, after)
    assert set(carried.points) == {c for c, p in corners.points.items() if p.state is not CornerState.HIDDEN}
    off = _errors(carried, corners, turn)
    assert (np.abs(off[:, :2]) <= 2 * off[:, 2:] + 0.02).all()


@pytest.mark.slow
def test_drift_stays_within_two_sd_over_a_long_pan(clicked):
    """Sixty frames of sway: a chain without a match against the click would walk away."""
    image, corners = clicked
    rng = np.random.default_rng(3)
    anchor, carried = start_carry(image, corners)
    worst = []
    for k in range(60):
        way = 8 * np.sin(k / 9), 5 * np.sin(k / 7 + 1) - 5 * np.sin(1)
        after, turn = _moved(image, *way, tilt=2 * np.sin(k / 11), gain=1 + 0.2 * np.sin(k / 5))
        noisy = np.clip(after + rng.normal(0, 2.0, after.shape), 0, 255).astype(np.uint8)
        carried = carry_on(anchor, carried, noisy)
        off = _errors(carried, corners, turn)
        worst.append(np.abs(off[:, :2] / off[:, 2:]).max())
    assert max(worst) <= 2.0
    assert carried.matched and carried.steps_unmatched == 0


@pytest.mark.slow
def test_the_sd_grows_with_each_step_where_the_click_is_not_matched(clicked):
    image, corners = clicked
    anchor, start = start_carry(image, corners)
    # nothing of the clicked picture is left to match, but neighbours still are alike
    blind = replace(anchor, piece=replace(anchor.piece, plane=np.full_like(anchor.piece.plane, 128)))
    carried, sds = start, []
    for k in range(1, 4):
        carried = carry_on(anchor, carried, _moved(image, 1.5 * k, 0)[0])
        sds.append(carried.points["11d"].sigma_px)
    assert np.ptp(sds) < 0.05
    lost = carry_on(blind, start, _moved(image, 1.5, 0)[0])
    assert lost.points == {} and lost.steps_unmatched == 1


@pytest.mark.slow
def test_teeth_that_go_away_are_lost_and_found_again(clicked):
    image, corners = clicked
    rng = np.random.default_rng(0)
    anchor, start = start_carry(image, corners)
    noise = rng.integers(0, 255, image.shape).astype(np.uint8)
    gone = carry_on(anchor, start, cv2.GaussianBlur(noise, (0, 0), 2.0))
    assert gone.points == {} and set(gone.lost.values()) <= {Lost.TEETH, Lost.NEVER}
    assert gone.upper is None and gone.jaw_drop_px is None
    again = carry_on(anchor, gone, _moved(image, 4, 3)[0])
    off = _errors(again, corners, np.array([[1.0, 0, 4], [0, 1, 3]]))
    assert len(off) >= 4 and (np.abs(off[:, :2]) <= 2 * off[:, 2:] + 0.02).all()


@pytest.mark.slow
def test_hidden_corners_are_never_carried_and_covered_ones_stay_covered(clicked):
    image, corners = clicked
    points = dict(corners.points) | {"11m": CornerPoint(CornerState.HIDDEN)}
    anchor, start = start_carry(image, replace(corners, points=points))
    carried = carry_on(anchor, start, image)
    assert carried.lost["11m"] is Lost.NEVER and "11m" not in carried.points
    for code, point in carried.points.items():
        assert point.state is points[code].state
        assert point.sigma_px > (points[code].sigma_px or 0.0)


@pytest.mark.slow
def test_corners_that_make_no_row_are_refused(clicked):
    image, corners = clicked
    few = Corners(corners.path, "p.png", corners.width_px, corners.height_px, {"11d": corners.points["11d"]})
    with pytest.raises(DegenerateGeometryError):
        start_carry(image, few)


@pytest.mark.slow
def test_a_mouth_at_the_border_does_not_break_it(clicked):
    image, corners = clicked
    anchor, start = start_carry(image, corners)
    carried = start
    for k in range(8):
        carried = carry_on(anchor, carried, _moved(image, 14.0 * k, -9.0 * k)[0])
    assert carried.piece.plane.shape == anchor.piece.plane.shape


@pytest.mark.slow
def test_seen_lower_corners_go_with_their_own_row():
    """Clicked where the jaw is open, lower corners are seen, and the jaw's way is told."""
    take = small_take(11)
    gaps = [k for k, what in enumerate(take.planted) if what is Planted.GAP]
    frame = take.frame(gaps[1])
    height, width = frame.image.shape[:2]
    points = {
        c: CornerPoint(CornerState.SEEN, float(x), float(y), 0.3) for c, (x, y) in frame.corners_px.items()
    }
    anchor, start = start_carry(frame.image, Corners(Path("c"), "c", width, height, points))
    after, turn = _moved(frame.image, 3, 2)
    carried = carry_on(anchor, start, after)
    assert {"41d", "31d"} <= set(carried.points)
    off = _errors(carried, Corners(Path("c"), "c", width, height, points), turn)
    assert (np.abs(off[:, :2]) <= 2 * off[:, 2:] + 0.02).all()
    assert carried.jaw_drop_px is not None and carried.jaw_drop_sd_px is not None
    assert abs(carried.jaw_drop_px) <= 2 * carried.jaw_drop_sd_px
