import pytest

from bite.check.finding import Severity
from bite.stats.estimate import Estimate
from bite.together.frames_agree import FrameStand, frames_agree, frames_used, joint_fit_sound

ALL = Estimate(1.5, 0.2)


def stands(*chances):
    return [
        FrameStand(f"f{k}", Estimate(-1.2, 0.3), chance, Estimate(1.1, 0.1))
        for k, chance in enumerate(chances)
    ]


@pytest.mark.parametrize(
    ("chances", "severity"),
    [
        ((0.5, 0.4, 0.0168), Severity.OK),
        ((0.5, 0.4, 0.0165), Severity.WARN),
        ((0.051, 0.051), Severity.OK),
        ((0.049, 0.049), Severity.WARN),
    ],
)
def test_named_beyond_a_chance_shared_among_the_frames(chances, severity):
    assert frames_agree(stands(*chances), ALL).severity is severity


def test_the_odd_one_is_named_with_what_is_left_without_it():
    found = frames_agree(stands(0.6, 0.001, 0.7), ALL)
    assert found.text.startswith("f1 disagrees") and "1.2 mm farther back" in found.text
    assert "+1.10 +- 0.10 mm in place of +1.50" in found.todo


def test_who_was_left_out_and_a_fit_that_did_not_settle():
    assert frames_used([("a", ""), ("b", "")]).severity is Severity.OK
    found = frames_used([("a", ""), ("b", "clipped bright")])
    assert found.severity is Severity.WARN and "b: clipped bright" in found.text and found.measured == 1
    assert joint_fit_sound(converged=False, rounds=30).severity is Severity.FAIL
    assert joint_fit_sound(converged=True, rounds=5).severity is Severity.OK
