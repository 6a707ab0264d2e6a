"""Findings that call moving teeth the wrong cure forbid a move, and the cause is told first."""

from __future__ import annotations

import pytest

from bite.check.checks.corners_plausible import corners_plausible
from bite.check.checks.depth_agrees import depth_agrees
from bite.check.checks.lateral import lateral
from bite.check.checks.rows_agree import rows_agree
from bite.check.decision import Verdict, decide, propose
from bite.check.finding import Finding, Severity, told_first
from bite.check.lips_doubt import with_lips_doubt
from bite.check.words import instruction
from bite.evidence.depth.hair_found import HairFound, lips_beside_hair
from bite.evidence.mouth.spans import CrownSpan
from bite.files.rig import Dial
from bite.stats.estimate import Estimate

DIAL = Dial(True, 3.0, None, None, 1.0, 0.01)


def _decided(offset: Estimate, dial: Dial = DIAL, findings: tuple[Finding, ...] = ()):
    return decide(solved=True, offset=offset, findings=findings, dial=dial, dial_before=0.0)


def _failed(code: str, todo: str = "") -> Finding:
    return Finding(code, Severity.FAIL, f"{code} is off", todo)


def test_the_cause_comes_before_what_follows_from_it() -> None:
    found = [_failed("corners-plausible"), _failed("lateral"), _failed("registered"), _failed("skin-agrees")]
    assert [f.code for f in told_first(found)] == [
        "registered",
        "skin-agrees",
        "lateral",
        "corners-plausible",
    ]
    fine = Finding("registered", Severity.WARN, "")
    assert told_first([fine]) == []


def test_a_failed_finding_gives_the_headline_its_one_thing_to_do() -> None:
    decision = _decided(Estimate(1.0, 0.1), findings=(_failed("skin-agrees", "mend the lips"),))
    assert decision.verdict is Verdict.UNSURE and decision.todo == "mend the lips"
    assert instruction(decision, Estimate(1.0, 0.1), 0.01) == "do not move the teeth: mend the lips"
    assert "skin-agrees is off" in decision.why and "+1.00" in decision.why


@pytest.mark.parametrize(
    ("right", "up", "severity"),
    [
        (Estimate(-2.7, 0.1), Estimate(0.0, 0.1), Severity.FAIL),
        (Estimate(0.0, 0.1), Estimate(1.2, 0.1), Severity.FAIL),
        (Estimate(1.2, 0.5), Estimate(0.0, 0.1), Severity.WARN),
        (Estimate(0.8, 0.1), Estimate(0.0, 0.1), Severity.WARN),
        (Estimate(0.2, 0.1), Estimate(0.0, 0.1), Severity.OK),
    ],
)
def test_teeth_far_beside_their_clicks_fail(right: Estimate, up: Estimate, severity: Severity) -> None:
    assert lateral(right, up, 0.5).severity is severity


def test_clicks_that_are_all_off_by_one_shift_fail_where_the_picture_says_so_too() -> None:
    """All corners 1 mm too low on a frame of the demo: a move that was off by 0.52 mm."""
    found = lateral(Estimate(0.1, 0.1), Estimate(-0.9, 0.2), 0.5, clicked_off_the_edge=True)
    assert found.severity is Severity.FAIL and "click the upper corners again" in found.todo
    within = lateral(Estimate(0.1, 0.1), Estimate(-0.4, 0.2), 0.5, clicked_off_the_edge=True)
    assert within.severity is Severity.OK
    assert lateral(Estimate(0.1, 0.1), Estimate(-0.9, 0.2), 0.5).severity is Severity.WARN


def test_rows_of_another_bite_fail_and_depth_of_another_surface_does() -> None:
    assert rows_agree(Estimate(-6.4, 0.5)).severity is Severity.FAIL
    assert rows_agree(Estimate(-0.9, 0.2)).severity is Severity.WARN
    assert depth_agrees(2500.0, 0.987).severity is Severity.OK
    assert depth_agrees(78.5, 0.2).severity is Severity.FAIL


def test_a_distance_that_no_teeth_have_is_blamed_on_the_reading() -> None:
    wide = CrownSpan(("11d", "21d"), "depth", 219.0, 1.0, 17.2, 1.2)
    assert "no teeth are so" in corners_plausible((wide,), clicked=True).todo
    child = CrownSpan(("11d", "21d"), "depth", 12.0, 0.3, 17.2, 1.2)
    assert "child" in corners_plausible((child,), clicked=True).todo
    swapped = CrownSpan(("41d", "31d"), "depth", 17.0, 0.3, 10.5, 0.9)
    assert "rows are swapped" in corners_plausible((swapped,), clicked=True).todo


def test_hair_explains_lips_and_a_bare_face_does_not() -> None:
    beard = HairFound(True, 8.0, Estimate(1.5, 0.17), 0.1)
    bare = HairFound(True, 8.0, Estimate(0.4, 0.2), 0.1)
    assert lips_beside_hair(Estimate(1.5, 0.1), beard).value == 0.0
    assert lips_beside_hair(Estimate(1.5, 0.1), bare) == Estimate(1.5, 0.1)
    assert lips_beside_hair(Estimate(-1.2, 0.1), beard).value == -1.2
    assert lips_beside_hair(None, beard) is None


def test_lips_within_chance_cost_nothing() -> None:
    assert with_lips_doubt("fit", None) == "fit"  # type: ignore[arg-type,comparison-overlap]  # stand-ins
    assert with_lips_doubt("fit", Estimate(0.1, 0.06)) == "fit"  # type: ignore[arg-type,comparison-overlap]  # stand-ins


def test_a_coarse_step_is_told_and_never_a_move_from_0_to_0() -> None:
    coarse = Dial(True, 3.0, None, None, 1.0, 0.5)
    decision = _decided(Estimate(0.7, 0.1), coarse)
    assert decision.verdict is Verdict.BEYOND and decision.move.left_over_mm == pytest.approx(0.7)
    long = Dial(True, 10.0, None, None, 1.0, 0.1)
    decision = _decided(Estimate(1.45, 0.1), long)
    assert decision.verdict is Verdict.MOVE and decision.move.left_over_mm == pytest.approx(0.45)
    assert "which leaves 0.5 mm forward" in decision.why or "which leaves 0.4 mm forward" in decision.why
    none_nearer = _decided(Estimate(0.49, 0.2), coarse)
    assert none_nearer.verdict is Verdict.UNSURE and "no step" in none_nearer.why


def test_what_is_left_within_tolerance_is_a_move() -> None:
    short = Dial(True, 1.5, None, None, 1.0, 0.01)
    decision = _decided(Estimate(1.52, 0.1), short)
    assert decision.verdict is Verdict.MOVE and decision.move.saturated
    assert "leaves" not in decision.why and "its end at -1.00" in decision.why
    assert _decided(Estimate(2.2, 0.1), short).verdict is Verdict.BEYOND


def test_what_is_not_known_of_the_dial_is_in_its_interval() -> None:
    sure, unsure = (
        propose(Estimate(1.5, 0.1), DIAL, 0.0),
        propose(Estimate(1.5, 0.1), Dial(True, 3.0, 0.6, None, 1.0, 0.01), 0.0),
    )
    assert sure.after == unsure.after
    width = [move.interval[1] - move.interval[0] for move in (sure, unsure)]
    # 20 % of 1.5 mm beside 0.1 mm
    assert width[1] / width[0] == pytest.approx(10**0.5, rel=1e-6)
