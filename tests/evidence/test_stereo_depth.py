"""Frames that name two views: a depth map of their own, what it feeds, and pairs that cannot be used."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from bite.check.finding import Severity
from bite.check.steps import check_frame
from bite.errors import InputError
from bite.evidence.blocks import offset_evidence
from bite.evidence.depth.for_fit import depth_block
from bite.evidence.model.head import solved_head
from bite.evidence.priors import prior_of
from bite.evidence.stereo.depth import HALF_MM, with_stereo_depth
from bite.evidence.stereo.pictures import rectified_pictures
from bite.evidence.stereo.place import mouth_in_space
from bite.files.depth import Matching
from bite.files.device import Device
from bite.files.frame import StereoEntry
from bite.fit.offset import fit_offset
from bite.fit.parameters import P
from bite.geometry.rectify import rectify_around
from bite.geometry.render import Grid, render
from bite.geometry.rigid import Rigid, frozen, rotation_from_vector
from tests.evidence.stereo_scenes import robust_sd, textured_frame

SHARP = Device("pair", "test", enamel_bias_mm=0.0, enamel_bias_sd_mm=0.02)


@pytest.fixture(scope="module")
def textured():
    frame, simulated = textured_frame(3)
    return replace(frame, device=SHARP), simulated


@pytest.fixture(scope="module")
def matched(textured):
    frame, simulated = textured
    return with_stereo_depth(frame, solved_head(frame).head), simulated


@pytest.fixture(scope="module")
def clean():
    frame, _ = textured_frame(3, enamel=0.0)
    return replace(frame, device=SHARP)


def with_second(frame, *, turn=(0.0, 0.0, 0.0), shift_mm=None):
    """The frame, its second camera turned about its own centre or placed elsewhere."""
    view = frame.views[1]
    placed = view.camera.camera_from_reference
    rotation = rotation_from_vector(np.array(turn)) @ placed.rotation
    moved = rotation_from_vector(np.array(turn)) @ placed.translation_mm if shift_mm is None else shift_mm
    camera = replace(view.camera, camera_from_reference=Rigid(frozen(rotation), frozen(moved)))
    return replace(frame, views=(frame.views[0], replace(view, camera=camera), *frame.views[2:]))


@pytest.mark.slow
def test_depth_is_that_of_the_scene(matched):
    frame, simulated = matched
    camera, depth = frame.depth_camera, frame.depth_map.depth_mm
    seen = render(Grid.of(camera), camera.camera_from_reference.apply(simulated.true_mm), simulated.faces)
    part = np.where(seen.face >= 0, simulated.face_part[seen.face], -1)
    off = depth - seen.depth_mm
    for label, least, most_mm in ((0, 0.4, 0.03), (1, 0.3, 0.06), (2, 0.25, 0.06)):
        known = (part == label) & np.isfinite(off)
        assert known.sum() / (part == label).sum() > least
        # skin: a mean over thousands of pixels; teeth are curved, which a patch evens out
        assert abs(np.median(off[known])) < most_mm
    skin = (part == 0) & np.isfinite(off)
    assert 0.4 < robust_sd((off / frame.stereo.sigma_mm)[skin]) < 1.3
    assert frame.stereo.enamel_used and frame.stereo.enamel_share > 0.3


@pytest.mark.slow
def test_the_map_lies_round_the_mouth_in_the_turned_first_camera(matched):
    frame, _ = matched
    head = solved_head(frame).head
    x, y = frame.depth_camera.project(head.centre_mm[None])[0]
    assert x == pytest.approx(0.5 * (frame.depth_camera.width_px - 1), abs=2.0)
    assert y == pytest.approx(0.5 * (frame.depth_camera.height_px - 1), abs=2.0)
    assert np.allclose(frame.depth_camera.centre_mm, 0.0, atol=1e-9)
    reach = 0.5 * frame.depth_camera.width_px / frame.depth_camera.focal_px * 300.0
    assert reach == pytest.approx(HALF_MM, rel=0.05)


@pytest.mark.slow
def test_offset_and_what_goes_with_it(matched):
    frame, simulated = matched
    solved = solved_head(frame)
    evidence = offset_evidence(frame, solved)
    fit = fit_offset(evidence.blocks, evidence.prior)
    # one frame: three stated sd, and never more than a quarter millimetre with marked teeth
    assert abs(fit.offset.value - simulated.truth.t_mm) < min(3.0 * fit.offset.sd, 0.25)
    assert fit.offset.sd < 0.15 and fit.solution.evidence_share["depth"] > 0.8
    assert any("matched depth" in line for line in evidence.priors_used)
    block = depth_block(frame, solved.head)
    assert block.relative_sd.shape == block.measured_mm.shape
    assert 0.4 <= block.relative_sd.min() < 1.0 < block.relative_sd.max() <= 4.0


@pytest.mark.slow
def test_clean_teeth_are_left_to_the_clicks(clean):
    assessed = check_frame(clean)
    stereo = assessed.frame.stereo
    assert not stereo.enamel_used and stereo.enamel_share < 0.05
    finding = next(f for f in assessed.findings if f.code == "depth-covered")
    assert finding.severity is Severity.NOTE and "from the corners clicked in two views" in finding.text
    corners_only = check_frame(replace(clean, file=replace(clean.file, depth=None)))
    # the skin still places the head
    assert assessed.fit.offset.sd < corners_only.fit.offset.sd
    assert assessed.sections and np.isfinite(assessed.sections[0].measured_mm).any()


@pytest.mark.slow
def test_a_frame_is_matched_once_and_only_where_it_asks(matched, textured):
    assert with_stereo_depth(matched[0], None) is matched[0]
    plain = replace(textured[0], file=replace(textured[0].file, depth=None))
    assert with_stereo_depth(plain, None) is plain


@pytest.mark.slow
def test_the_place_comes_from_clicks_where_there_is_no_model(textured):
    frame, simulated = textured
    truth = simulated.truth.corners_mm[:4].mean(0)
    met = mouth_in_space(frame, None, 0, 1)
    assert np.linalg.norm(met - truth) < 5.0
    lone = replace(frame, views=(frame.views[0], replace(frame.views[1], corners=None)))
    assert np.linalg.norm(mouth_in_space(lone, None, 0, 1) - truth) < 0.2 * 300.0
    blank = replace(frame, views=tuple(replace(view, corners=None) for view in frame.views))
    assert mouth_in_space(blank, None, 0, 1) is None
    assert "click the corners" in with_stereo_depth(blank, None).stereo.why_not


@pytest.mark.slow
def test_pictures_without_texture_say_so(textured):
    frame, _ = textured
    grey = replace(
        frame, views=tuple(replace(view, image=np.full_like(view.image, 120)) for view in frame.views)
    )
    found = with_stereo_depth(grey, solved_head(grey).head)
    assert found.depth_map is None and "too little texture" in found.stereo.why_not


@pytest.mark.slow
def test_glints_and_outside_are_not_seen(textured):
    frame, _ = textured
    head = solved_head(frame).head
    image = frame.views[0].image.copy()
    x, y = np.rint(frame.views[0].camera.project(head.centre_mm[None])[0]).astype(int)
    image[y - 3 : y + 4, x - 3 : x + 4] = 255
    pair = rectify_around(
        frame.views[0].camera, frame.views[1].camera, head.centre_mm,
        half_mm=150.0, reach_mm=45.0, finest_px_per_mm=7.0, most_range_px=256.0,
    )  # fmt: skip
    left, right = rectified_pictures(pair, replace(frame.views[0], image=image), frame.views[1])
    at = np.rint(pair.first.project(head.centre_mm[None])[0]).astype(int)
    assert np.isnan(left[at[1], at[0]]) and np.isfinite(left[at[1] + 12, at[0]])
    assert np.isnan(left[0, 0]) and np.isnan(right[-1, -1])


@pytest.mark.slow
@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda f: with_second(f, turn=(0.0, 0.2, 0.0), shift_mm=np.zeros(3)), "stand 0 mm apart"),
        (lambda f: with_second(f, turn=(0.0, 1.2, 0.0)), "falls outside the picture of view side"),
        (lambda f: with_second(f, turn=(0.008, 0.0, 0.0)), "not calibrated to each other"),
    ],
)
def test_pairs_that_cannot_be_used(textured, change, words):
    frame = change(textured[0])
    with pytest.raises(InputError) as caught:
        with_stereo_depth(frame, solved_head(frame).head)
    told = str(caught.value)
    assert words in told and "[depth] stereo" in told and "\n" not in told


def test_priors_of_a_matched_map():
    prior, told = prior_of(Device("pair", "x", smoothing_px=3.0), matched=Matching(("a", "b"), blur_px=1.25))
    assert prior.mean[P.SMOOTHING_PX] == pytest.approx(1.0)
    assert prior.sd[P.SMOOTHING_PX] == pytest.approx(0.25)
    assert 0 < prior.mean[P.ENAMEL_BIAS_MM] < 0.2 and 0.1 <= prior.sd[P.ENAMEL_BIAS_MM] < 0.2
    assert not any("sensor smoothing" in line for line in told)
    own = Device("pair", "x", enamel_bias_mm=0.05, enamel_bias_sd_mm=0.01)
    stated = prior_of(own, matched=Matching(("a", "b"), blur_px=1.0))[0]
    assert stated.mean[P.ENAMEL_BIAS_MM] == pytest.approx(0.05)
    # a pixel of disparity stands for 1 mm here, so that the matcher's 0.06 px add 0.06 mm
    pair = Matching(("a", "b"), blur_px=1.0, sigma_mm=np.full((2, 2), 0.1), disparity_sd_px=0.1)
    wider = prior_of(own, matched=pair)[0]
    assert wider.sd[P.ENAMEL_BIAS_MM] == pytest.approx(np.hypot(0.01, 0.06))


@pytest.mark.slow
def test_views_may_be_named_in_either_order(textured):
    frame, _ = textured
    turned = replace(frame, file=replace(frame.file, depth=StereoEntry(("side", "front"))))
    found = with_stereo_depth(turned, solved_head(turned).head)
    # the second named view stands to the left: the pictures are matched upside down
    assert found.stereo.enamel_share > 0.3
    assert np.allclose(found.depth_camera.centre_mm, frame.views[1].camera.centre_mm, atol=1e-9)
