"""`bite check` on demo frames: what goes where, and which exit code."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest
from PIL import Image

import bite.check.steps
from bite.files.result import read_result
from tests.cli.runs import DEMO, CopyDemo, Run, edit, names_in, one_line, refusal

MOVE = "plover/plover-b02"
ON_A_LINE = "turnstone/turnstone-d04"
"""With a line of depths and solved corners: a check of it takes less time than with a map and a mesh."""
USABLE = "whimbrel/whimbrel-a02"
"""Without a solved model: a check of it takes the least time."""


def _written(name: str) -> set[str]:
    return {f"{name}.result.json", f"{name}.before-after.png"}


@pytest.mark.slow
def test_a_process_writes_result_and_picture_beside_the_frame_and_tells_the_verdict(
    copy_demo: CopyDemo, run_process: Run
) -> None:
    frame = copy_demo("plover", "plover-b02")
    before = names_in(frame.parent)
    ran = run_process("check", frame)
    assert (ran.code, ran.err) == (0, "")
    assert ran.out.startswith("plover-b02: MOVE - ") and "Not a medical device" in ran.out
    assert names_in(frame.parent) - before == _written("plover-b02")
    result = read_result(frame.parent / "plover-b02.result.json")
    assert result["decision"]["verdict"] == "move"
    assert result["offset"]["interval_mm"][0] < 1.4 < result["offset"]["interval_mm"][1]
    assert (frame.parent / "plover-b02.before-after.png").read_bytes().startswith(b"\x89PNG\r\n\x1a\n")


@pytest.mark.slow
def test_json_is_the_result_file_and_the_same_bytes_twice(
    copy_demo: CopyDemo, run: Run, run_process: Run, tmp_path: Path
) -> None:
    frame = copy_demo("tern", "tern-a07")
    first = run("check", frame, "--json", "--out", tmp_path / "one")
    seed = {"PYTHONHASHSEED": "7"}
    again = run_process("check", frame.name, "--json", "--out", "../two", cwd=frame.parent, environment=seed)
    assert (first.code, first.err) == (again.code, again.err) == (0, "")
    assert first.out == again.out == (tmp_path / "one" / "tern-a07.result.json").read_text("utf-8")
    assert json.loads(first.out)["decision"]["verdict"] == "leave"
    for name in _written("tern-a07"):
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()


@pytest.mark.slow
def test_several_frames_give_an_array_without_the_bad_ones(run: Run, tmp_path: Path) -> None:
    good = [DEMO / "whimbrel" / "whimbrel-a02.bite.toml", DEMO / "turnstone" / "turnstone-d04.bite.toml"]
    ran = run("check", good[0], tmp_path / "gone.bite.toml", good[1], "--json", "--out", tmp_path / "out")
    assert ran.code == 2 and "gone.bite.toml" in one_line(ran)
    assert [result["frame"] for result in json.loads(ran.out)] == ["whimbrel-a02", "turnstone-d04"]
    assert names_in(tmp_path / "out") == _written("whimbrel-a02") | _written("turnstone-d04")


def test_nothing_but_bad_frames_give_an_empty_array(run: Run, tmp_path: Path) -> None:
    ran = run("check", tmp_path / "a.bite.toml", tmp_path / "b.bite.toml", "--json")
    assert (ran.code, json.loads(ran.out), ran.err.count("\n")) == (2, [], 2)


@pytest.mark.slow
def test_quiet_is_one_line_a_frame(run: Run, tmp_path: Path) -> None:
    frames = [DEMO / f"{name}.bite.toml" for name in (USABLE, ON_A_LINE)]
    ran = run("check", *frames, "--quiet", "--out", tmp_path)
    assert (ran.code, ran.err) == (1, "")
    first, second = ran.out.splitlines()
    assert first.startswith("whimbrel-a02: USABLE - ") and second.startswith("turnstone-d04: UNSURE - ")


@pytest.mark.slow
def test_out_is_made_with_its_parents_and_plots_hold_the_panels(run: Run, tmp_path: Path) -> None:
    frame = DEMO / f"{MOVE}.bite.toml"
    before = names_in(frame.parent)
    ran = run("check", frame, "--quiet", "--out", tmp_path / "a" / "b", "--plots", tmp_path / "plots")
    assert ran.code == 0
    assert names_in(tmp_path / "a" / "b") == _written("plover-b02")
    panels = {"mouth-front", "outline-front", "shaded-front", "blink-front", "reprojection-front"}
    panels |= {"crowns", "across-incisors", "dial", "findings"}
    assert names_in(tmp_path / "plots") == {f"plover-b02.{panel}.png" for panel in panels}
    with Image.open(tmp_path / "plots" / "plover-b02.blink-front.png") as blinking:
        assert blinking.n_frames == 3
    assert names_in(frame.parent) == before


@pytest.mark.slow
@pytest.mark.parametrize(
    ("frame", "verdict", "code"),
    [
        ("dunlin/dunlin-c01", "beyond", 1),
        ("knot/knot-b05", "reshoot", 1),
        ("whimbrel/whimbrel-a02", "usable", 0),
    ],
)
def test_exit_code_follows_the_verdict(run: Run, tmp_path: Path, frame: str, verdict: str, code: int) -> None:
    ran = run("check", DEMO / f"{frame}.bite.toml", "--json", "--out", tmp_path)
    result = json.loads(ran.out)
    assert (result["decision"]["verdict"], ran.code, ran.err) == (verdict, code, "")


@pytest.mark.slow
def test_tolerance_decides(run: Run, tmp_path: Path) -> None:
    ran = run("check", DEMO / f"{MOVE}.bite.toml", "--json", "--out", tmp_path, "--tolerance-mm", "0.05")
    result = json.loads(ran.out)
    assert (ran.code, result["decision"]["verdict"], result["tolerance_mm"]) == (1, "unsure", 0.05)


def _same_device(out: str) -> str:
    findings = {finding["code"]: finding for finding in json.loads(out)["findings"]}
    return str(findings["same-device"]["severity"]) if "same-device" in findings else ""


@pytest.mark.slow
def test_the_performance_device_is_held_against_the_frames(run: Run, tmp_path: Path) -> None:
    frame = DEMO / "whimbrel" / "whimbrel-a02.bite.toml"
    same = run("check", frame, "--json", "--out", tmp_path, "--device", "bench-depth")
    other = run("check", frame, "--json", "--out", tmp_path, "--device", "head-worn")
    assert _same_device(same.out) == "ok"
    assert _same_device(other.out) in ("warn", "fail")


@pytest.mark.slow
def test_a_cast_lends_tolerance_and_devices(copy_demo: CopyDemo, run: Run, tmp_path: Path) -> None:
    frame = copy_demo("turnstone", "turnstone-d04")
    edit(frame, ('device_file = "../bench-depth.device.toml"\n', ""))
    cast = tmp_path / "cast.toml"
    cast.write_text((DEMO / "cast.toml").read_text("utf-8").replace("= 0.5\n", "= 1.25\n"), encoding="utf-8")
    ran = run("check", frame, "--json", "--out", tmp_path / "out", "--cast", cast)
    result = json.loads(ran.out)
    assert ran.code == 0 and result["tolerance_mm"] == 1.25
    assert any("cast.toml" in prior for prior in result["priors_used"])


def test_a_bad_cast_is_told_and_nothing_is_done(run: Run, tmp_path: Path) -> None:
    frame, cast = DEMO / f"{MOVE}.bite.toml", tmp_path / "gone.toml"
    ran = run("check", frame, "--cast", cast, "--out", tmp_path / "out")
    assert "gone.toml: no such file" in refusal(ran)
    assert not (tmp_path / "out").exists()


@pytest.mark.slow
def test_two_frames_of_one_name_are_refused_before_anything_is_written(
    copy_demo: CopyDemo, run: Run, tmp_path: Path
) -> None:
    one, two = copy_demo("whimbrel", "whimbrel-a02"), copy_demo("whimbrel", "whimbrel-a02", "again")
    edit(two, ('name = "whimbrel-a02"', 'name = "Whimbrel-A02"'))
    line = refusal(run("check", one, two, "--out", tmp_path / "out"))
    assert str(one) in line and line.startswith(f"{two}: name: ")
    assert not (tmp_path / "out").exists()
    assert "named twice" in refusal(run("check", one, one))
    assert run("check", one, two, "--quiet").code == 0


@pytest.mark.slow
def test_a_fault_in_one_frame_leaves_the_others_done(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = bite.check.steps.check_frame

    def fails_once(frame: bite.BiteFrame, **settings: float | str | None) -> bite.Assessment:
        if frame.name == "turnstone-d04":
            raise ZeroDivisionError("by a tooth")
        return whole(frame, **settings)

    monkeypatch.setattr(bite.check.steps, "check_frame", fails_once)
    frames = [DEMO / "turnstone" / "turnstone-d04.bite.toml", DEMO / "whimbrel" / "whimbrel-a02.bite.toml"]
    ran = run("check", *frames, "--quiet", "--out", tmp_path)
    assert ran.code == 70 and "ZeroDivisionError: by a tooth" in ran.err and "report" in ran.err
    assert ran.out.startswith("whimbrel-a02: ")
    assert names_in(tmp_path) == _written("whimbrel-a02")


def test_out_that_cannot_be_a_folder_is_told(run: Run, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    for out in (tmp_path / "file", tmp_path / "file" / "under"):
        line = refusal(run("check", DEMO / f"{MOVE}.bite.toml", "--out", out))
        assert line.startswith(f"{out}: cannot be made a folder (") and "; name a folder" in line
    assert names_in(tmp_path) == {"file"}


@pytest.mark.skipif(not os.path.isdir("/proc/self"), reason="needs a folder that nobody may write in")
def test_out_that_nobody_may_write_in_is_told(run: Run) -> None:
    line = refusal(run("check", DEMO / "whimbrel" / "whimbrel-a02.bite.toml", "--out", "/proc/self"))
    assert line.startswith("/proc/self/whimbrel-a02.before-after.png: cannot be written (")


def test_where_one_file_cannot_be_written_neither_is(run: Run, tmp_path: Path) -> None:
    (tmp_path / "whimbrel-a02.before-after.png").mkdir()
    (tmp_path / "whimbrel-a02.result.json").write_text("the old one")
    line = refusal(run("check", DEMO / "whimbrel" / "whimbrel-a02.bite.toml", "--out", tmp_path))
    assert "before-after.png: is a folder" in line
    assert names_in(tmp_path) == {"whimbrel-a02.result.json"}
    assert (tmp_path / "whimbrel-a02.result.json").read_text() == "the old one"
