"""Simulated frames: the planted offset, what the sensor does, what the clicks say."""

from dataclasses import replace

import numpy as np
import pytest

from bite.files.corners import CornerState
from bite.geometry.render import Grid, render
from bite.geometry.teeth import CORNERS, LOWER, UPPER
from demo_bite.scene import (
    EMBRASURE,
    THIN_STRIP,
    WIDE_GRIN,
    Bite,
    Clicks,
    Detail,
    Sensor,
    Settings,
    Shot,
    SolveError,
    as_bite_frame,
    simulate,
)
from demo_bite.scene.cameras import region
from demo_bite.scene.sensor import correlated_noise, smooth_over_valid

PERFECT = SolveError(waves_mm=0.0, shift_sd_mm=0.0, turn_sd_deg=0.0)
NO_FAULTS = Sensor(
    smoothing_px=0.0,
    noise_mm=0.0,
    gross_share=0.0,
    highlight_hole_share=0.0,
    edge_hole_share=0.0,
    blob_hole_share=0.0,
    unit_mm=0.0,
)


def run(seed=7, **changes):
    return simulate(np.random.default_rng(seed), Settings(detail=Detail.COARSE, **changes))


@pytest.mark.parametrize("t, right, up", [(1.4, 0.0, 0.0), (-2.0, 0.5, -0.3)])
def test_moving_the_solved_teeth_by_the_planted_offset_gives_the_true_ones(t, right, up):
    frame = run(t_mm=t, right_mm=right, up_mm=up, solve=PERFECT)
    truth, teeth = frame.truth, frame.head.with_teeth
    moved = frame.solved_mm[teeth] + t * truth.forward + right * truth.right + up * truth.up
    assert np.abs(moved - frame.true_mm[teeth]).max() < 1e-9
    assert np.abs(frame.solved_mm[~teeth] - frame.true_mm[~teeth]).max() < 1e-9
    # out of the mouth is towards the camera, right is right in the picture, up is up
    assert truth.forward[2] < -0.9
    assert truth.right[0] > 0.9
    assert truth.up[1] < -0.9


def test_rest_and_solved_teeth_are_one_rigid_set_that_forward_and_up_belong_to():
    frame = run(t_mm=1.0)
    teeth = frame.head.with_teeth
    turn = (frame.truth.solved_from_true @ frame.truth.camera_from_head).rotation
    rest = frame.rest_mm[teeth] - frame.rest_mm[teeth].mean(0)
    solved = frame.solved_mm[teeth] - frame.solved_mm[teeth].mean(0)
    assert np.abs(rest @ turn.T - solved).max() < 1e-9
    assert turn @ frame.forward_rest == pytest.approx(
        frame.truth.solved_from_true.turn(frame.truth.forward), abs=1e-12
    )


def test_waves_have_the_size_asked_for():
    frame = run(solve=SolveError(waves_mm=0.4, shift_sd_mm=0.0, turn_sd_deg=0.0))
    skin = ~frame.head.with_teeth
    off = np.linalg.norm(frame.solved_mm - frame.true_mm, axis=1)[skin]
    # a few long waves over one face do not average out
    assert 0.25 < np.sqrt(np.mean(off**2)) < 0.55


def test_a_sensor_without_faults_gives_the_true_depth_and_enamel_bias_only_on_teeth():
    plain = run(sensor=NO_FAULTS)
    window = region(plain.depth_camera, plain.truth.camera_from_head.translation_mm, 75.0)
    seen = render(Grid.of(plain.depth_camera, window), plain.true_mm, plain.faces)
    assert window.cut(plain.depth_mm) == pytest.approx(seen.depth_mm, abs=1e-9, nan_ok=True)
    biased = run(sensor=replace(NO_FAULTS, enamel_bias_mm=0.3))
    part = np.where(seen.face >= 0, plain.face_part[seen.face], -1)
    enamel = (part == UPPER) | (part == LOWER)
    difference = window.cut(biased.depth_mm) - window.cut(plain.depth_mm)
    assert difference[enamel] == pytest.approx(0.3, abs=1e-9)
    assert np.abs(difference[~enamel & (part >= 0)]).max() == 0.0


def test_noise_has_unit_variance_at_any_correlation():
    rng = np.random.default_rng(0)
    for sd in (0.0, 0.6, 1.5, 3.0):
        # four standard errors, with the effective count of a Gaussian filter
        tolerance = 4 * np.sqrt(2 * np.pi) * max(sd, 0.4) / 400
        assert correlated_noise(rng, (400, 400), sd).std() == pytest.approx(1.0, abs=tolerance)


