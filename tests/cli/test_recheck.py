"""`bite recheck` on the demo's pair: numbers, files, history, refusals."""

from __future__ import annotations

import json

import pytest

from tests.cli.runs import CopyDemo, Run, edit, names_in, refusal


def test_the_pair_is_rechecked_and_remembered(run: Run, copy_demo: CopyDemo) -> None:
    before = copy_demo("plover", "plover-b02")
    after = before.with_name("plover-b02-after.bite.toml")
    out = before.parent.parent / "out"
    ran = run("recheck", before, after, "--out", out, "--json")
    told = json.loads(ran.out)
    assert ran.code == 0 and told["advice"] == "stop"
    # 0.44 units of 3.2 mm; either fit stops within 0.01 mm
    assert told["achieved_mm"]["value"] == pytest.approx(1.408, abs=0.03)
    assert told["achieved_mm"]["sd"] < 0.25 * told["after"]["t_mm"]["sd"]
    assert told["in_mesh_mm"] == pytest.approx(1.408, abs=0.002)
    name = "plover-b02-after.recheck"
    assert names_in(out) == {f"{name}.json", f"{name}.png", "plover.history.json"}

    run("check", before, after, "--out", out)
    results = [out / f"{name}.result.json" for name in ("plover-b02", "plover-b02-after")]
    ran = run("recheck", *results, "--rig", before.with_name("rig.toml"))
    by_results = json.loads((out / f"{name}.json").read_text(encoding="utf-8"))
    assert ran.code == 0 and "STOP" in ran.out and "mm a unit" in ran.out
    assert by_results["predicted_mm"] == pytest.approx(1.408)
    assert by_results["achieved_mm"]["sd"] > told["achieved_mm"]["sd"]
    history = out / "plover.history.json"
    assert len(json.loads(history.read_text(encoding="utf-8"))["steps"]) == 1
    assert "result file" in refusal(run("recheck", results[0], after))
    edit(results[1], ('"front.jpg": "sha256:', '"front.jpg": "sha256:0'))
    assert "another bite frame" in refusal(run("recheck", *results))
    edit(results[1], ('"t_mm"', '"t"'))
    assert "t_mm" in refusal(run("recheck", *results))
    history.write_text("{ damaged", encoding="utf-8")
    assert "history" in refusal(run("recheck", before, after, "--out", out))
    assert history.read_text(encoding="utf-8") == "{ damaged"


def test_another_frame_is_refused(run: Run, copy_demo: CopyDemo) -> None:
    one, other = copy_demo("plover", "plover-b02"), copy_demo("tern", "tern-a07")
    assert "another bite frame" in refusal(run("recheck", one, other))
