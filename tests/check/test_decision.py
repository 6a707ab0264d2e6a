"""From an offset to a dial value or a refusal: bounds, steps, both directions, and which verdict wins."""

from __future__ import annotations

import numpy as np
import pytest

from bite.check.decision import Verdict, chance_within, decide, dial_travel, propose, stands_at
from bite.check.earned import CANNOT_TELL
from bite.check.finding import Finding, Severity
from bite.check.words import instruction
from bite.files.rig import Dial
from bite.geometry.rigid import frozen
from bite.stats.estimate import Estimate

BACK = Dial(True, 3.2, None, None, 1.0, 0.01)
FORWARD = Dial(False, 3.2, None, None, 1.0, 0.01)
UNIT = Dial(False, 1.0, None, None, 1.0, 0.01)
CURVED = Dial(True, None, None, frozen([[-1.0, 3.1], [0.0, 0.0], [1.0, -3.3]]), 1.0, 0.01)
FAIL = Finding("sharp", Severity.FAIL, "the teeth are blurred", needs_reshoot=True)
MODEL_FAIL = Finding("skin-agrees", Severity.FAIL, "the solved lips are elsewhere")


def decided(offset: Estimate | None, dial: Dial | None = BACK, before: float | None = 0.0, **more):
    settings = {"solved": True, "findings": [], **more}
    return decide(offset=offset, dial=dial, dial_before=before, settle="show more teeth", **settings)


def test_a_sweep_is_bounded_odd_and_monotone() -> None:
    raw = np.linspace(-10, 10, 401)
    moves = [propose(Estimate(t, 0.2), FORWARD, 0.0) for t in raw]
    after = np.array([move.after for move in moves])
    np.testing.assert_array_equal(after, -after[::-1])
    assert (np.diff(after) >= 0).all() and after[200] == 0.0
    assert (np.abs(after) <= 1.0).all()
    assert [move.saturated for move in moves] == [bool(abs(t) > 3.2 + 1e-9) for t in raw]
    for t, move in zip(raw, moves, strict=True):
        left = t - move.stands_for_mm
        # half a step of rounding unless the dial ends first, told where it makes a tenth of a millimetre
        told = move.saturated or abs(left) > 0.0499
        assert move.left_over_mm == pytest.approx(left if told else 0.0, abs=0.0501 if not told else 1e-9)
        assert move.saturated or abs(left) <= 0.005 * 3.2 + 1e-9


def test_the_direction_belongs_to_the_rig() -> None:
    assert propose(Estimate(1.42, 0.11), BACK, 0.0).after == -0.44
    assert propose(Estimate(1.42, 0.11), FORWARD, 0.0).after == 0.44


def test_a_starting_dial_counts() -> None:
    move = propose(Estimate(1.6, 0.1), BACK, 0.25)
    assert move.after == -0.25 and move.before == 0.25
    full = propose(Estimate(-3.0, 0.1), BACK, 0.25)
    assert full.after == 1.0 and full.left_over_mm == pytest.approx(-3.0 + 0.75 * 3.2)


def test_a_measured_travel_is_followed_and_continued() -> None:
    assert propose(Estimate(1.55, 0.1), CURVED, 0.0).after == -0.5
    assert propose(Estimate(-1.65, 0.1), CURVED, 0.0).after == 0.5
    short = Dial(True, None, None, frozen([[-1.0, 3.1], [0.0, 0.0], [0.5, -1.5]]), 1.0, 0.01)
    assert dial_travel(short)[-1].tolist() == [1.0, -3.0]


def test_the_step_is_kept_within_the_limit() -> None:
    coarse = Dial(False, 1.0, None, None, 1.0, 0.3)
    assert propose(Estimate(5.0, 0.1), coarse, 0.0).after == pytest.approx(0.9)


@pytest.mark.parametrize("step", [0.01, 0.07, 0.3, 0.4, 0.6, 0.7, 1.0])
@pytest.mark.parametrize("limit", [0.9, 1.0, 2.5])
def test_a_dial_never_stands_beyond_its_limit_and_always_on_a_step(step: float, limit: float) -> None:
    """Also where the step does not divide the limit, and the nearest step would lead beyond it."""
    step = min(step, limit)  # a longer step is refused with the rig file
    steps = [k * step for k in range(-400, 401) if abs(k * step) <= limit + 1e-9]
    for offset in np.linspace(-4.0, 4.0, 161):
        move = propose(Estimate(offset, 0.1), Dial(False, 1.0, None, None, limit, step), 0.0)
        nearest = min(steps, key=lambda value: abs(value - min(max(offset, -limit), limit)))
        assert abs(move.after) <= limit
        assert abs(move.after - offset) == pytest.approx(abs(nearest - offset), abs=1e-9)
        assert move.stands_for_mm == pytest.approx(move.after)
        assert -limit <= move.interval[0] <= move.interval[1] <= limit


