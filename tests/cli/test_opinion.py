"""`bite opinion` on demo frames: the cause, the files, the numbers of a sunken mouth, refusals."""

from __future__ import annotations

import json

import pytest

from tests.cli.runs import CopyDemo, Run, names_in, refusal


def test_teeth_too_far_back_are_named(run: Run, copy_demo: CopyDemo) -> None:
    frame = copy_demo("plover", "plover-b02")
    out = frame.parent.parent / "out"
    ran = run("opinion", frame, "--out", out)
    assert ran.code == 0 and "teeth forward or back explains it best" in ran.out
    assert names_in(out) == {"plover-b02.opinion.json", "plover-b02.opinion.png"}
    told = json.loads((out / "plover-b02.opinion.json").read_text(encoding="utf-8"))
    assert told["best"] == ["teeth forward or back"] and len(told["causes"]) == 9
    sunken = told["sunken"]
    # 1.4 mm was planted, found to 0.12 mm (sd): the edge comes that much nearer to the lip
    came = sunken["edge_behind_lip_before_mm"] - sunken["edge_behind_lip_measured_mm"]
    assert came == pytest.approx(1.4, abs=0.4)
    assert sunken["enamel_after_mm2"] > sunken["enamel_before_mm2"] > 100


def test_frames_without_depth_or_model_are_refused(run: Run, copy_demo: CopyDemo) -> None:
    assert "solved mesh and a depth map" in refusal(run("opinion", copy_demo("whimbrel", "whimbrel-a02")))
    assert "solved mesh and a depth map" in refusal(run("opinion", copy_demo("godwit", "godwit-e06")))
