"""The orchestrator: the three kinds of frame, what never gives an offset, and the demo's planted answers."""

import sys
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import bite
from bite.check.decision import Verdict
from bite.check.finding import Severity
from bite.check.steps import check_frame
from bite.errors import InputError
from bite.evidence.blocks import offset_evidence
from bite.evidence.model.head import solved_head
from bite.files.bundle import load_frame
from bite.files.corners import CornerPoint, CornerState
from bite.fit.offset import fit_offset
from demo_bite.scene import (
    BENCH_DEPTH,
    Bite,
    Detail,
    PictureSettings,
    Sensor,
    Settings,
    Shot,
    SolveError,
    as_bite_frame,
    simulate,
)

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "demo_bite"
CODES = {
    "corners-plausible", "bite-gap", "overbite-visible", "overjet", "overbite", "resolved", "enamel-lit",
    "sharp", "depth-covered", "framed", "same-device", "skin-agrees", "teeth-shown", "lateral", "rows-agree",
}  # fmt: skip
FRONTAL = Shot(distance_mm=320.0, turn_deg=0.0, nod_deg=0.0, tilt_deg=0.0)
SETTINGS = Settings(
    t_mm=1.0,
    bite=Bite(2.9, 2.4, occlusal_pitch_deg=0.0),
    shot=FRONTAL,
    solve=SolveError(waves_mm=0.2),
    sensor=Sensor(width_px=480, height_px=360, focal_px=600.0),
    picture=PictureSettings(480, 640, 900.0, noise=0.8),
    detail=Detail.COARSE,
)
UNLIT = replace(SETTINGS, picture=None)
"""What the fit needs, without a picture: faster."""
KNOWN = replace(BENCH_DEPTH, enamel_bias_mm=0.0, enamel_bias_sd_mm=0.1)


@pytest.fixture(scope="module")
def scene():
    return simulate(np.random.default_rng(21), SETTINGS)


@pytest.fixture(scope="module")
def frame(scene):
    return as_bite_frame(scene, device=KNOWN)


@pytest.fixture(scope="module")
def checked(frame):
    return check_frame(frame)


def with_corners(frame, **changed):
    view = frame.views[0]
    points = {**view.corners.points, **changed}
    return replace(
        frame, views=(replace(view, corners=replace(view.corners, points=points)), *frame.views[1:])
    )


def _offset_alone(frame):
    evidence = offset_evidence(frame, solved_head(frame))
    return fit_offset(evidence.blocks, evidence.prior)


def finding(assessment, code):
    return next(found for found in assessment.findings if found.code == code)


@pytest.mark.slow
def test_depth_and_mesh_give_the_planted_offset(checked, scene):
    offset = checked.fit.offset
    assert abs(offset.value - scene.truth.t_mm) < 4 * offset.sd < 1.5
    assert checked.decision.verdict is Verdict.MOVE and checked.why_no_offset == ""
    assert checked.moved_mm == checked.decision.move.stands_for_mm
    assert {found.code for found in checked.findings} >= CODES
    assert len(checked.sections) == 2 and checked.version == bite.__version__
    assert checked.px_per_mm == pytest.approx(checked.frame.views[0].camera.focal_px / 320.0, rel=0.03)


@pytest.mark.slow
def test_findings_come_worst_first(checked):
    order = [
        (Severity.FAIL, Severity.WARN, Severity.NOTE, Severity.OK).index(f.severity) for f in checked.findings
    ]
    assert order == sorted(order)


@pytest.mark.slow
def test_marks_move_with_the_teeth_and_landmarks_do_not(checked):
    marks = {mark.name: mark for mark in checked.marks}
    corner, landmark = marks["11d"], marks["subnasale"]
    assert corner.clicked_px and corner.before_px != corner.after_px
    assert landmark.state == "landmark" and landmark.before_px == landmark.after_px
    # the fit's own residual: the model after the move lies where the corner was clicked
    assert np.hypot(*np.subtract(corner.clicked_px, corner.after_px)) < 5


@pytest.mark.slow
def test_the_same_frame_gives_the_same_answer_twice(frame, checked):
    again = check_frame(frame)
    assert again.fit.offset == checked.fit.offset and again.findings == checked.findings


@pytest.mark.slow
def test_corners_of_one_view_never_give_an_offset(frame):
    lone = replace(frame, file=replace(frame.file, depth=None), depth_map=None, depth_camera=None)
    found = check_frame(lone)
    assert found.fit is None and found.decision.verdict is Verdict.UNSURE and found.decision.move is None
    assert "never fix the offset" in found.why_no_offset and "2.7 mm" in found.why_no_offset
    assert "depth map" in found.decision.why and "second calibrated view" in found.decision.why
    assert found.moved_mm == 0.0 and found.sections == ()


