"""The short text of a check: never long, worst first, and honest about what it leaves out."""

from pathlib import Path

import pytest

from bite.check.brief import MOST_LINES, brief
from bite.check.finding import Finding, Severity
from bite.check.text import WIDTH
from bite.stats.estimate import Estimate

PICTURE = Path("out/tern-a07.before-after.png")


def findings(count: int, severity: Severity = Severity.WARN) -> tuple[Finding, ...]:
    words = "something was found here that takes more than one line to tell whoever has to read it at night"
    return tuple(Finding(f"made-up-{k}", severity, words, f"do number {k}") for k in range(count))


@pytest.mark.parametrize("count", [0, 1, 3, 12, 60])
@pytest.mark.parametrize("sd", [0.1, 0.9])
def test_never_more_than_fifteen_lines_of_a_hundred_columns(fake, count: int, sd: float) -> None:
    lines = brief(fake(offset=Estimate(1.4, sd), findings=findings(count)).make(), PICTURE).splitlines()
    assert len(lines) <= MOST_LINES and max(map(len, lines)) <= WIDTH


def test_what_is_left_out_is_counted(fake) -> None:
    text = brief(fake(findings=findings(9)).make(), PICTURE)
    shown = text.count("made-up-")
    assert 0 < shown < 9 and f"{9 - shown} more to know of, 0 checks ok; --full tells all" in text


def test_the_worst_finding_is_told_whatever_its_length(fake) -> None:
    long = Finding("made-up", Severity.FAIL, "word " * 400, "mend it")
    lines = brief(fake(findings=(long,)).make(), PICTURE).splitlines()
    assert len(lines) <= MOST_LINES and any("FAIL  made-up" in line for line in lines)


def test_verdict_numbers_picture_and_caution_stand_in_this_order(fake) -> None:
    text = brief(fake().make(), PICTURE)
    order = ("MOVE - ", "offset  +1.4", "dial    0.00 to", "WARN", str(PICTURE), "Not a")
    places = [text.index(words) for words in order]
    assert places == sorted(places)


def test_a_refusal_says_its_reason_once_and_advises_no_value(fake, gaped) -> None:
    text = " ".join(brief(fake(findings=(gaped,)).make(), PICTURE).split())
    assert "RESHOOT" in text and "NOT ADVISED" in text and "set the dial" not in text
    assert text.count(" ".join(gaped.text.split())) == 1 and f"To do: {gaped.todo}" in text
