"""The text for the terminal: golden for whole answers, by behaviour for the rest."""

from dataclasses import replace
from pathlib import Path

import pytest

from bite.check.text import WIDTH, one_line, summary
from bite.stats.estimate import Estimate
from tests.check.told.conftest import EARNED, FINDINGS

GOLDEN = Path(__file__).parents[2] / "golden"


def variants(fake, gaped) -> dict:
    return {
        "move": fake(),
        "beyond": fake(offset=Estimate(4.1, 0.2)),
        "unsure": fake(offset=Estimate(1.4, 0.6), depth=False),
        "reshoot": fake(findings=(gaped, *fake().findings)),
        "usable": fake(
            findings=FINDINGS + EARNED,
            solved=False,
            offset=None,
            depth=False,
            clicked=False,
            px_per_mm=None,
        ),
        "no_offset": fake(offset=None, depth=False),
        "leave": fake(offset=Estimate(0.1, 0.12)),
    }


@pytest.mark.parametrize("name", ["move", "beyond", "reshoot", "usable", "no_offset"])
def test_golden(name: str, fake, gaped) -> None:
    expected = (GOLDEN / f"report_{name}.txt").read_text(encoding="utf-8")
    assert summary(variants(fake, gaped)[name].make()) == expected


def test_lines_fit_the_width_and_are_plain(fake, gaped) -> None:
    for made in variants(fake, gaped).values():
        text = summary(made.make())
        assert text.endswith("\n")
        assert max(map(len, text.splitlines())) <= WIDTH
        assert "\x1b" not in text
        assert "\u00a0" not in text


def test_verdict_comes_first_and_findings_worst_first(fake, gaped) -> None:
    text = summary(variants(fake, gaped)["reshoot"].make())
    assert text.startswith("tern-a07: RESHOOT - ")
    assert (
        text.index("FAIL  bite-gap")
        < text.index("WARN  depth-covered")
        < text.index("note  overbite-visible")
    )


def test_a_refusal_shows_its_numbers_but_gives_no_instruction(fake, gaped) -> None:
    for name in ("unsure", "reshoot"):
        text = summary(variants(fake, gaped)[name].make())
        assert "set the dial" not in text
        assert "NOT ADVISED" in text
        assert "-0.44" in text
        assert "95 % interval" in text


def test_sampling_and_systematic_sd_stand_apart(fake) -> None:
    lines = summary(fake().make()).splitlines()
    assert any("sampling sd" in line and "0.078 mm" in line for line in lines)
    assert any("systematic sd" in line and "0.080 mm" in line for line in lines)


def test_what_was_not_measured_says_so(fake) -> None:
    text = summary(fake(clicked=False).make())
    assert "overjet             not measured, 1.2 mm in the solved model" in text
    assert "overbite" not in text.partition("Numbers")[2]


def test_a_fit_that_did_not_converge_or_sits_on_a_bound_says_so(fake) -> None:
    found = fake().make()
    solution = replace(found.fit.solution, converged=False, at_bound=("smoothing_px",))
    text = summary(replace(found, fit=replace(found.fit, solution=solution)))
    assert "NOT CONVERGED" in text
    assert "smoothing_px" in text


def test_passed_checks_take_one_line(fake) -> None:
    lines = summary(fake().make()).splitlines()
    assert [line for line in lines if "bite-gap" in line] == ["  ok    bite-gap, sharp, resolved"]


def test_cautions_stand_in_the_long_form_only(fake) -> None:
    found = fake().make()
    assert "Not a medical device" in summary(found).splitlines()[-1]
    assert "medical" not in one_line(found)


def test_one_line_is_one_line(fake, gaped) -> None:
    for made in variants(fake, gaped).values():
        assert "\n" not in one_line(made.make())
    move = one_line(fake().make())
    assert move.endswith("move the teeth 1.42 +- 0.11 mm forward: set the dial from 0.00 to -0.44")
