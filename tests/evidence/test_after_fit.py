"""What is measured of a simulated frame: rendering, scale, spans, coverage, framing, opening, overjet."""

from dataclasses import replace

import numpy as np
import pytest

from bite.check.checks.on_enamel import lies_on_enamel
from bite.errors import InputError
from bite.evidence.clicks.click_depth import read_click_depth
from bite.evidence.depth.cover import cover_beside_clicks
from bite.evidence.enamel.below_edge import Below
from bite.evidence.model.head import solved_head
from bite.evidence.model.hidden_teeth import solved_teeth_in_view
from bite.evidence.mouth.framing import framing_of
from bite.evidence.mouth.picture_quality import picture_quality
from bite.evidence.mouth.place import mouth_of
from bite.evidence.mouth.rows import bite_measures, opening_from_corners
from bite.evidence.mouth.spans import Through, crown_spans
from bite.evidence.picture.piece import piece_of
from bite.files.corners import CornerPoint, CornerState
from bite.geometry.teeth import CORNERS
from demo_bite.scene import (
    WIDE_GRIN,
    Bite,
    PictureSettings,
    Sensor,
    Settings,
    Shot,
    SolveError,
    as_bite_frame,
    simulate,
)

EXACT = SolveError(waves_mm=0.0, shift_sd_mm=0.0, turn_sd_deg=0.0)
SETTINGS = Settings(
    mouth=WIDE_GRIN,
    bite=Bite(2.9, 2.4),
    solve=EXACT,
    shot=Shot(distance_mm=320.0, turn_deg=4.0, nod_deg=6.0, tilt_deg=0.0, region_mm=None),
    sensor=Sensor(
        320,
        240,
        300.0,
        noise_mm=0.2,
        smoothing_px=1.0,
        correlation_px=0.75,
        gross_share=0.0,
        highlight_hole_share=0.0,
        blob_hole_share=0.0,
    ),
    picture=PictureSettings(640, 480, 900.0, noise=0.8),
)


@pytest.fixture(scope="module")
def scene():
    return simulate(np.random.default_rng(11), SETTINGS)


@pytest.fixture(scope="module")
def frame(scene):
    return as_bite_frame(scene)


@pytest.fixture(scope="module")
def solved(frame):
    return solved_head(frame)


@pytest.fixture(scope="module")
def seen(frame, solved):
    return solved_teeth_in_view(frame, solved)


@pytest.fixture(scope="module")
def open_scene():
    picture = replace(SETTINGS.picture, width_px=320, height_px=240)
    return simulate(np.random.default_rng(12), replace(SETTINGS, bite=Bite(2.2, -2.6), picture=picture))


@pytest.mark.slow
def test_rendered_teeth_have_size_and_distance(scene, seen):
    middle = scene.truth.corners_mm[[CORNERS.index("11m"), CORNERS.index("21m")]].mean(0)
    assert 150 < seen.shown_mm2 < 900
    # the distal angles stand some millimetres back along the arch
    assert 0 <= seen.distance_mm - middle[2] < 4
    assert seen.mm_per_px == pytest.approx(seen.distance_mm / scene.views[0].camera.focal_px)
    assert set(seen.lower_seen) == {"41d", "41m", "31m", "31d"} and not any(seen.lower_seen.values())


@pytest.mark.slow
def test_an_opened_bite_shows_its_lower_corners(open_scene):
    frame = as_bite_frame(open_scene)
    assert all(solved_teeth_in_view(frame, solved_head(frame)).lower_seen.values())


@pytest.mark.slow
def test_model_behind_the_camera_or_outside_is_refused(frame, solved):
    head = solved.head
    for shift, said in (([0.0, 0.0, -900.0], "behind"), ([400.0, 0.0, 0.0], "outside")):
        moved = replace(
            head, points_mm=head.points_mm + np.array(shift), centre_mm=head.centre_mm + np.array(shift)
        )
        with pytest.raises(InputError, match=said):
            solved_teeth_in_view(frame, replace(solved, head=moved))


@pytest.mark.slow
def test_closed_lips_are_refused_by_the_name_of_the_mesh(frame, solved):
    head = solved.head
    hidden = np.array(head.points_mm)
    hidden[head.with_teeth] += 60.0 * head.up - 60.0 * head.forward
    with pytest.raises(InputError, match=r"solved\.obj.*lips are closed"):
        solved_teeth_in_view(frame, replace(solved, head=replace(head, points_mm=hidden)))


