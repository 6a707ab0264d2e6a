from dataclasses import replace

import numpy as np
import pytest

from bite.check.checks.bite_gap import LIMIT_MM, bite_gap
from bite.check.finding import Severity
from bite.evidence.enamel.enamel_reach import EnamelReach
from bite.evidence.enamel.gap_scan import GapScan, LineShare
from bite.stats.estimate import Estimate


def scan(overlap=0.0, shadow=0.0, opening=0.0, end=0.0, opening_mm=None, lines=40):
    shares = [LineShare(value, 0.05) for value in (overlap, shadow, opening, end)]
    return GapScan(
        np.zeros((lines, 2)),
        np.zeros(lines, int),
        np.zeros(lines),
        np.zeros(lines),
        *shares,
        band_mm=0.3,
        band_sd_mm=0.2,
        opening_mm=opening_mm,
        opening_sd_mm=None if opening_mm is None else 0.1,
        band_darkness=0.1,
        band_darkness_sd=0.02,
        open_end_mm=5.0 if end else None,
        colour_used=True,
        lines_read=lines,
        lines_tried=lines,
    )


SHOWN, LIP = EnamelReach(4.0, 0.2, False, 30), EnamelReach(0.1, 0.1, False, 30)


def test_usual_bite_is_ok_and_measures_no_gap():
    found = bite_gap(None, scan(shadow=0.9, overlap=0.1), SHOWN)
    assert found.severity is Severity.OK and found.measured is None and "usual bite" in found.text


def test_opening_in_corners_and_picture_asks_for_another_frame():
    found = bite_gap(Estimate(2.4, 0.2), scan(opening=1.0, opening_mm=1.5), SHOWN)
    assert found.severity is Severity.FAIL and found.needs_reshoot
    assert found.measured == 2.4 and "another frame" in found.todo


def test_opening_in_the_picture_alone_fails_and_is_measured_there():
    found = bite_gap(None, scan(opening=0.9, shadow=0.1, opening_mm=1.5), None)
    assert found.needs_reshoot and found.measured == 1.5


@pytest.mark.parametrize(
    ("gap", "fails"),
    [
        (Estimate(LIMIT_MM + 0.01, 0.1), True),
        (Estimate(LIMIT_MM - 0.01, 0.1), False),
        (Estimate(0.9, 0.5), False),
    ],
    ids=["above", "below", "not known to two sd"],
)
def test_boundary_of_the_corner_gap(gap, fails):
    assert (bite_gap(gap, None, None).severity is Severity.FAIL) == fails


def test_a_lip_below_the_edge_is_no_opening():
    found = bite_gap(None, scan(end=1.0), LIP)
    assert found.severity is Severity.NOTE and not found.needs_reshoot


def test_thin_band_is_left_to_the_corners():
    assert bite_gap(None, scan(opening=0.9, opening_mm=0.55), SHOWN).severity is not Severity.FAIL


def test_disagreement_is_a_warning():
    found = bite_gap(Estimate(2.0, 0.2), scan(overlap=1.0), SHOWN)
    assert found.severity is Severity.WARN and "disagree" in found.text


def test_too_few_lines_say_nothing():
    found = bite_gap(None, replace(scan(opening=1.0, opening_mm=2.0), lines_read=4), SHOWN)
    assert found.severity is Severity.NOTE
