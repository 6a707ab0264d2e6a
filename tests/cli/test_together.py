"""`bite check --together`: one offset from several frames on disk."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import pytest

from tests.cli.runs import DEMO, Run, names_in, refusal
from tests.several import PLANTED_MM, write_frames


@pytest.mark.slow
def test_frames_give_one_file_one_picture_and_the_same_bytes_twice(run: Run, tmp_path: Path) -> None:
    paths = write_frames(tmp_path, ("a1", "c2", "c3"))
    out = tmp_path / "out"
    first = run("check", *paths, "--together", "--json", "--out", out)
    assert first.err == "" and first.code in (0, 1)
    assert names_in(out) == {"tern.together.json", "tern.together.png"}
    text = (out / "tern.together.json").read_text("utf-8")
    assert first.out == text
    told = json.loads(text)
    assert told["format"] == "bite-together 1" and told["performer"] == "tern"
    low, high = told["offset"]["interval_mm"]
    assert low < PLANTED_MM < high and told["offset"]["sd_mm"] < 0.5
    assert [frame["role"].split(",")[0] for frame in told["frames"]] == [
        "offset of its own", "corners of one view", "corners of one view",
    ]  # fmt: skip
    assert told["frames"][1]["offset_mm"] is None and told["frames"][0]["inputs"]
    assert told["between_frames"]["paule_mandel_mm"] is None and told["between_frames"]["tau_mm"] > 0
    assert first.code == (0 if told["decision"]["verdict"] == "move" else 1)

    quiet = run("check", *paths, "--together", "--quiet", "--out", tmp_path / "again")
    assert quiet.out.startswith("tern, 3 frames together: ") and quiet.out.count("\n") == 1
    # what all share is said once, and then what differs
    assert quiet.out.count("+-") == 1
    for name in names_in(out):
        assert (out / name).read_bytes() == (tmp_path / "again" / name).read_bytes()


@pytest.mark.slow
def test_the_three_bites_of_the_demo_give_the_planted_offset(run: Run, tmp_path: Path) -> None:
    frames = [DEMO / "curlew" / f"curlew-{name}.bite.toml" for name in ("a11", "a12", "a13")]
    ran = run("check", *frames, "--together", "--json", "--out", tmp_path)
    told = json.loads(ran.out)
    planted = tomllib.loads((DEMO / "truth.toml").read_text("utf-8"))["frame"]
    assert {planted[f"curlew-{name}"]["t_mm"] for name in ("a11", "a12", "a13")} == {-1.2}
    low, high = told["offset"]["interval_mm"]
    assert low < -1.2 < high < 0
    assert ran.code == 0 and told["decision"]["verdict"] == "move" and told["decision"]["dial_before"] == 0.25
    assert [frame["share"] > 0.2 for frame in told["frames"]] == [True, True, True]
    assert [finding["code"] for finding in told["findings"] if finding["severity"] != "ok"] == []
    alone = sorted(frame["offset_mm"]["value"] for frame in told["frames"])
    ran = run("check", *frames, "--together", "--quiet", "--out", tmp_path)
    assert ran.out.count("+-") == 1
    assert ran.out.endswith(f"(alone from {alone[0]:.2f} to {alone[-1]:.2f} mm)\n")


@pytest.mark.parametrize("word", ["alone", "performer", "gone"])
def test_what_cannot_go_together_is_one_line_and_writes_nothing(run: Run, tmp_path: Path, word: str) -> None:
    tern, plover = DEMO / "tern" / "tern-a07.bite.toml", DEMO / "plover" / "plover-b02.bite.toml"
    paths = {"alone": [tern], "performer": [tern, plover], "gone": [tern, tmp_path / "gone.bite.toml"]}[word]
    ran = run("check", *paths, "--together", "--out", tmp_path / "out")
    assert word in refusal(ran)
    assert names_in(tmp_path / "out") == set()
