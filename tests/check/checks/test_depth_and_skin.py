"""Coverage, agreement of the skin, and agreement of the rows."""

from dataclasses import replace

import pytest

from bite.check.checks.depth_covered import depth_covered
from bite.check.checks.rows_agree import rows_agree
from bite.check.checks.skin_agrees import skin_agrees
from bite.check.finding import Severity
from bite.evidence.depth.cover import DepthCover, SkinFit
from bite.files.depth import Matching
from bite.stats.estimate import Estimate

COVER = DepthCover(0.9, 0.9, 500, 14.0, 0.5, 0.42, 0.35, 2.0)
SKIN = SkinFit(0.4, 0.1, 0.2, 0.05, Estimate(0.1, 0.1))


def covered(cover, **more):
    return depth_covered(cover, Estimate(1.8, 0.1), **({"profile_share": None} | more))


@pytest.mark.parametrize(
    ("teeth", "skin", "severity"),
    [
        (0.9, 0.9, Severity.OK),
        (0.6, 0.6, Severity.OK),
        (0.59, 0.9, Severity.WARN),
        (0.9, 0.59, Severity.WARN),
        (0.14, 0.9, Severity.FAIL),
    ],
)
def test_depth_covered(teeth, skin, severity):
    found = covered(replace(COVER, teeth_share=teeth, skin_share=skin))
    assert found.severity is severity and found.needs_reshoot == (severity is Severity.FAIL)


def test_noise_correlation_and_blur_are_told():
    text = covered(COVER).text
    assert "0.42 mm on skin" in text and "2.0 px" in text and "blur 1.8 +- 0.1 px" in text


def test_stereo_profile_and_nothing():
    pair = Matching(("front", "side"), "nothing says where the mouth is")
    assert "clicked in two views" in covered(None, stereo=pair, two_views=True).text
    alone = covered(None, stereo=pair)
    assert "corners clicked" not in alone.text and "both views" in alone.todo
    assert covered(None).severity is Severity.NOTE
    assert covered(None, profile_share=0.5).severity is Severity.WARN


@pytest.mark.parametrize(
    ("skin", "severity", "unit"),
    [
        (SKIN, Severity.OK, "mm"),
        (replace(SKIN, shift_mm=3.01), Severity.FAIL, "mm"),
        (replace(SKIN, shift_mm=2.99), Severity.OK, "mm"),
        (replace(SKIN, turn_deg=3.01), Severity.FAIL, "degrees"),
        (replace(SKIN, lips=Estimate(1.2, 0.1)), Severity.FAIL, "mm"),
        (replace(SKIN, lips=Estimate(1.2, 0.41)), Severity.OK, "mm"),
    ],
)
def test_skin_agrees(skin, severity, unit):
    found = skin_agrees(skin, 0.2, posed_by_landmarks=False)
    assert found.severity is severity and found.unit == unit


def test_lips_that_are_off_say_that_moving_teeth_is_the_wrong_cure():
    found = skin_agrees(replace(SKIN, lips=Estimate(-2.0, 0.1)), 0.2, posed_by_landmarks=False)
    assert "wrong cure" in found.todo and "behind" in found.text


def test_a_pose_from_landmarks_may_be_far_off():
    far = replace(SKIN, shift_mm=9.0)
    assert skin_agrees(far, 0.2, posed_by_landmarks=True).severity is Severity.OK


def test_wavy_skin_is_told():
    assert skin_agrees(SKIN, 1.1, posed_by_landmarks=False).severity is Severity.FAIL


@pytest.mark.parametrize(
    ("rows", "warns"),
    [
        (Estimate(0.3, 0.05), False),
        (Estimate(0.6, 0.1), True),
        (Estimate(-0.6, 0.1), True),
        (Estimate(0.6, 0.21), False),
    ],
)
def test_rows_agree(rows, warns):
    found = rows_agree(rows)
    assert (found.severity is Severity.WARN) == warns
    assert not warns or "a bite problem, not a depth problem" in found.todo


def test_rows_not_told_apart():
    assert rows_agree(None).severity is Severity.OK and rows_agree(None).measured is None


def test_a_matched_map_names_its_views_and_a_cure_of_its_own():
    pair = Matching(("front", "side"), blur_px=1.2, enamel_share=0.5)
    found = covered(replace(COVER, teeth_share=0.5), stereo=pair)
    assert "50 % of the enamel and 90 % of the skin" in found.text and "between front and side" in found.text
    assert found.severity is Severity.WARN and "enamel has little to match" in found.todo


def test_enamel_that_was_not_matched_is_no_failure_beside_corners_in_two_views():
    pair = Matching(("front", "side"), blur_px=1.2, enamel_share=0.08, enamel_used=False)
    found = covered(replace(COVER, teeth_share=0.0), stereo=pair, two_views=True)
    assert found.severity is Severity.NOTE and "only 8 % of the enamel" in found.text
    assert "from the corners clicked in two views, the head from the skin" in found.text
    alone = covered(replace(COVER, teeth_share=0.0), stereo=pair)
    assert alone.severity is Severity.WARN and "click the corners in both views" in alone.todo


def test_before_there_is_a_model_unmatched_enamel_is_no_reason_to_shoot_again():
    pair = Matching(("left", "right"), blur_px=1.2)
    found = covered(replace(COVER, teeth_share=0.04), stereo=pair, two_views=True)
    assert found.severity is Severity.NOTE and not found.needs_reshoot
    assert "only 4 % of the enamel could be matched between left and right" in found.text
    alone = covered(replace(COVER, teeth_share=0.04), stereo=pair)
    assert alone.severity is Severity.WARN and "click the corners in both views" in alone.todo
    # a sensor's own map with so little is one
    assert covered(replace(COVER, teeth_share=0.04)).needs_reshoot
