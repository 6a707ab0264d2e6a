"""Rounding and the one-line answer."""

import numpy as np
import pytest

from bite.check.decision import Verdict
from bite.check.finding import Finding, Severity
from bite.check.words import dial_told, headline, interval_told, measured_told, reason, rounded_pair, told
from bite.files.rig import Dial
from bite.stats.estimate import Estimate
from tests.check.told.conftest import EARNED, FINDINGS


@pytest.mark.parametrize(
    ("value", "sd", "expected"),
    [
        (1.4182, 0.1123, ("1.42", "0.11")),
        (1.4182, 0.0996, ("1.42", "0.10")),
        (0.0, 1.0, ("0.0", "1.0")),
        (-0.004, 0.11, ("0.00", "0.11")),
        (12.3456, 9.96, ("12", "10")),
        (1234.5, 271.0, ("1230", "270")),
        (3.0e-5, 1.234e-6, ("0.0000300", "0.0000012")),
        (1.4182, 0.0, ("1.42", "0")),
        (1.4182, float("inf"), ("1.42", "inf")),
    ],
)
def test_value_and_sd_are_rounded_to_one_place(value: float, sd: float, expected: tuple[str, str]) -> None:
    assert rounded_pair(value, sd) == expected


def test_rounding_stays_within_half_a_place_of_the_number() -> None:
    rng = np.random.default_rng(3)
    for value, sd in zip(rng.normal(0, 50, 300), 10 ** rng.uniform(-4, 3, 300), strict=True):
        shown, shown_sd = map(float, rounded_pair(value, sd))
        place = 10.0 ** (np.floor(np.log10(shown_sd)) - 1)
        # half a unit of the last place, which for an sd that rounds up to the next power is ten times smaller
        assert abs(shown - value) <= 0.5 * place * (1 + 1e-9)
        assert abs(shown_sd - sd) <= 0.5 * place * (1 + 1e-9)


def test_interval_is_given_to_the_place_of_the_sd() -> None:
    assert interval_told(Estimate(1.0, 0.112), "mm") == "+0.78 to +1.22 mm"
    assert told(Estimate(-1.0, 0.112), "mm", sign=True, pm="±") == "-1.00 ± 0.11 mm"


def test_dial_values_keep_the_step_of_the_dial() -> None:
    assert dial_told(-0.4405, 0.0005) == "-0.4405"
    assert dial_told(0.5, 0.1) == "0.50"


def test_measured_without_sd_or_limit() -> None:
    assert measured_told(Finding("a", Severity.OK, "")) == ""
    assert measured_told(Finding("a", Severity.OK, "", measured=0.712, unit="1")) == "measured 0.712"


def test_headline_of_each_verdict(fake) -> None:
    move = fake().make()
    to = "set the dial from 0.00 to -0.44"
    assert headline(move) == f"tern-a07: MOVE - move the teeth 1.42 +- 0.11 mm forward: {to}"
    assert reason(move) == ""
    beyond = fake(offset=Estimate(4.1, 0.2)).make()
    assert beyond.decision.verdict is Verdict.BEYOND
    assert "to its end at -1.00, which leaves 0.9 mm forward" in headline(beyond)
    leave = fake(offset=Estimate(0.1, 0.12)).make()
    assert headline(leave) == "tern-a07: LEAVE - leave the teeth where they are: the dial stays at 0.00"
    assert "within 0.5 mm already" in reason(leave)
    usable = fake(findings=FINDINGS + EARNED, solved=False, offset=None).make()
    assert headline(usable) == "tern-a07: USABLE - the frame can register a bite"


def test_a_dial_with_a_fine_step_is_told_in_full(fake) -> None:
    told_in_full = headline(fake(dial=Dial(True, 3.2, None, None, 1.0, 0.001)).make())
    assert told_in_full.endswith("to -0.444")


def test_an_unmeasured_dial_asks_for_its_measurement(fake) -> None:
    found = fake(dial=Dial(True, None, None, None, 1.0, 0.01)).make()
    assert "1.4 mm forward" in headline(found)
    assert "measure it" in headline(found)
