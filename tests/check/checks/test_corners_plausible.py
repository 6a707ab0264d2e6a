import pytest

from bite.check.checks.corners_plausible import corners_plausible
from bite.check.finding import Severity
from bite.evidence.mouth.spans import CrownSpan, Through


def span(mm):
    return CrownSpan(("11d", "21d"), Through.DEPTH, mm, 0.3, 16.7, 1.3)


SPREAD = (0.3**2 + 1.3**2) ** 0.5


@pytest.mark.parametrize(
    ("off_sd", "severity"),
    [
        (0.0, Severity.OK),
        (2.99, Severity.OK),
        (3.01, Severity.WARN),
        (-4.49, Severity.WARN),
        (-4.51, Severity.FAIL),
    ],
)
def test_severity_by_distance_from_the_population(off_sd, severity):
    found = corners_plausible((span(16.7 + off_sd * SPREAD),), clicked=True)
    assert found.severity is severity and found.unit == "mm"
    assert bool(found.todo) == (severity is not Severity.OK)


def test_the_worst_span_is_told():
    found = corners_plausible((span(16.7), span(25.0)), clicked=True)
    assert found.measured == 25.0 and "11d and 21d" in found.text


def test_without_clicks_it_asks_for_them():
    found = corners_plausible((), clicked=False)
    assert found.severity is Severity.NOTE and "bite annotate" in found.todo


def test_clicks_without_a_span_are_a_note():
    assert corners_plausible((), clicked=True).severity is Severity.NOTE
