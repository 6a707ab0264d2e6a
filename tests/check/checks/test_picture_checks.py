"""Light, sharpness, contrast: limits and what is said."""

from dataclasses import replace

import pytest

from bite.check.checks.enamel_lit import OVER_FAIL, OVER_WARN, enamel_lit
from bite.check.checks.sharp import FAIL_MM, WARN_MM, sharp
from bite.check.checks.teeth_shown import LIMIT, teeth_shown
from bite.check.finding import Severity
from bite.evidence.enamel.contrast import ContrastBasis, EnamelContrast
from bite.evidence.picture.blur import Blur
from bite.evidence.picture.exposure import Exposure, Share


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


@pytest.mark.parametrize(
    ("mm", "severity"),
    [
        (0.4, Severity.OK),
        (WARN_MM + 0.01, Severity.WARN),
        (FAIL_MM + 0.01, Severity.WARN),
        (FAIL_MM / 0.85 + 0.01, Severity.FAIL),
    ],
)
@pytest.mark.parametrize("mm_per_px", [0.05, 0.32])
@pytest.mark.parametrize("sideways", [True, False])
def test_the_worse_direction_counts_in_mm_of_the_tooth(mm, severity, mm_per_px, sideways):
    worse, better = mm / mm_per_px, 0.1 / mm_per_px
    found = sharp(Blur(worse, better) if sideways else Blur(better, worse), mm_per_px)
    assert found.severity is severity and found.needs_reshoot == (severity is Severity.FAIL)
    assert found.measured == pytest.approx(mm) and found.unit == "mm"
    assert ("along the row" in found.text) is sideways


@pytest.mark.parametrize("blur", [Blur(0.8, None), Blur(None, 0.8), Blur(None, None)])
def test_a_direction_that_was_not_measured_is_not_taken_for_sharp(blur):
    assert sharp(blur, 0.2).severity is Severity.NOTE and sharp(blur, 0.2).measured is None


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


def test_in_grey_light_skin_is_as_bright_as_enamel_and_the_outlines_are_to_be_looked_at():
    grey = replace(contrast(0.6), basis=ContrastBasis.LIGHTNESS)
    found = teeth_shown(grey, 400.0, same_as_rest=False)
    assert found.severity is Severity.NOTE and "outlines" in found.todo and "lightness alone" in found.text
    # enamel rather where the model has none is a fault in grey, too
    clear = replace(contrast(0.13), basis=ContrastBasis.LIGHTNESS)
    assert teeth_shown(clear, 400.0, same_as_rest=False).severity is Severity.FAIL


def test_rest_export_with_teeth_in_sight_is_a_warning():
    found = teeth_shown(contrast(0.99), 400.0, same_as_rest=True)
    assert found.severity is Severity.WARN and "rest export" in found.text


def test_no_surface_no_question():
    assert teeth_shown(None, None, same_as_rest=False).severity is Severity.OK
