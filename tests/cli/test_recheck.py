"""`bite recheck` on the demo's pair: numbers, files, history, refusals."""

from __future__ import annotations

import csv
import json
import re
from pathlib import Path

import pytest

from tests.cli.runs import CopyDemo, Run, edit, names_in, refusal


@pytest.mark.slow
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
    # a damaged history is told and left alone, whatever is rechecked
    whole = history.read_bytes()
    history.write_text("{ damaged", encoding="utf-8")
    for pair in ((before, after), results):
        assert "history" in refusal(run("recheck", *pair, "--out", out))
    assert history.read_text(encoding="utf-8") == "{ damaged"
    history.write_bytes(whole)
    assert "result file" in refusal(run("recheck", results[0], after))
    edit(results[1], ('"front.jpg": "sha256:', '"front.jpg": "sha256:0'))
    assert "another bite frame" in refusal(run("recheck", *results))
    edit(results[1], ('"t_mm"', '"t"'))
    assert "t_mm" in refusal(run("recheck", *results))


def test_another_frame_is_refused(run: Run, copy_demo: CopyDemo) -> None:
    one, other = copy_demo("plover", "plover-b02"), copy_demo("tern", "tern-a07")
    assert "another bite frame" in refusal(run("recheck", one, other))


def _solved_forward(before: Path, mm: float) -> Path:
    """Write the turnstone again as solved after a move: teeth so much nearer in profile and corners."""
    text = before.read_text(encoding="utf-8")
    forward = [0.048125, 0.101308, -0.993690]
    assert f"forward = {forward}"[:30] in text

    def moved(found: re.Match[str]) -> str:
        corner = [float(v) + mm * f for v, f in zip(found[1].split(","), forward, strict=True)]
        return "= [" + ", ".join(f"{v:.3f}" for v in corner) + "]"

    head, corners, tail = re.split(r"(corners_mm = .*\n)", text)
    corners = re.sub(r"= \[([^]]+)\]", moved, corners)
    text = head.replace("turnstone-d04", "turnstone-d04-after") + corners + tail
    text = text.replace("midline.csv", "after.csv").replace("dial = 0.0", "dial = -0.34")
    with before.with_name("midline.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    for row in rows:
        if row["region"] in ("upper", "lower") and row["solved_depth_mm"]:
            row["solved_depth_mm"] = f"{float(row['solved_depth_mm']) + mm * forward[2]:.3f}"
    with before.with_name("after.csv").open("w", encoding="utf-8", newline="") as file:
        table = csv.DictWriter(file, rows[0])
        table.writeheader()
        table.writerows(rows)
    after = before.with_name("turnstone-d04-after.bite.toml")
    after.write_text(text, encoding="utf-8")
    return after


@pytest.mark.slow
def test_a_profile_solved_again_is_the_same_frame(run: Run, copy_demo: CopyDemo) -> None:
    before = copy_demo("turnstone", "turnstone-d04")
    after = _solved_forward(before, 1.1)
    ran = run("recheck", before, after, "--json")
    assert ran.out, ran.err
    told = json.loads(ran.out)
    achieved = told["achieved_mm"]
    # the depths were moved along the line of sight alone; forward runs 6 degrees off it: 0.11 mm at an edge
    assert achieved["value"] == pytest.approx(1.1, abs=0.15)
    assert achieved["sd"] < 0.3 * told["after"]["t_mm"]["sd"]

    results = [str(path).replace(".bite.toml", ".result.json") for path in (before, after)]
    run("check", before, after)
    assert run("recheck", *results, "--json").out, "results of the same profile were refused"

    lines = (after.with_name("after.csv")).read_text(encoding="utf-8").splitlines()
    lines[9] = lines[9].replace(lines[9].split(",")[1], "297.00", 1)
    after.with_name("after.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    assert "after.csv" in refusal(run("recheck", before, after))
