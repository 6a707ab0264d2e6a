"""A head-worn pair of grey cameras, from two pictures to an answer, by the commands of the guide."""

import json
import re
import shutil
import tomllib
from pathlib import Path

import cv2
import numpy as np
import pytest

from bite.files.beside import look_beside
from bite.files.corners import read_corners
from bite.files.frame_draft import BLANK, frame_text
from tests.cli.runs import DEMO, Run, names_in

PAIR = DEMO / "stilt"
NAME = "stilt-h01"
ANSWERS = {"performer": '"stilt"', "unit_mm": "10.0", "axes": '"opencv"', "dial": "0.0"}


def filled_in(text: str) -> str:
    """Fill in the blanks as somebody who knows would."""
    lines = []
    for line in text.splitlines():
        if line.startswith(BLANK):
            key, _, rest = line.removeprefix(BLANK).partition(" = ")
            line = f"{key} = {ANSWERS[key]}   #{rest.partition('   #')[2]}"
        lines.append(line)
    return "\n".join(lines) + "\n"


def test_the_pictures_are_grey_wide_and_centred_on_the_base_of_the_nose() -> None:
    for view in ("left", "right"):
        stored = cv2.imread(str(PAIR / f"{view}.jpg"), cv2.IMREAD_UNCHANGED)
        assert stored.ndim == 2 and stored.dtype == np.uint8
        nose = read_corners(PAIR / f"{view}.corners.json").landmarks["subnasale"]
        off = np.array([nose.x_px, nose.y_px]) / stored.shape[::-1] - 0.5
        assert np.abs(off).max() < 0.1
        # small lamps: a glint burns out on the teeth, and the ground behind stays dark
        assert 50 < (stored >= 250).sum() < 0.02 * stored.size
        assert stored[:100, :100].max() < 60


@pytest.mark.slow
def test_on_stage_before_there_is_a_model_the_pair_is_usable(tmp_path: Path, run: Run) -> None:
    shutil.copytree(PAIR, tmp_path / "stilt")
    frame = tmp_path / "stilt" / f"{NAME}.bite.toml"
    frame.write_text(frame.read_text("utf-8").partition("[solved]")[0], encoding="utf-8")
    ran = run("check", frame, "--device", "head-pair", "--json", "--out", tmp_path / "out")
    result = json.loads(ran.out)
    assert (ran.code, result["decision"]["verdict"]) == (0, "usable"), ran.out
    # clean enamel has nothing to match, and grey does not tell whether the rows meet: both are said
    findings = {one["code"]: one for one in result["findings"]}
    assert findings["depth-covered"]["severity"] == findings["bite-gap"]["severity"] == "note"


@pytest.mark.slow
def test_from_two_pictures_to_an_answer(tmp_path: Path, run: Run) -> None:
    shutil.copytree(PAIR, tmp_path / "stilt")
    frame = tmp_path / "stilt" / f"{NAME}.bite.toml"
    frame.unlink()
    ran = run("new", tmp_path / "stilt" / "left.jpg", "--name", NAME, "--no-questions")
    assert ran.code == 1 and "FILL IN are left" in ran.err
    frame.write_text(filled_in(frame.read_text(encoding="utf-8")), encoding="utf-8")
    assert frame.read_text("utf-8") == (PAIR / f"{NAME}.bite.toml").read_text("utf-8")

    ran = run("check", frame, "--device", "head-pair", "--json", "--out", tmp_path / "out")
    assert ran.code == 0, ran.err
    assert f"{NAME}.before-after.png" in names_in(tmp_path / "out")
    result = json.loads(ran.out)
    planted = tomllib.loads((DEMO / "truth.toml").read_text(encoding="utf-8"))["frame"][NAME]["t_mm"]
    low, high = result["offset"]["interval_mm"]
    assert low < planted < high and high - low < 1.0
    assert result["decision"]["verdict"] == "move"
    # this rig's dial goes forward, 5 mm a unit
    assert result["decision"]["dial"] == pytest.approx(planted / 5.0, abs=0.1)
    # the head from matched skin, the teeth from corners clicked in both views; the upper lip reads in grey
    assert result["offset"]["information"]["corners"] > 0.5
    assert result["offset"]["information"]["lips"] > 0.0
    findings = {one["code"]: one for one in result["findings"]}
    for code in ("on-enamel", "enamel-lit", "sharp", "resolved", "framed", "views-agree", "device-known"):
        assert findings[code]["severity"] == "ok", findings[code]["text"]
    assert "on skin alone" in findings["device-known"]["text"]
    # grey does not tell lower teeth from a lip: that is said, and what to do about it
    assert findings["bite-gap"]["severity"] == "note" and "grey picture" in findings["bite-gap"]["text"]
    assert not [code for code, one in findings.items() if one["severity"] in ("warn", "fail")]


def test_a_depth_map_beside_a_pair_is_of_the_view_that_was_named(tmp_path: Path) -> None:
    """Two views are called as their files are, so that no view is called front."""
    for file in PAIR.iterdir():
        if not file.name.endswith(".bite.toml"):
            shutil.copy(file, tmp_path)
    (tmp_path / "left.depth.png").write_bytes(b"")
    text = frame_text(tmp_path / "left.jpg", "stilt-h02", look_beside(tmp_path / "left.jpg"), {})
    views = re.findall(r'^name = "(\w+)"', text, re.MULTILINE)[-2:]
    assert views == ["left", "right"]
    assert re.search(r'^view = "left"', text, re.MULTILINE)