@pytest.mark.slow
def test_no_evidence_at_all_says_so(frame):
    view = replace(frame.views[0], corners=None)
    bare = replace(
        frame, file=replace(frame.file, depth=None), depth_map=None, depth_camera=None, views=(view,)
    )
    found = check_frame(bare)
    assert found.fit is None and "no corner is clicked" in found.why_no_offset


def test_two_views_with_landmarks_give_an_offset_without_depth():
    two = replace(UNLIT, depth=False, shot=replace(FRONTAL, views=2, baseline_mm=120.0))
    scene = simulate(np.random.default_rng(22), two)
    found = check_frame(as_bite_frame(scene))
    offset = found.fit.offset
    # 4 sd of the fit itself, which must be of use
    assert abs(offset.value - 1.0) < 4 * offset.sd and offset.sd < 1.2
    assert set(found.fit.solution.evidence_share) == {"corners"} and found.sections == ()


def test_two_views_without_corners_in_the_second_are_one_view():
    two = replace(UNLIT, depth=False, shot=replace(FRONTAL, views=2))
    frame = as_bite_frame(simulate(np.random.default_rng(22), two))
    found = check_frame(replace(frame, views=(frame.views[0], replace(frame.views[1], corners=None))))
    assert found.fit is None and "one view only" in found.why_no_offset


@pytest.mark.slow
def test_without_a_model_the_capture_checks_decide(frame):
    alone = replace(frame, file=replace(frame.file, solved=None), solved_mesh=None, rest_mesh=None, rig=None)
    found = check_frame(alone)
    assert found.solved is None and found.fit is None
    assert {f.code for f in found.findings} == {
        "resolved", "enamel-lit", "sharp", "framed", "depth-covered", "bite-gap", "overbite-visible",
        "corners-plausible", "same-device", "on-enamel",
    }  # fmt: skip
    assert found.decision.verdict is Verdict.USABLE
    unclicked = check_frame(replace(alone, views=(replace(alone.views[0], corners=None),)))
    assert unclicked.decision.verdict is Verdict.UNSURE and "click 11d and 21d" in unclicked.decision.why
    dark = replace(alone, views=(replace(alone.views[0], image=np.zeros_like(alone.views[0].image)),))
    assert check_frame(dark).decision.verdict is Verdict.RESHOOT


def test_a_profile_without_forward_says_what_is_missing():
    frame = load_frame(DEMO / "turnstone" / "turnstone-d04.bite.toml")
    assert frame.file.solved is not None
    lacking = replace(frame, file=replace(frame.file, solved=replace(frame.file.solved, forward=None)))
    found = check_frame(lacking)
    assert found.fit is None and found.decision.verdict is Verdict.UNSURE
    assert "forward" in found.why_no_offset and "write forward" in found.decision.why


@pytest.mark.slow
def test_a_pose_from_landmarks_ends_where_the_given_pose_does(frame, checked):
    solved = replace(frame.file.solved, pose="landmarks", axes=None)
    found = check_frame(replace(frame, file=replace(frame.file, solved=solved)))
    assert found.solved.posed_by_landmarks
    sd = np.hypot(found.fit.offset.sd, checked.fit.offset.sd)
    # the same depth map both times: what differs is the prior of the head alone
    assert abs(found.fit.offset.value - checked.fit.offset.value) < 2 * sd
    assert finding(found, "skin-agrees").severity is Severity.OK


@pytest.mark.slow
def test_enamel_bias_moves_the_offset_by_itself_and_stating_it_restores_it():
    exact = replace(UNLIT, solve=SolveError(waves_mm=0.0, shift_sd_mm=0.0, turn_sd_deg=0.0))
    deep = replace(exact, sensor=replace(SETTINGS.sensor, enamel_bias_mm=0.3))
    scenes = {b: simulate(np.random.default_rng(23), s) for b, s in ((0.0, exact), (0.3, deep))}
    s_b = 0.1
    told = {}
    for name, true, stated, sd in (
        ("none", 0.0, 0.0, s_b),
        ("unstated", 0.3, 0.0, s_b),
        ("stated", 0.3, 0.3, s_b),
        ("known", 0.0, 0.0, 1e-6),
    ):
        device = replace(BENCH_DEPTH, enamel_bias_mm=stated, enamel_bias_sd_mm=sd)
        told[name] = _offset_alone(as_bite_frame(scenes[true], device=device))
    # the same noise in all three, so that only the treatment of pixels between teeth and lip differs
    assert told["unstated"].offset.value - told["none"].offset.value == pytest.approx(-0.3, abs=0.05)
    assert told["stated"].offset.value == pytest.approx(told["none"].offset.value, abs=0.05)
    # straight ahead a mm of bias is nearly a mm of offset: teeth standing elsewhere are hidden elsewhere, so
    # rims tell a little of it; the sd must hold whatever the bias does to this very offset
    slope = (told["none"].offset.value - told["unstated"].offset.value) / 0.3
    for name in ("none", "unstated", "stated"):
        assert told[name].systematic_sd_mm == pytest.approx(slope * s_b, rel=0.08)
        assert told[name].offset.sd >= 0.97 * np.hypot(told["known"].sampling_sd_mm, slope * s_b)


