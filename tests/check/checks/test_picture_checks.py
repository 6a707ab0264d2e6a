"""Light, sharpness, contrast: limits and what is said."""

import pytest

from bite.check.checks.enamel_lit import OVER_FAIL, OVER_WARN, enamel_lit
from bite.check.checks.sharp import FAIL_MM, WARN_PX, sharp
from bite.check.checks.teeth_shown import LIMIT, teeth_shown
from bite.check.finding import Severity
from bite.evidence.enamel.enamel_contrast import ContrastBasis, EnamelContrast
from bite.evidence.picture.exposure import Exposure, Share
from bite.evidence.picture.sharpness import EdgeWidth, Sharpness


def exposure(over=0.0, under=0.0, sd=0.02):
    return Exposure(900, Share(over, sd, 50), Share(under, sd, 50), over, None, 180.0, 2.0)


@pytest.mark.parametrize(
    ("over", "under", "severity"),
    [
        (0.0, 0.0, Severity.OK),
        (OVER_WARN, 0.0, Severity.OK),
        (OVER_WARN + 0.01, 0.0, Severity.WARN),
        (OVER_FAIL + 0.01, 0.0, Severity.FAIL),
        (0.0, 0.31, Severity.WARN),
        (0.0, 0.71, Severity.FAIL),
    ],
)
def test_enamel_lit(over, under, severity):
    found = enamel_lit(exposure(over, under))
    assert found.severity is severity and found.needs_reshoot == (severity is Severity.FAIL)


def test_a_few_clipped_pixels_of_a_handful_do_not_fail_a_frame():
    assert enamel_lit(exposure(0.4, sd=0.2)).severity is Severity.WARN


def test_enamel_not_found_is_a_note():
    assert enamel_lit(None).severity is Severity.NOTE and enamel_lit(None).measured is None


def blur(px, sd=0.05):
    return Sharpness(None, EdgeWidth(px, sd, 0.1, 40, 90), "no candidate edge runs this way", "")


@pytest.mark.parametrize(
    ("px", "mm_per_px", "severity"),
    [
        (0.8, 0.24, Severity.OK),
        (WARN_PX + 0.1, 0.2, Severity.OK),
        (WARN_PX + 0.1, 0.25, Severity.WARN),
        (FAIL_MM / 0.24 + 0.1, 0.24, Severity.FAIL),
        (8.0, 0.05, Severity.OK),
    ],
)
def test_sharp_needs_both_pixels_and_millimetres(px, mm_per_px, severity):
    assert sharp(blur(px), mm_per_px).severity is severity


def test_sharpness_not_measured_is_a_note():
    assert sharp(None, 0.2).severity is Severity.NOTE


def contrast(area):
    return EnamelContrast(ContrastBasis.COLOUR, 1.0, 0.1, 2.0, 0.1, area, 0.01, 900, 900)


@pytest.mark.parametrize(
    ("area", "severity"),
    [(0.99, Severity.OK), (LIMIT - 0.01, Severity.OK), (LIMIT - 0.03, Severity.WARN), (0.13, Severity.FAIL)],
)
def test_teeth_shown(area, severity):
    assert teeth_shown(contrast(area), 400.0, same_as_rest=False).severity is severity


def test_rest_export_with_teeth_in_sight_is_a_warning():
    found = teeth_shown(contrast(0.99), 400.0, same_as_rest=True)
    assert found.severity is Severity.WARN and "rest export" in found.text


def test_no_surface_no_question():
    assert teeth_shown(None, None, same_as_rest=False).severity is Severity.OK