def test_smoothing_keeps_a_plane_and_the_holes():
    rows, columns = np.mgrid[0:40, 0:40]
    plane = 300 + 0.02 * columns
    plane[10:14, 20:22] = np.nan
    smooth = smooth_over_valid(plane, 2.0)
    assert np.array_equal(np.isnan(smooth), np.isnan(plane))
    inside = (rows > 24) & (rows < 30) & (columns > 12) & (columns < 28)
    assert smooth[inside] == pytest.approx(plane[inside], abs=1e-4)


@pytest.mark.parametrize("mouth", [WIDE_GRIN, EMBRASURE, THIN_STRIP])
def test_seen_corners_are_clicked_on_their_crowns(mouth):
    quiet = Clicks(mesial_px=1e-6, distal_px=1e-6, landmark_px=1e-6)
    frame = run(mouth=mouth, bite=Bite(2.9, 2.4), clicks=quiet, shot=Shot(turn_deg=0.0))
    camera = frame.views[0].camera
    grid = Grid.of(camera)
    seen = render(grid, frame.true_mm, frame.faces)
    pixels = camera.project(frame.truth.corners_mm)
    for code, pixel in zip(CORNERS, pixels, strict=True):
        click = frame.views[0].corners[code]
        if click.state is not CornerState.SEEN:
            continue
        assert (click.x_px, click.y_px) == pytest.approx(tuple(pixel), abs=1e-4)
        # a little into the crown from its corner the tooth is what the camera sees
        side, towards_gum = (1 if code.endswith("m") else -1), -1.5
        inward = -side if code[0] in "14" else side
        x, y = np.rint(pixel + np.array([1.5 * inward, towards_gum])).astype(int)
        assert frame.face_part[seen.face[y, x]] == UPPER


def test_a_bite_covers_lower_corners_and_a_gap_shows_them():
    states = lambda f: {f.views[0].corners[c].state for c in CORNERS[4:]}  # noqa: E731
    closed = run(bite=Bite(2.9, 2.4))
    assert states(closed) == {CornerState.COVERED}
    apart = run(bite=Bite(2.0, -2.5), mouth=WIDE_GRIN)
    assert states(apart) == {CornerState.SEEN}
    strip = run(bite=Bite(3.2, 3.0), mouth=THIN_STRIP)
    assert CornerState.HIDDEN in states(strip)


def test_covered_clicks_lie_below_the_true_corner_and_on_the_upper_edge():
    quiet = Clicks(mesial_px=1e-6, distal_px=1e-6, landmark_px=1e-6)
    frame = run(bite=Bite(2.9, 2.4), clicks=quiet, shot=Shot(turn_deg=0.0, tilt_deg=0.0, nod_deg=5.0))
    pixels = dict(zip(CORNERS, frame.views[0].camera.project(frame.truth.corners_mm), strict=True))
    edge = np.mean([pixels[c][1] for c in ("11m", "21m")])
    for code in ("41m", "31m"):
        click = frame.views[0].corners[code]
        assert click.y_px > pixels[code][1]
        assert click.y_px == pytest.approx(edge, abs=1.0)


def test_second_view_sees_the_same_corners():
    quiet = Clicks(mesial_px=1e-6, distal_px=1e-6, landmark_px=1e-6)
    frame = run(shot=Shot(views=2), clicks=quiet, depth=False)
    assert frame.depth_mm is None
    second = frame.views[1]
    assert second.camera.centre_mm == pytest.approx([60, 0, 0], abs=1e-9)
    click = second.corners["11m"]
    assert (click.x_px, click.y_px) == pytest.approx(
        tuple(second.camera.project(frame.truth.corners_mm[[1]])[0]), abs=1e-4
    )


def test_same_seed_same_frame():
    one, two = run(seed=3), run(seed=3)
    assert np.array_equal(one.depth_mm, two.depth_mm, equal_nan=True)
    assert np.array_equal(one.solved_mm, two.solved_mm)
    assert one.views[0].corners == two.views[0].corners
    other = run(seed=4)
    assert not np.array_equal(one.depth_mm, other.depth_mm, equal_nan=True)


def test_a_frame_in_memory_is_complete():
    frame = run(shot=Shot(views=2))
    bundle = as_bite_frame(frame, name="sim-1", performer="nobody")
    assert bundle.name == "sim-1"
    assert bundle.depth_camera is bundle.views[0].camera
    assert bundle.depth_view == "front"
    assert len(bundle.solved_mesh.vertices_mm) == len(bundle.rest_mesh.vertices_mm)
    named = {name for part in bundle.rig.parts.values() for name in part.names}
    assert named == set(bundle.solved_mesh.groups)
    own = as_bite_frame(run(shot=Shot(depth_camera_shift_mm=(18.0, 0.0, 0.0))))
    assert own.depth_view is None
    assert own.depth_camera.centre_mm == pytest.approx([18.0, 0.0, 0.0])
