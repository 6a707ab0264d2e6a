"""From an offset to a dial value or a refusal: bounds, steps, both directions, and which verdict wins."""

from __future__ import annotations

import numpy as np
import pytest

from bite.checks.finding import Finding, Severity
from bite.decision import Verdict, chance_within, decide, dial_travel, propose
from bite.files.rig import Dial
from bite.fit.offset import Estimate
from bite.geometry.rigid import frozen

BACK = Dial(True, 3.2, None, None, 1.0, 0.01)
FORWARD = Dial(False, 3.2, None, None, 1.0, 0.01)
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
        # half a step of rounding unless the dial ends first
        assert move.left_over_mm == pytest.approx(left if move.saturated else 0.0, abs=1e-9)
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


def test_without_a_model() -> None:
    assert decided(None, None, None, solved=False).verdict is Verdict.USABLE
    assert decided(None, None, None, solved=False, findings=[FAIL]).verdict is Verdict.RESHOOT


def test_an_unmeasured_dial_gives_millimetres_and_asks_for_the_measurement() -> None:
    decision = decided(Estimate(1.4, 0.1), Dial(True, None, None, None, 1.0, 0.01))
    assert decision.verdict is Verdict.MOVE and decision.move is None
    assert "1.4 mm forward" in decision.why and "measure it" in decision.why


def test_chance_within() -> None:
    assert chance_within(Estimate(0.5, 1e-9), 0.5) == pytest.approx(0.5)
    assert chance_within(Estimate(0.0, 0.0), 0.5) == 1.0
    assert chance_within(Estimate(0.3, 0.2), 0.5) == pytest.approx(chance_within(Estimate(-0.3, 0.2), 0.5))
