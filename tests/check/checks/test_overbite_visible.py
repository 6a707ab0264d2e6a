from dataclasses import replace

from bite.check.checks.overbite_visible import overbite_visible
from bite.check.finding import Severity
from bite.evidence.enamel.enamel_reach import EnamelReach
from bite.files.corners import CornerState

COVERED = dict.fromkeys(("41d", "41m", "31m", "31d"), CornerState.COVERED)
SHOWN = EnamelReach(4.5, 0.2, False, 30)


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
    cut = overbite_visible(states, replace(SHOWN, at_end=True), None, lower_left_out=False).text
    assert "at least" not in measured
    assert cut.count("at least") == 2
    assert cut.replace("at least ", "") == measured