@pytest.mark.slow
def test_mirrored_clicks_are_refused_by_file(frame):
    points = frame.views[0].corners.points
    width = frame.views[0].camera.width_px
    flipped = {code: replace(p, x_px=width - 1 - p.x_px) for code, p in points.items() if p.x_px is not None}
    with pytest.raises(InputError, match=r"front\.corners\.json.*mirrored"):
        check_frame(with_corners(frame, **flipped))


@pytest.mark.slow
def test_a_bad_click_is_named(frame):
    point = frame.views[0].corners.points["11d"]
    found = check_frame(with_corners(frame, **{"11d": replace(point, x_px=point.x_px - 9.0)}))
    clicks = finding(found, "clicks")
    assert clicks.severity is Severity.WARN and "11d in view front" in clicks.todo


@pytest.mark.slow
def test_lower_clicks_that_contradict_the_upper_ones_are_left_out(frame, checked):
    points = frame.views[0].corners.points
    # a jaw that was solved 3 mm too far to one side shows so
    moved = {
        code: CornerPoint(CornerState.SEEN, points[code].x_px + 14.0, points[code].y_px + 2.0, 0.8)
        for code in ("41d", "41m", "31m", "31d")
    }
    found = check_frame(with_corners(frame, **moved))
    told = finding(found, "overbite-visible")
    assert told.severity is Severity.FAIL and "without them" in told.text
    assert found.fit.right.value == pytest.approx(checked.fit.right.value, abs=0.2)


@pytest.mark.slow
def test_another_device_is_a_warning(frame):
    assert finding(check_frame(frame, performance_device="helmet"), "same-device").severity is Severity.WARN


@pytest.mark.slow
def test_a_fit_that_does_not_settle_is_unsure(frame, monkeypatch):
    monkeypatch.setattr("bite.fit.solver.ROUNDS", 1)
    found = check_frame(frame)
    assert not found.fit.solution.converged
    assert found.decision.verdict is Verdict.UNSURE and finding(found, "fit").severity is Severity.WARN


@pytest.mark.slow
def test_an_unknown_enamel_bias_is_what_settles(frame):
    vague = replace(frame, device=replace(KNOWN, enamel_bias_sd_mm=0.6))
    found = check_frame(vague)
    assert found.decision.verdict is Verdict.UNSURE and "state the enamel bias" in found.decision.why


def test_importing_costs_nothing():
    import subprocess

    code = "import sys, bite; assert not {'numpy', 'scipy', 'cv2'} & set(sys.modules); bite.InputError"
    subprocess.run([sys.executable, "-c", code], check=True, cwd=ROOT)
    with pytest.raises(AttributeError, match="no_such_name"):
        _ = bite.no_such_name


TRUTH = tomllib.loads((DEMO / "truth.toml").read_text(encoding="utf-8"))["frame"]


@pytest.mark.slow
@pytest.mark.parametrize(
    "path",
    [
        pytest.param(
            path,
            id=path.name.removesuffix(".bite.toml"),
        )
        for path in sorted(DEMO.glob("*/*.bite.toml"))
    ],
)
def test_demo_frames_get_a_fair_verdict(path):
    frame = load_frame(path)
    truth = TRUTH[frame.name]
    if frame.name == "redshank-a05":
        with pytest.raises(InputError, match=r"redshank/solved\.obj.*rest export"):
            check_frame(frame)
        return
    found = check_frame(frame, performance_device=frame.device.name)
    assert str(found.decision.verdict) in truth["fair_verdicts"], found.decision.why
    if found.fit is not None:
        # 4 sd: a dozen frames, none of them may lie far outside its interval
        assert abs(found.fit.offset.value - truth["t_mm"]) < 4 * found.fit.offset.sd
    if frame.depth_map is not None and found.fit is not None:
        hair = next(f for f in found.findings if f.code == "hair")
        assert (hair.severity is Severity.NOTE) == ("beard_mm" in truth), hair.text
    if found.decision.verdict is not Verdict.RESHOOT:
        alarms = [f.text for f in found.findings if f.severity in (Severity.WARN, Severity.FAIL)]
        assert alarms == []


def test_a_coarse_picture_is_refused_from_its_corners_alone():
    settings = replace(SETTINGS, picture=PictureSettings(200, 150, 200.0, noise=0.5), depth=False)
    frame = as_bite_frame(simulate(np.random.default_rng(24), settings))
    alone = replace(frame, file=replace(frame.file, solved=None), solved_mesh=None, rest_mesh=None, rig=None)
    found = check_frame(alone)
    assert found.decision.verdict is Verdict.RESHOOT and "px per incisor, needed 12" in found.decision.why
