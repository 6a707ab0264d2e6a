"""Framing, device, lateral offsets, the fit itself, and the clicks against each other."""

from dataclasses import replace

import numpy as np
import pytest

from bite.check.checks.fit_sound import clicks_agree, fit_sound
from bite.check.checks.framed import framed
from bite.check.checks.lateral import lateral
from bite.check.checks.same_device import same_device
from bite.check.finding import Severity
from bite.evidence.clicks.click_residuals import ClickResidual
from bite.evidence.mouth.framing import Framing
from bite.fit.corner_block import Use
from bite.stats.estimate import Estimate

FRAMING = Framing(320.0, 3.0, 8.0, 1.0, 90.0, 110.0, None)


@pytest.mark.parametrize(
    ("change", "severity"),
    [
        ({}, Severity.OK),
        ({"turn_deg": -25.1}, Severity.WARN),
        ({"turn_deg": 24.9}, Severity.OK),
        ({"below_deg": 40.1}, Severity.WARN),
        ({"below_deg": -30.1}, Severity.WARN),
        ({"border_mm": 11.9}, Severity.WARN),
        ({"under_mm": 44.0}, Severity.NOTE),
        ({"turn_deg": None, "below_deg": None, "distance_mm": None}, Severity.OK),
    ],
)
def test_framed(change, severity):
    assert framed(replace(FRAMING, **change)).severity is severity


def test_framing_unknown_is_a_note():
    assert framed(None).severity is Severity.NOTE


@pytest.mark.parametrize(
    ("performance", "severity"), [("a", Severity.OK), ("b", Severity.WARN), (None, Severity.NOTE)]
)
def test_same_device(performance, severity):
    found = same_device("a", performance)
    assert found.severity is severity
    assert (performance is None) == ("not compared" in found.text)


@pytest.mark.parametrize(
    ("right", "up", "warns"),
    [
        (Estimate(0.4, 0.1), Estimate(-0.2, 0.1), False),
        (Estimate(0.51, 0.1), Estimate(0.0, 0.1), True),
        (Estimate(0.0, 0.1), Estimate(-0.6, 0.31), False),
        (Estimate(0.0, 0.1), Estimate(-0.6, 0.29), True),
    ],
)
def test_lateral(right, up, warns):
    found = lateral(right, up, 0.5)
    assert (found.severity is Severity.WARN) == warns
    assert not warns or "dial" in found.todo


def ended(**change):
    return fit_sound(**({"converged": True, "stop_reason": "x", "rounds": 4, "at_bound": ()} | change))


@pytest.mark.parametrize(
    ("change", "severity"),
    [
        ({}, Severity.OK),
        ({"converged": False}, Severity.WARN),
        ({"at_bound": ("smoothing_px",)}, Severity.WARN),
    ],
)
def test_fit_sound(change, severity):
    assert ended(**change).severity is severity


def click(off_sd, name="11d", use=Use.CORNER):
    return ClickResidual("front", name, use, np.array([off_sd, 0.0]), 1.0, off_sd)


def test_good_clicks_are_ok():
    assert clicks_agree((click(1.0), click(1.4, "21d"))).severity is Severity.OK


def test_bad_clicks_name_the_worst():
    found = clicks_agree((click(1.0), click(4.1, "21d"), click(0.5, "11m")))
    assert found.severity is Severity.WARN and "21d in view front" in found.todo


def test_mean_square_between_the_limits_is_a_note():
    found = clicks_agree((click(2.3), click(2.4, "21d")))
    # (2.3^2 + 2.4^2) / 4 = 2.76, between 2.5 and 4
    assert found.severity is Severity.NOTE and found.measured == pytest.approx(2.7625)


def test_a_single_click_says_nothing():
    assert clicks_agree((click(9.0),)).measured is None


def test_a_covered_corner_far_beyond_its_bound_is_named():
    found = clicks_agree((click(0.5), click(0.5, "21d"), click(4.5, "41d", Use.BOUND)))
    assert found.severity is Severity.WARN and "41d" in found.todo