@pytest.mark.slow
def test_scale_without_a_model_comes_from_depth(frame, seen):
    with_model, without = mouth_of(frame, None, seen), mouth_of(frame, None, None)
    assert without.scale_from == "measured depth" and with_model.scale_from == "the solved model"
    assert without.mm_per_px == pytest.approx(with_model.mm_per_px, rel=0.04)


@pytest.mark.slow
def test_without_clicks_the_model_tells_where_the_incisors_are(frame, solved, seen):
    bare = replace(frame, views=(replace(frame.views[0], corners=None),))
    mouth = mouth_of(bare, solved.head, seen)
    assert not mouth.clicked
    assert mouth.row.upper_edge_px == pytest.approx(
        mouth_of(frame, solved.head, seen).row.upper_edge_px, abs=4
    )
    assert mouth_of(bare, None, None) is None


@pytest.mark.slow
def test_good_picture_measures_well(frame, seen):
    quality = picture_quality(frame, mouth_of(frame, None, seen), seen)
    assert quality.exposure.over.value < 0.05 and quality.contrast.separability > 0.9
    assert quality.below.kind is Below.ENAMEL and quality.below.shown_mm > 1.5
    assert lies_on_enamel(quality.edge)


@pytest.mark.slow
def test_a_picture_twice_as_large_gives_the_same_blur_in_mm_and_the_same_gap_class(frame, seen):
    view = frame.views[0]
    big = np.repeat(np.repeat(view.image, 4, axis=0), 4, axis=1)
    points = {
        code: replace(p, x_px=(p.x_px + 0.5) * 4 - 0.5, y_px=(p.y_px + 0.5) * 4 - 0.5)
        for code, p in view.corners.points.items()
        if p.x_px is not None
    }
    corners = replace(view.corners, points=points, width_px=2560, height_px=1920)
    grown = replace(
        frame,
        views=(replace(view, image=big, camera=view.camera.scaled(4.0), corners=corners),),
        depth_map=None,
    )
    plain = replace(frame, depth_map=None)
    mouths = [mouth_of(f, None, None) for f in (plain, grown)]
    blurs = [picture_quality(f, m, None) for f, m in zip((plain, grown), mouths, strict=True)]
    in_mm = [q.sharpness.worst.sigma_px * m.mm_per_px for q, m in zip(blurs, mouths, strict=True)]
    # blocks of 4 are averaged back to the very same pixels
    assert in_mm[1] == pytest.approx(in_mm[0], rel=0.1)
    assert blurs[1].below.kind is blurs[0].below.kind
    worst = [q.blur.worst_px * m.mm_per_px for q, m in zip(blurs, mouths, strict=True)]
    # the larger picture is averaged down to other pixels than the plain one has
    assert worst[1] == pytest.approx(worst[0], rel=0.25)


def test_piece_goes_there_and_back():
    image = np.arange(60 * 80 * 3, dtype=np.uint32).reshape(60, 80, 3).astype(np.uint8)
    piece = piece_of(image, np.array([11.0, 7.0]), np.array([55.0, 51.0]), 3)
    at = np.array([[20.0, 30.0], [11.5, 40.25]])
    assert piece.back(piece.into(at)) == pytest.approx(at)
    assert piece.image.shape[:2] == (15, 15)
    assert piece_of(image, np.array([200.0, 0.0]), np.array([240.0, 30.0]), 1) is None


@pytest.mark.slow
def test_depth_beside_a_click(frame, scene):
    view = frame.views[0]
    middle = scene.truth.corners_mm[[CORNERS.index("11d"), CORNERS.index("11m")]].mean(0) + 4 * scene.truth.up
    found = read_click_depth(frame, view.camera.project(middle[None])[0])
    # the labial face stands up to two mm before a point above the edge; blur brings in some lip
    assert found.depth_mm == pytest.approx(middle[2], abs=3.0) and found.readings > 5
    assert found.sd_mm > 0