def test_half_a_step_goes_away_from_zero_both_ways() -> None:
    for offset in (0.005, 0.015, 0.125):
        forward, back = (propose(Estimate(way * offset, 0.1), UNIT, 0.0).after for way in (1.0, -1.0))
        assert forward == -back == pytest.approx(offset + 0.005)


def test_the_interval_of_the_dial_is_that_of_the_offset_within_the_limits() -> None:
    move = propose(Estimate(0.4, 0.1), UNIT, 0.2)
    assert move.interval == pytest.approx((0.6 - 0.196, 0.6 + 0.196), abs=1e-4)
    turned = propose(Estimate(0.4, 0.1), Dial(True, 1.0, None, None, 1.0, 0.01), 0.2)
    assert turned.interval == pytest.approx((-0.2 - 0.196, -0.2 + 0.196), abs=1e-4)
    clipped = propose(Estimate(0.9, 0.1), UNIT, 0.0)
    assert clipped.interval == pytest.approx((0.704, 1.0), abs=1e-4) and not clipped.saturated


def test_a_limit_other_than_one_and_a_measured_travel_that_ends_early_on_both_sides() -> None:
    wide = Dial(True, 2.0, None, None, 3.0, 0.01)
    assert dial_travel(wide).tolist() == [[-3.0, 6.0], [0.0, 0.0], [3.0, -6.0]]
    short = Dial(True, None, None, frozen([[-0.5, 1.0], [0.0, 0.0], [0.5, -2.0]]), 1.0, 0.01)
    assert dial_travel(short).tolist() == [[-1.0, 2.0], [-0.5, 1.0], [0.0, 0.0], [0.5, -2.0], [1.0, -4.0]]
    assert propose(Estimate(-3.0, 0.1), short, 0.0).after == 0.75
    assert propose(Estimate(1.5, 0.1), short, 0.0).after == -0.75


def test_where_a_dial_value_puts_the_teeth_is_told_from_dial_zero() -> None:
    away = Dial(True, None, None, frozen([[-1.0, 3.5], [0.0, 0.5], [1.0, -2.5]]), 1.0, 0.01)
    assert stands_at(away, 0.0) == 0.0
    assert stands_at(away, -0.5) == pytest.approx(1.5) and stands_at(away, 1.0) == pytest.approx(-3.0)
    assert stands_at(Dial(True, None, None, None, 1.0, 0.01), 0.5) is None


@pytest.mark.parametrize(
    ("value", "sd", "verdict"),
    [
        # 1.96 sd must not exceed the tolerance of 0.5 mm
        (1.4, 0.2551, Verdict.MOVE),
        (1.4, 0.2552, Verdict.UNSURE),
        (-1.4, 0.2552, Verdict.UNSURE),
        # at 0.42 of 0.5 mm, the chance to stand within it is 80 % up to an sd of 0.095 mm
        (0.42, 0.095, Verdict.LEAVE),
        (0.42, 0.0952, Verdict.MOVE),
        (-0.42, 0.095, Verdict.LEAVE),
        (-0.42, 0.0952, Verdict.MOVE),
        (0.5, 1e-9, Verdict.MOVE),
    ],
)
def test_leave_and_move_need_knowledge(value: float, sd: float, verdict: Verdict) -> None:
    # 0.5 / 1.959964 = 0.255107; (0.5 - 0.42) / 0.841621 = 0.095055, the 80 % point of the normal
    assert decided(Estimate(value, sd)).verdict is verdict


def test_leave_keeps_the_dial_where_it_is() -> None:
    decision = decided(Estimate(0.2, 0.05), before=0.25)
    assert decision.verdict is Verdict.LEAVE
    assert decision.move.after == decision.move.before == 0.25 and decision.move.stands_for_mm == 0.0


def test_another_tolerance_counts() -> None:
    assert decided(Estimate(0.9, 0.2), tolerance_mm=1.5).verdict is Verdict.LEAVE
    assert decided(Estimate(0.9, 0.2), tolerance_mm=0.5).verdict is Verdict.MOVE
    assert decided(Estimate(0.9, 0.2), tolerance_mm=0.3).verdict is Verdict.UNSURE


