"""Several frames of one performer, from bite frames to a decision."""

from dataclasses import replace

import numpy as np
import pytest

import bite
from bite.check.decision import Verdict
from bite.errors import InputError
from bite.files.corners import CornerPoint, CornerState
from bite.geometry.mesh import Mesh
from bite.stats.pooling import pool
from bite.together.shared_offset import Role
from bite.together.steps import check_together
from demo_bite.roles import BACK
from demo_bite.scene import Shot, as_bite_frame, simulate
from tests.several import DEPTH, PLANTED_MM, frames_of_one


def frame(name, **changed):
    return as_bite_frame(frames_of_one()[name], name=name, performer="tern", dial=BACK, **changed)


def solved_elsewhere(name, forward_mm, **changed):
    """The same frame with its digital teeth solved so much farther forward."""
    made = frame(name, **changed)
    simulated = frames_of_one()[name]
    vertices = simulated.solved_mm.copy()
    turn = simulated.truth.solved_from_true.rotation
    vertices[simulated.head.with_teeth] += forward_mm * (turn @ simulated.truth.forward)
    assert made.solved_mesh is not None
    return replace(made, solved_mesh=Mesh(vertices, made.solved_mesh.faces, made.solved_mesh.groups))


@pytest.fixture(scope="module")
def two():
    return check_together([frame("a1"), frame("a2")])


@pytest.fixture(scope="module")
def turned():
    return check_together([frame("c1"), frame("c2"), frame("c3")], tolerance_mm=1.5)


@pytest.mark.slow
def test_two_depth_frames_give_one_offset(two) -> None:
    assert two.offset is not None and two.joint is not None
    assert abs(two.offset.value - PLANTED_MM) < 3 * two.offset.sd
    assert [part.role for part in two.parts] == [Role.OWN, Role.OWN]
    own = [part.offset.value for part in two.parts]
    assert min(own) <= two.offset.value <= max(own)
    assert two.joint.common_sd_mm > 0.07
    sds = np.array([part.own_sd_mm for part in two.parts])
    assert two.paule_mandel_mm == pytest.approx(pool(np.array(own), sds).tau)
    assert two.decision.verdict in (Verdict.MOVE, Verdict.UNSURE) and two.decision.move is not None
    assert {finding.code for finding in two.findings} == {"frames-used", "frames-agree", "lateral", "fit"}


@pytest.mark.slow
def test_turned_frames_without_depth_give_an_offset_that_none_has_alone(turned) -> None:
    assert [part.role for part in turned.parts] == [Role.JOINT] * 3
    assert all(part.assessment.fit is None and part.offset is None for part in turned.parts)
    assert turned.offset is not None and turned.joint.converged
    assert abs(turned.offset.value - PLANTED_MM) < 2.5 * turned.offset.sd
    assert turned.offset.sd < 0.6
    assert turned.paule_mandel_mm is None
    for part in turned.parts:
        corners = [m for m in part.marks if m.state == "seen"]
        before, after = (
            np.sqrt(np.mean([np.sum(np.subtract(m.clicked_px, getattr(m, key)) ** 2) for m in corners]))
            for key in ("before_px", "after_px")
        )
        if part.assessment.frame.name != "c1":
            assert after < before


@pytest.mark.slow
def test_another_dial_value_is_carried_over_by_the_rig() -> None:
    # dial -0.25 of a rig whose positive goes back 3.2 mm a unit: 0.8 mm forward
    moved = solved_elsewhere("a2", 0.8, dial_now=-0.25)
    found = check_together([frame("a1"), moved])
    assert found.parts[1].stands_mm == pytest.approx(0.8)
    own = [part.offset.value for part in found.parts]
    assert own[1] - own[0] == pytest.approx(0.0, abs=0.45)
    assert found.decision.move.before == 0.0
    unmeasured = replace(BACK, mm_per_unit=None)
    pair = [
        as_bite_frame(frames_of_one()[name], name=name, dial=unmeasured, dial_now=now)
        for name, now in (("a1", 0.0), ("a2", 1.0))
    ]
    with pytest.raises(InputError, match="bite dial"):
        check_together(pair)


@pytest.mark.slow
def test_a_frame_that_disagrees_widens_the_answer_and_two_cannot_say_which(two) -> None:
    found = check_together([frame("a1"), solved_elsewhere("a2", -3.5)])
    agree = next(f for f in found.findings if f.code == "frames-agree")
    assert agree.severity == "warn" and "third" in agree.todo
    assert found.offset.sd > 2 * two.offset.sd
    assert found.decision.verdict is Verdict.UNSURE


@pytest.mark.slow
def test_a_frame_that_fails_its_own_check_is_left_out() -> None:
    made = frame("a2")
    view = made.views[0]
    dark = replace(made, views=(replace(view, image=np.zeros_like(view.image)),))
    found = check_together([frame("a1"), dark])
    assert found.parts[1].role is Role.LEFT_OUT and found.parts[1].why_left_out
    assert found.joint is None and found.decision.verdict is Verdict.UNSURE
    assert "1 of 2 frames" in found.decision.why and found.decision.move is None


@pytest.mark.slow
def test_strangers_are_refused_in_one_line() -> None:
    one, other = frame("a1"), frame("a2")
    rig = other.rig
    assert rig is not None
    cases = {
        "one frame alone": [one],
        "also the name": [one, replace(other, file=replace(other.file, name="a1"))],
        "performer": [one, replace(other, file=replace(other.file, performer="plover"))],
        r"\[corners\]": [one, replace(other, rig=replace(rig, corners={**rig.corners, "11d": 5}))],
        "teeth of": [one, replace(other, rig=replace(rig, teeth="scanned"))],
        r"\[dial\]": [one, replace(other, rig=replace(rig, dial=replace(rig.dial, mm_per_unit=2.0)))],
        "names no rig": [one, replace(other, rig=None)],
        "solved": [one, replace(other, file=replace(other.file, solved=None))],
        "enamel": [one, replace(other, device=replace(other.device, enamel_bias_mm=0.4))],
        "count twice": [
            replace(one, hashes={"front.png": "sha256:aa"}),
            replace(other, hashes={"front.png": "sha256:aa"}),
        ],
    }
    for words, frames in cases.items():
        with pytest.raises(InputError, match=words) as caught:
            check_together(frames)
        assert "\n" not in str(caught.value)


def test_it_is_public() -> None:
    assert bite.check_together is check_together and "Together" in bite.__all__


def test_a_five_pixel_misclick_is_named_in_a_two_view_frame() -> None:
    sensor = replace(DEPTH.sensor, focal_px=900.0)
    shot = Shot(distance_mm=320.0, views=2, turn_deg=0.0)
    settings = replace(DEPTH, depth=False, picture=None, sensor=sensor, shot=shot)
    made = as_bite_frame(simulate(np.random.default_rng(4), settings))
    clean = bite.check_frame(made)
    told = next(f for f in clean.findings if f.code == "views-agree")
    assert told.severity == "ok" and len(clean.triangulated) >= 4
    corners = made.views[1].corners
    point = corners.points["21d"]
    wrong = CornerPoint(CornerState.SEEN, point.x_px + 4.0, point.y_px - 3.0, point.sigma_px)
    side = replace(made.views[1], corners=replace(corners, points={**corners.points, "21d": wrong}))
    found = bite.check_frame(replace(made, views=(made.views[0], side)))
    told = next(f for f in found.findings if f.code == "views-agree")
    assert told.severity == "warn" and told.text.startswith("21d in view side") and "21d" in told.todo
    # the click is known to about half a pixel
    assert told.measured == pytest.approx(5.0, abs=2.0)