@pytest.mark.slow
def test_spans_are_those_of_the_performer(frame, solved, scene):
    true = np.linalg.norm(
        scene.truth.corners_mm[CORNERS.index("21d")] - scene.truth.corners_mm[CORNERS.index("11d")]
    )
    spans = {s.through: s for s in crown_spans(frame, solved.head, None) if s.corners == ("11d", "21d")}
    assert set(spans) == {Through.DEPTH, Through.SOLVED}
    for span in spans.values():
        # 4 sd of the clicks, and 2 % for a depth read on the labial face instead of the edge
        assert span.mm == pytest.approx(true, abs=4 * span.sd_mm + 0.02 * true)


@pytest.mark.slow
def test_depth_in_the_wrong_unit_names_the_key(frame):
    wrong = replace(frame.depth_map, depth_mm=frame.depth_map.depth_mm * 10.0)
    with pytest.raises(InputError, match=r"multiply \[depth\] unit_mm by 0\.1"):
        crown_spans(replace(frame, depth_map=wrong), None, None)


@pytest.mark.slow
def test_stereo_spans(frame):
    pair = as_bite_frame(
        simulate(np.random.default_rng(5), replace(SETTINGS, picture=None, depth=False, shot=Shot(views=2)))
    )
    spans = crown_spans(pair, None, None)
    assert {span.through for span in spans} == {Through.STEREO} and len(spans) >= 3
    assert all(abs(span.off_by_sd) < 4 for span in spans)


@pytest.mark.slow
def test_coverage_beside_clicks_counts_holes(frame):
    whole = cover_beside_clicks(frame)
    assert whole.teeth_share > 0.9
    holed = np.array(frame.depth_map.depth_mm)
    holed[::2] = np.nan
    half = cover_beside_clicks(replace(frame, depth_map=replace(frame.depth_map, depth_mm=holed)))
    assert half.teeth_share == pytest.approx(0.5 * whole.teeth_share, abs=0.15)


@pytest.mark.slow
def test_framing_tells_turn_and_distance(frame, solved, seen):
    mouth = mouth_of(frame, solved.head, seen)
    found = framing_of(frame, solved.head, mouth)
    assert abs(abs(found.turn_deg) - 4.0) < 2.5 and found.distance_mm == pytest.approx(seen.distance_mm)
    assert abs(found.roll_deg) < 4 and 0 < found.border_mm < found.under_mm + 60


@pytest.mark.slow
@pytest.mark.parametrize("with_model", [True, False], ids=["model", "clicks and depth alone"])
def test_opening_from_corners(open_scene, with_model):
    frame = as_bite_frame(open_scene)
    head = solved_head(frame).head if with_model else None
    mouth = mouth_of(frame, head, None)
    gap = opening_from_corners(frame, head, None, mouth)
    # the simulated corners are the ends of the edges themselves: no rounding to take off
    assert gap.value == pytest.approx(2.6, abs=3 * gap.sd)
    assert gap.sd < (0.5 if with_model else 1.0)


@pytest.mark.slow
def test_covered_corners_give_no_opening(frame, solved, seen):
    assert opening_from_corners(frame, solved.head, None, mouth_of(frame, solved.head, seen)) is None


@pytest.mark.slow
def test_an_overjet_seen_from_below_is_no_gap(scene, frame, solved):
    corners = scene.truth.corners_mm
    mean_lower = corners[4:].mean(0)
    level = corners.copy()
    # lower corners moved to the height of the upper ones, 2.9 mm behind them
    level[4:] += ((corners[:4].mean(0) - mean_lower) @ scene.truth.up) * scene.truth.up
    view = frame.views[0]
    pixels = view.camera.project(level)
    points = {
        code: CornerPoint(CornerState.SEEN, float(x), float(y), 0.5)
        for code, (x, y) in zip(CORNERS, pixels, strict=True)
    }
    clicked = replace(frame, views=(replace(view, corners=replace(view.corners, points=points)),))
    gap = opening_from_corners(clicked, solved.head, None, None)
    assert gap.value == pytest.approx(0.0, abs=0.25)


@pytest.mark.slow
def test_solved_overjet_and_overbite(frame, solved):
    found = bite_measures(frame, solved.head, None, None, None)
    # planted at the midline; the mesial angles stand within some tenths of it
    assert found.overjet_solved_mm == pytest.approx(2.9, abs=0.6)
    assert found.overbite_solved_mm == pytest.approx(2.4, abs=0.6)
    assert found.overjet is None and found.gap is None