@pytest.mark.parametrize(
    ("offset", "verdict"),
    [
        (Estimate(0.1, 0.1), Verdict.LEAVE),
        (Estimate(0.45, 0.1), Verdict.MOVE),
        (Estimate(1.4, 0.1), Verdict.MOVE),
        (Estimate(-1.4, 0.1), Verdict.MOVE),
        (Estimate(4.5, 0.2), Verdict.BEYOND),
        (Estimate(1.4, 0.3), Verdict.UNSURE),
        (Estimate(0.0, 0.3), Verdict.UNSURE),
        (None, Verdict.UNSURE),
    ],
)
def test_verdicts(offset: Estimate | None, verdict: Verdict) -> None:
    assert decided(offset).verdict is verdict


def test_an_interval_is_not_shortened_by_the_bound() -> None:
    decision = decided(Estimate(4.5, 0.2))
    assert decision.move.after == -1.0 and decision.move.left_over_mm == pytest.approx(1.3)
    assert "4.5 mm forward" in decision.why and "1.3 mm forward" in decision.why


def test_a_frame_that_cannot_register_a_bite_wins_over_everything() -> None:
    decision = decided(Estimate(1.4, 0.1), findings=[FAIL])
    assert decision.verdict is Verdict.RESHOOT
    assert decision.move.after == -0.44  # a refusal never hides the numbers
    assert decided(Estimate(1.4, 0.1), findings=[MODEL_FAIL]).verdict is Verdict.UNSURE


GOOD = [
    Finding(code, Severity.OK, f"{code} is fine")
    for code in ("on-enamel", "resolved", "enamel-lit", "sharp", "bite-gap")
]


def with_one(code: str, severity: Severity) -> list[Finding]:
    other = Finding(code, severity, f"{code} was looked at", "do this next")
    return [other if finding.code == code else finding for finding in GOOD]


def test_without_a_model_usable_is_earned() -> None:
    assert decided(None, None, None, solved=False, findings=GOOD).verdict is Verdict.USABLE
    assert decided(None, None, None, solved=False).verdict is Verdict.UNSURE


@pytest.mark.parametrize("code", ["on-enamel", "resolved", "enamel-lit", "sharp"])
@pytest.mark.parametrize("severity", [Severity.NOTE, Severity.WARN])
def test_what_was_not_measured_or_not_passed_is_unsure_and_says_what_to_do(code, severity) -> None:
    decision = decided(None, None, None, solved=False, findings=with_one(code, severity))
    assert decision.verdict is Verdict.UNSURE and "do this next" in decision.why
    missing = [finding for finding in GOOD if finding.code != code]
    assert decided(None, None, None, solved=False, findings=missing).verdict is Verdict.UNSURE


def test_rows_that_cannot_be_seen_to_meet_are_told_and_a_doubt_is_unsure() -> None:
    cannot = decided(None, None, None, solved=False, findings=with_one("bite-gap", Severity.NOTE))
    assert cannot.verdict is Verdict.USABLE and cannot.why.startswith(CANNOT_TELL)
    assert "if the teeth were closed: this picture cannot tell" in instruction(cannot, None, 0.01)
    closed = decided(None, None, None, solved=False, findings=GOOD)
    assert "cannot tell" not in instruction(closed, None, 0.01) + closed.why
    doubt = decided(None, None, None, solved=False, findings=with_one("bite-gap", Severity.WARN))
    assert doubt.verdict is Verdict.UNSURE
    nothing = [finding for finding in GOOD if finding.code != "bite-gap"]
    assert decided(None, None, None, solved=False, findings=nothing).verdict is Verdict.UNSURE


def test_without_a_model_a_failed_check_asks_for_another_frame() -> None:
    assert decided(None, None, None, solved=False, findings=[FAIL]).verdict is Verdict.RESHOOT


def test_an_unmeasured_dial_gives_millimetres_and_asks_for_the_measurement() -> None:
    decision = decided(Estimate(1.4, 0.1), Dial(True, None, None, None, 1.0, 0.01))
    assert decision.verdict is Verdict.MOVE and decision.move is None
    assert "1.4 mm forward" in decision.why and "measure it" in decision.why


def test_chance_within() -> None:
    assert chance_within(Estimate(0.5, 1e-9), 0.5) == pytest.approx(0.5)
    assert chance_within(Estimate(0.0, 0.0), 0.5) == 1.0
    assert chance_within(Estimate(0.3, 0.2), 0.5) == pytest.approx(chance_within(Estimate(-0.3, 0.2), 0.5))
