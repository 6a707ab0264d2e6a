import numpy as np
import pytest

from bite.check.checks.views_agree import views_agree
from bite.check.finding import Severity
from bite.evidence.clicks.misclick import ClickFault
from bite.evidence.clicks.triangulated import TriangulatedCorner


def corner(name, chi2, off=0.3):
    covariance, off_px = np.diag([0.1, 0.1, 0.81]), np.array([[0, off], [0, -off]])
    return TriangulatedCorner(name, ("front", "side"), np.zeros(3), covariance, off_px, chi2, 1)


def test_corners_that_meet_are_fine():
    found = views_agree([corner("11d", 0.5), corner("21d", 1.5, 0.5)], None)
    assert found.severity is Severity.OK and "worst 21d 0.5 px" in found.text and "0.9 mm" in found.text


@pytest.mark.parametrize(("chance", "severity"), [(0.0099, Severity.WARN), (0.0101, Severity.OK)])
def test_a_click_that_the_model_speaks_against_is_named_by_corner_and_view(chance, severity):
    fault = ClickFault("side", "21m", 5.1, 8.2, chance)
    found = views_agree([corner("11d", 0.5)], fault)
    assert found.severity is severity
    if severity is Severity.WARN:
        assert found.text.startswith("21m in view side lies 5.1 px") and "21m in view side" in found.todo
        assert found.measured == 5.1


def test_without_a_model_the_corner_is_named_and_both_views():
    found = views_agree([corner("11d", 0.5), corner("21d", 40.0, 3.0)], None)
    assert found.severity is Severity.WARN and found.text.startswith("21d") and "both views" in found.todo
