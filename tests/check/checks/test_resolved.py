from dataclasses import replace

import numpy as np
import pytest

from bite.check.checks.resolved import LEAST_PX, resolved
from bite.check.finding import Severity
from bite.evidence.clicks.tooth_row import DownSource, ToothRow
from bite.evidence.depth.cover import DepthCover
from bite.evidence.mouth.place import Mouth


def mouth(crown_px):
    row = ToothRow(
        np.array([1.0, 0.0]),
        np.array([0.0, 1.0]),
        np.array([[50.0, 50.0], [50.0 + 2 * crown_px, 50.0]]),
        np.zeros((0, 2)),
        False,
        crown_px,
        DownSource.TOOTH_ORDER,
        False,
    )
    return Mouth(row, True, 8.6 / crown_px, 0.01, "usual crown widths", None)


COVER = DepthCover(0.9, 0.9, 500, 14.0, 0.5, 0.4, 0.4, 2.0)


@pytest.mark.parametrize(
    ("crown_px", "severity"), [(30.0, Severity.OK), (LEAST_PX, Severity.OK), (11.99, Severity.FAIL)]
)
def test_pixels_per_incisor(crown_px, severity):
    found = resolved(mouth(crown_px), None, None)
    assert found.severity is severity and found.needs_reshoot == (severity is Severity.FAIL)


def test_the_number_is_told():
    assert "5.1 px per incisor, needed 12" in resolved(mouth(5.1), None, None).text


@pytest.mark.parametrize(("strip", "warns"), [(6.0, False), (5.9, True)])
def test_strip_of_enamel_against_the_blur(strip, warns):
    found = resolved(mouth(30.0), replace(COVER, strip_px=strip), 2.0)
    assert (found.severity is Severity.WARN) == warns


def test_unknown_is_a_note_and_null():
    found = resolved(None, None, None)
    assert found.severity is Severity.NOTE and found.measured is None
