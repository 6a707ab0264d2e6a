from dataclasses import replace

import pytest

from bite.check.checks.overjet_overbite import overjet_overbite_findings
from bite.check.finding import Severity
from bite.evidence.mouth.rows import BiteMeasures
from bite.stats.estimate import Estimate

USUAL = BiteMeasures(None, None, Estimate(2.8, 0.1), 2.9, Estimate(2.4, 0.2), 2.4)


def test_usual_bite_is_ok_and_shows_both_and_the_band():
    overjet, overbite = overjet_overbite_findings(USUAL)
    assert overjet.severity is overbite.severity is Severity.OK
    assert "2.8 +- 0.1 mm measured" in overjet.text and "2.9 mm in the solved model" in overjet.text
    assert "1 to 4 mm" in overjet.text and overjet.source


@pytest.mark.parametrize("mm", [-3.0, 9.0])
def test_an_unusual_mouth_is_never_a_fault(mm):
    found = overjet_overbite_findings(replace(USUAL, overjet=Estimate(mm, 0.1), overjet_solved_mm=mm))
    assert all(finding.severity in (Severity.OK, Severity.NOTE) for finding in found)


@pytest.mark.parametrize(("off", "sd", "warns"), [(1.01, 0.3, True), (0.99, 0.1, False), (1.5, 0.51, False)])
def test_measured_against_solved(off, sd, warns):
    found = overjet_overbite_findings(replace(USUAL, overjet=Estimate(2.9 + off, sd)))[0]
    assert (found.severity is Severity.WARN) == warns


def test_not_measured_is_null():
    found = overjet_overbite_findings(BiteMeasures(None, None, None, None, None, None))
    assert [finding.measured for finding in found] == [None, None]
