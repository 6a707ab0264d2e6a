"""Simulated frames: the planted offset, what the sensor does, what the clicks say."""

import csv
from dataclasses import replace

import numpy as np
import pytest
from scipy import ndimage

from bite.files.corners import CornerState
from bite.geometry.camera import Camera
from bite.geometry.render import Grid, Window, face_normals, render
from bite.geometry.rigid import frozen
from bite.geometry.teeth import CORNERS, LOWER, SKIN, UPPER
from demo_bite.scene import (
    EMBRASURE,
    THIN_STRIP,
    WIDE_GRIN,
    Beard,
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
from demo_bite.scene.profile import profile_csv
from demo_bite.scene.sensor import correlated_noise, sense, smooth_over_valid

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


SMALL = Sensor(320, 240, 300.0)


def run(seed=7, **changes):
    changes = {"sensor": SMALL} | changes
    return simulate(np.random.default_rng(seed), Settings(detail=Detail.COARSE, **changes))


@pytest.mark.slow
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


@pytest.mark.slow
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


@pytest.mark.slow
def test_waves_have_the_size_asked_for():
    frame = run(solve=SolveError(waves_mm=0.4, shift_sd_mm=0.0, turn_sd_deg=0.0))
    skin = ~frame.head.with_teeth
    off = np.linalg.norm(frame.solved_mm - frame.true_mm, axis=1)[skin]
    # a few long waves over one face do not average out
    assert 0.25 < np.sqrt(np.mean(off**2)) < 0.55


@pytest.mark.slow
def test_a_sensor_without_faults_gives_the_true_depth_and_enamel_bias_only_on_teeth():
    plain = run(sensor=NO_FAULTS)
    window = region(plain.depth_camera, plain.truth.camera_from_head.translation_mm, 75.0)
    seen = render(Grid.of(plain.depth_camera, window), plain.true_mm, plain.faces)
    part = np.where(seen.face >= 0, plain.face_part[seen.face], -1)
    enamel = ((part == UPPER) | (part == LOWER)).astype(float)
    around = [ndimage.maximum_filter(seen.depth_mm, 3), ndimage.minimum_filter(seen.depth_mm, 3)]
    bend = np.abs(ndimage.laplace(seen.depth_mm))
    even = ndimage.maximum_filter(bend, 3) < 0.2
    measured = window.cut(plain.depth_mm)
    # no rim near: the mean over a pixel is its centre's depth, but for the bow of the surface
    assert even[np.isfinite(seen.depth_mm)].mean() > 0.5
    off_mm = np.abs(measured - seen.depth_mm)[even]
    assert off_mm.max() < 0.2
    assert np.percentile(off_mm, 99) < 0.03
    # a rim: the mean lies between what is seen about it
    shown = np.isfinite(around[0]) & np.isfinite(around[1]) & np.isfinite(measured)
    assert ((measured <= around[0] + 0.05) & (measured >= around[1] - 0.05))[shown].mean() > 0.995
    biased = run(sensor=replace(NO_FAULTS, enamel_bias_mm=0.3))
    difference = window.cut(biased.depth_mm) - measured
    nothing_else, none_near = ndimage.minimum_filter(enamel, 3) == 1, ndimage.maximum_filter(enamel, 3) == 0
    assert difference[nothing_else] == pytest.approx(0.3, abs=0.15)
    assert np.median(difference[nothing_else]) == pytest.approx(0.3, abs=1e-9)
    assert np.abs(difference[none_near & (part >= 0)]).max() < 0.15
    assert np.median(difference[none_near & (part >= 0)]) == 0.0
    # by share of enamel, not all or nothing
    mixed = difference[~nothing_else & ~none_near]
    assert ((mixed > 0.01) & (mixed < 0.29)).mean() > 0.3


def slanted_edge(slope, *, unit_mm=0.0, bias_mm=0.0):
    """A card of enamel before a wall, both square to the axis, its upper edge at ``slope`` rows a column.

    Gives what the sensor reads and the share of each pixel that the card covers, by integration over columns.
    """
    near, far, f, size = 300.0, 320.0, 100.0, 40
    camera = Camera(
        size, size, frozen([[f, 0, 19.3], [0, f, 19.6], [0, 0, 1]]), frozen((0.0, 0.0, 0.0, 0.0))
    )
    edge = lambda x: 17.2 + slope * x  # noqa: E731  read beside its use

    def corners(z, rows):
        """A quadrangle that reaches from those rows, at columns -9 and 50, to the far bottom."""
        pixels = np.array([(-9, rows[0]), (50, rows[1]), (50, 90), (-9, 90)], float)
        return np.column_stack([(pixels - (19.3, 19.6)) / f * z, np.full(4, z)])

    points = np.concatenate([corners(near, (edge(-9), edge(50))), corners(far, (-30, -30))])
    faces = np.array([[0, 1, 2], [0, 2, 3], [4, 5, 6], [4, 6, 7]])
    depth = sense(
        np.random.default_rng(0),
        replace(NO_FAULTS, unit_mm=unit_mm, enamel_bias_mm=bias_mm),
        camera=camera,
        points_mm=points,
        faces=faces,
        face_part=np.array([UPPER, UPPER, SKIN, SKIN]),
        window=Window(0, 0, size, size),
    )
    rows, columns = np.mgrid[0:size, 0:size].astype(float)
    along = (np.arange(2000) + 0.5) / 2000 - 0.5
    below = rows[..., None] + 0.5 - edge(columns[..., None] + along)
    return depth, np.clip(below, 0.0, 1.0).mean(-1)


@pytest.mark.parametrize("slope", [0.0, 0.07, -0.41, 0.9])
def test_a_pixel_on_a_slanted_edge_holds_the_mean_over_its_area(slope):
    depth, share = slanted_edge(slope)
    mean = 300.0 * share + 320.0 * (1 - share)
    # 4 x 4 rays tell how much of a square lies below a line to 1/8 at worst, and lean to no side
    assert np.abs(depth - mean).max() <= 20.0 / 8 + 1e-9
    mixed = (share > 0) & (share < 1)
    assert mixed.sum() >= 40
    if slope:
        assert np.mean((depth - mean)[mixed]) == pytest.approx(0.0, abs=0.15)
        assert np.sqrt(np.mean((depth - mean)[mixed] ** 2)) < 20.0 / 4 / np.sqrt(12)
    # a ray through the centre would give one side or the other
    assert ((depth[mixed] > 300.5) & (depth[mixed] < 319.5)).mean() > 0.7


def test_enamel_bias_counts_by_the_share_of_enamel():
    plain, share = slanted_edge(0.3)
    biased, _ = slanted_edge(0.3, bias_mm=0.8)
    assert np.abs(biased - plain - 0.8 * share).max() <= 0.8 / 8 + 1e-9
    assert biased[share == 1] == pytest.approx(300.8, abs=1e-9)
    assert biased[share == 0] == pytest.approx(320.0, abs=1e-9)


@pytest.mark.slow
def test_solved_depths_of_a_profile_are_means_over_pixels_too():
    simulated = run(sensor=NO_FAULTS, solve=PERFECT)
    rows = [row for row in csv.DictReader(profile_csv(simulated).splitlines()) if row["depth_mm"]]
    measured, solved = (np.array([float(row[k]) for row in rows]) for k in ("depth_mm", "solved_depth_mm"))
    # nothing was moved and nothing blurred: both columns are the same means, to the printed digits
    along = np.array([float(row["along_mm"]) for row in rows])
    near = np.abs(along) < 20.0
    assert near.sum() > 50
    assert measured[near] == pytest.approx(solved[near], abs=0.006)
    assert {"upper", "skin"} <= {row["region"] for row in rows}


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


@pytest.mark.slow
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


@pytest.mark.slow
def test_a_bite_covers_lower_corners_and_a_gap_shows_them():
    states = lambda f: {f.views[0].corners[c].state for c in CORNERS[4:]}  # noqa: E731  read beside its use
    closed = run(bite=Bite(2.9, 2.4))
    assert states(closed) == {CornerState.COVERED}
    apart = run(bite=Bite(2.0, -2.5), mouth=WIDE_GRIN)
    assert states(apart) == {CornerState.SEEN}
    strip = run(bite=Bite(3.2, 3.0), mouth=THIN_STRIP)
    assert CornerState.HIDDEN in states(strip)


@pytest.mark.slow
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


@pytest.mark.slow
def test_same_seed_same_frame():
    one, two = run(seed=3), run(seed=3)
    assert np.array_equal(one.depth_mm, two.depth_mm, equal_nan=True)
    assert np.array_equal(one.solved_mm, two.solved_mm)
    assert one.views[0].corners == two.views[0].corners
    other = run(seed=4)
    assert not np.array_equal(one.depth_mm, other.depth_mm, equal_nan=True)


@pytest.mark.slow
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


@pytest.mark.slow
def test_a_beard_stands_before_the_skin_and_leaves_the_surroundings_of_the_teeth_bare():
    bearded, shaved = (
        simulate(
            np.random.default_rng(3),
            Settings(detail=Detail.FULL, sensor=NO_FAULTS, beard=beard, shot=Shot(distance_mm=300.0)),
        )
        for beard in (Beard(height_mm=3.0, bare_mm=9.0), None)
    )
    # nothing but the depth knows of it: neither the model nor the clicks
    assert np.array_equal(bearded.solved_mm, shaved.solved_mm)
    assert bearded.views[0].corners == shaved.views[0].corners
    nearer = shaved.depth_mm - bearded.depth_mm
    grid = Grid.of(shaved.depth_camera)
    seen = render(grid, shaved.true_mm, shaved.faces)
    part = np.where(seen.face >= 0, shaved.face_part[seen.face], -1)
    enamel = (part == UPPER) | (part == LOWER)
    apart_mm = ndimage.distance_transform_edt(~enamel) * 300.0 / shaved.depth_camera.focal_px
    assert np.nanmax(np.abs(nearer[apart_mm < 7.0])) < 0.01
    rows = np.arange(len(nearer))[:, None]
    below = (apart_mm > 14.0) & (apart_mm < 20.0) & (rows > np.flatnonzero(enamel.any(1))[-1])
    normal = face_normals(shaved.true_mm, shaved.faces)[np.maximum(seen.face, 0)]
    square_on = np.abs(normal[..., 2]) / np.maximum(np.linalg.norm(normal, axis=-1), 1e-12)
    known = (nearer * square_on)[below & np.isfinite(nearer) & (square_on > 0.7)]
    # half of its height on average, as rays end anywhere between skin and tips, and none beyond the tips
    assert 1.0 < np.median(known) < 2.2
    assert np.quantile(known, (0.01, 0.99)) == pytest.approx((0.8, 2.7), abs=0.8)
