from dataclasses import replace

import numpy as np
import pytest

from bite.check.checks.bite_gap import LIMIT_MM, bite_gap
from bite.check.finding import Severity
from bite.evidence.enamel.below_edge import Below, BelowEdge
from bite.stats.estimate import Estimate


def below(kind, band_mm=None, shown_mm=None):
    return BelowEdge(
        kind,
        np.zeros((40, 2)),
        np.zeros(40, np.int64),
        band_mm,
        None if band_mm is None else 0.1,
        None if band_mm is None else 0.4,
        shown_mm,
        None if shown_mm is None else 0.1,
        0.9,
        True,
        40,
        shown_to_end=False,
    )


CLOSED, LIP = below(Below.ENAMEL, 0.8, 2.0), below(Below.UNSEEN, 0.6)
OPEN, DOUBT = below(Below.APART, 2.2), below(Below.DOUBT, 1.1)


def test_a_grey_picture_that_cannot_tell_is_looked_at_by_a_person():
    colour, grey = bite_gap(None, LIP), bite_gap(None, replace(LIP, colour_used=False))
    assert {colour.severity, grey.severity} == {Severity.NOTE}
    assert "in sight" in colour.todo and "grey" not in colour.text
    assert "in a grey picture" in grey.text and grey.todo.startswith("look at the picture yourself")


def test_usual_bite_is_ok_and_a_shadow_line_is_no_gap():
    found = bite_gap(None, CLOSED)
    assert found.severity is Severity.OK and found.measured is None
    assert "shadow line of 0.8 mm" in found.text


def test_opening_in_corners_and_picture_asks_for_another_frame():
    found = bite_gap(Estimate(2.4, 0.2), OPEN)
    assert found.severity is Severity.FAIL and found.needs_reshoot
    assert found.measured == 2.4 and "another frame" in found.todo


def test_opening_in_the_picture_alone_fails_and_is_measured_there():
    found = bite_gap(None, OPEN)
    assert found.needs_reshoot and found.measured == 2.2


@pytest.mark.parametrize(
    ("gap", "fails"),
    [
        (Estimate(LIMIT_MM + 0.01, 0.1), True),
        (Estimate(LIMIT_MM - 0.01, 0.1), False),
        (Estimate(0.9, 0.5), False),
    ],
    ids=["above", "below", "not known to two sd"],
)
@pytest.mark.parametrize("seen", [None, LIP], ids=["not read", "lip"])
def test_boundary_of_the_corner_gap(gap, fails, seen):
    assert (bite_gap(gap, seen).severity is Severity.FAIL) == fails


@pytest.mark.parametrize("seen", [LIP, None, below(Below.NOT_READ)])
def test_a_lip_below_the_edge_says_nothing(seen):
    found = bite_gap(None, seen)
    assert found.severity is Severity.NOTE and found.measured is None and not found.needs_reshoot


def test_a_band_that_may_be_either_is_a_doubt():
    found = bite_gap(None, DOUBT)
    assert found.severity is Severity.WARN and "slightly apart" in found.text and found.measured is None


def test_corners_settle_a_doubt():
    assert bite_gap(Estimate(-1.0, 0.2), DOUBT).severity is Severity.OK


@pytest.mark.parametrize(
    ("gap", "seen"), [(Estimate(2.0, 0.2), CLOSED), (Estimate(-2.0, 0.2), OPEN)], ids=["clicks", "picture"]
)
def test_disagreement_is_a_warning(gap, seen):
    found = bite_gap(gap, seen)
    assert found.severity is Severity.WARN and "disagree" in found.text
