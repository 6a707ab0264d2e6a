from dataclasses import replace

import pytest

from bite.check.checks.overbite_visible import overbite_visible
from bite.check.finding import Severity
from bite.evidence.enamel.below_edge import Below
from bite.files.corners import CornerState
from bite.stats.estimate import Estimate
from tests.check.checks.test_bite_gap import below

COVERED = dict.fromkeys(("41d", "41m", "31m", "31d"), CornerState.COVERED)
SHOWN, LIP = below(Below.ENAMEL, 0.4, 4.5), below(Below.UNSEEN)


def test_covered_corners_are_usual():
    found = overbite_visible(COVERED, SHOWN, dict.fromkeys(COVERED, False), lower_left_out=False)
    assert found.severity is Severity.OK and "as in a usual bite" in found.text
    assert found.measured == 0.5 and "4 of 4" in found.text


def test_seen_corners_that_the_model_hides_are_noted():
    seen = COVERED | {"41d": CornerState.SEEN, "31d": CornerState.SEEN}
    found = overbite_visible(seen, SHOWN, dict.fromkeys(COVERED, False), lower_left_out=False)
    assert found.severity is Severity.NOTE and "covered" in found.todo


def test_lower_row_left_out_is_a_warning():
    found = overbite_visible(COVERED, SHOWN, None, lower_left_out=True, rows_contradict_sd=5.2)
    assert found.severity is Severity.WARN and "5.2 sd" in found.text


def test_nobody_clicked_below():
    found = overbite_visible({}, None, None, lower_left_out=False)
    assert found.severity is Severity.NOTE and found.measured is None


def test_enamel_that_runs_to_the_end_of_its_scan_is_told_as_the_least_that_shows() -> None:
    states = dict.fromkeys(COVERED, CornerState.SEEN)
    measured = overbite_visible(states, SHOWN, None, lower_left_out=False).text
    cut = overbite_visible(states, replace(SHOWN, shown_to_end=True), None, lower_left_out=False).text
    assert "at least" not in measured
    assert cut.count("at least") == 2
    assert cut.replace("at least ", "") == measured
def test_a_lip_is_never_told_beside_lower_enamel():
    text = overbite_visible(COVERED, LIP, None, lower_left_out=False).text
    assert "no lower enamel can be told from a lip" in text and "enamel shows" not in text


@pytest.mark.parametrize(
    ("gap", "words"),
    [
        (Estimate(-1.3, 0.5), "a reverse bite"),
        (Estimate(0.1, 0.5), "edge-to-edge"),
        (Estimate(-0.6, 0.5), ""),
        (None, ""),
    ],
)
def test_reverse_and_edge_to_edge_bites_are_named(gap, words):
    seen = {"41d": CornerState.SEEN, "31d": CornerState.SEEN}
    text = overbite_visible(seen, None, None, lower_left_out=False, gap=gap).text
    assert words in text and ("bite" in text) == bool(words)


def test_covered_corners_make_no_reverse_bite():
    text = overbite_visible(COVERED, None, None, lower_left_out=False, gap=Estimate(-2.0, 0.3)).text
    assert "reverse" not in text


def test_a_jaw_that_is_solved_open_fails_and_is_named():
    found = overbite_visible(
        COVERED, SHOWN, None, lower_left_out=True, rows_contradict_sd=16.4, rows_apart_mm=2.9
    )
    assert found.severity is Severity.FAIL and found.text.startswith("the solved jaw is not closed")
    assert "2.9 mm (16.4 sd)" in found.text and "close the jaw" in found.todo
    near = overbite_visible(COVERED, SHOWN, None, lower_left_out=True, rows_contradict_sd=5, rows_apart_mm=1)
    assert near.severity is Severity.WARN and "the solved jaw is not closed" not in near.text
