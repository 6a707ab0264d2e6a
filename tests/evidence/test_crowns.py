"""Whose crowns the digital ones are: from the rig's word to the sd of an offset."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from bite.evidence.blocks import OffsetEvidence, offset_evidence
from bite.evidence.clicks.next_click import next_clicks
from bite.evidence.crowns import crowns_of
from bite.evidence.model.head import solved_head
from bite.files.bundle import BiteFrame
from bite.fit.corner_block import SHAPE_SD_MM, CornerBlock
from bite.fit.depth_block import DepthBlock
from bite.fit.offset import fit_offset
from bite.fit.tooth_moves import FACE_SD_MM
from demo_bite.scene import Bite, Detail, Sensor, Settings, as_bite_frame, simulate

WORDS = ("scanned", "modelled", None)


@pytest.fixture(scope="module")
def frame() -> BiteFrame:
    sensor = Sensor(320, 240, 300.0, noise_mm=0.3, unit_mm=0.0, smoothing_px=1.0, correlation_px=0.75)
    settings = Settings(bite=Bite(2.9, 2.4), sensor=sensor, detail=Detail.COARSE)
    return as_bite_frame(simulate(np.random.default_rng(3), settings))


def saying(frame: BiteFrame, word: str | None) -> BiteFrame:
    """The frame with a rig that says so of its teeth."""
    assert frame.rig is not None
    return replace(frame, rig=replace(frame.rig, teeth=word))


def evidence(frame: BiteFrame) -> OffsetEvidence:
    """Depth and clicks of a frame."""
    return offset_evidence(frame, solved_head(frame), use_lips=False)


@pytest.mark.slow
def test_what_a_rig_says_reaches_faces_and_corners(frame: BiteFrame) -> None:
    for word in WORDS:
        found = evidence(saying(frame, word))
        face, corner = (0.05, 0.1) if word == "scanned" else (0.2, 0.2)
        assert isinstance(found.depth, DepthBlock) and isinstance(found.corners, CornerBlock)
        own = found.depth.teeth.precision(0.3)
        np.testing.assert_allclose(own[[6, 13]], face**-2, rtol=1e-12)
        # how far single crowns stand apart is learned from each frame, whoever's they are
        np.testing.assert_allclose(np.delete(own, [6, 13]), 0.3**-2, rtol=1e-12)
        np.testing.assert_allclose(found.corners.extra_precision, corner**-2, rtol=1e-12)


@pytest.mark.slow
def test_what_was_assumed_is_told(frame: BiteFrame) -> None:
    told = {word: evidence(saying(frame, word)).priors_used[-1] for word in WORDS}
    assert told["scanned"] == (
        "digital crowns, sd: faces of a row fuller or flatter by 0.05 mm, corners off by 0.1 mm: "
        "the performer's own as scanned, as rig.toml says; an estimate"
    )
    both = "faces of a row fuller or flatter by 0.2 mm, corners off by 0.2 mm: "
    assert both in told["modelled"] and "rig.toml says" in told["modelled"]
    assert both in told[None] and 'teeth = "scanned" there narrows' in told[None]


@pytest.mark.slow
def test_only_what_is_in_the_fit_is_told(frame: BiteFrame) -> None:
    nobody = replace(frame, views=tuple(replace(view, corners=None) for view in frame.views))
    assert "corners" not in evidence(nobody).priors_used[-1]
    without_map = replace(frame, depth_map=None, depth_camera=None)
    assert "faces" not in evidence(without_map).priors_used[-1]
    neither = replace(nobody, depth_map=None, depth_camera=None)
    assert not any("digital crowns" in line for line in evidence(neither).priors_used)


def test_crowns_of_no_rig_are_another_mouths() -> None:
    crowns = crowns_of(None)
    assert (crowns.face_sd_mm, crowns.corner_sd_mm) == (FACE_SD_MM, SHAPE_SD_MM)
    told = crowns.told(faces=False, corners=True)[0]
    assert "no rig" in told and "0.2 mm" in told and "faces" not in told
    assert crowns.told(faces=False, corners=False) == ()


@pytest.mark.slow
def test_scanned_teeth_narrow_the_interval(frame: BiteFrame) -> None:
    fits, sharpest = {}, {}
    assert frame.views[0].corners is not None
    fewer = {k: p for k, p in frame.views[0].corners.points.items() if k != "11d"}
    corners = replace(frame.views[0].corners, points=fewer)
    for word in WORDS:
        said = saying(frame, word)
        found = evidence(said)
        fits[word] = fit_offset(found.blocks, found.prior)
        # one fit, so that only what the next click is believed to scatter differs
        open_one = replace(said, views=(replace(said.views[0], corners=corners), *said.views[1:]))
        expected = next_clicks(open_one, solved_head(said).head, fits["scanned"])
        sharpest[word] = next(click.sd_mm for click in expected if click.name == "11d")
    assert fits["modelled"].offset == fits[None].offset
    assert fits["scanned"].offset.sd < 0.9 * fits["modelled"].offset.sd
    assert sharpest["scanned"] < sharpest["modelled"] == sharpest[None]
