"""Files that are only unusual are read: line ends, byte order marks, other alphabets, odd paths."""

from __future__ import annotations

import json
import os
import shutil
from pathlib import Path

import pytest

from tests.cli.runs import CopyDemo, Run, edit, names_in

TEXTS = ("whimbrel-a02.bite.toml", "front.camera.yaml", "depth.camera.yaml", "front.corners.json")


def _result(run: Run, frame: Path, out: Path) -> dict[str, object]:
    ran = run("check", frame, "--json", "--out", out)
    assert (ran.code, ran.err) == (0, "")
    result = json.loads(ran.out)
    del result["inputs"]  # hashes of files that were changed on purpose
    return dict(result)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("mark", "line_end"), [(b"", b"\r\n"), (b"\xef\xbb\xbf", b"\n"), (b"\xef\xbb\xbf", b"\r\n")]
)
def test_line_ends_and_byte_order_marks_change_nothing(
    copy_demo: CopyDemo, run: Run, tmp_path: Path, mark: bytes, line_end: bytes
) -> None:
    frame = copy_demo("whimbrel", "whimbrel-a02")
    plain = _result(run, frame, tmp_path / "plain")
    for name in TEXTS:
        path = frame.parent / name
        path.write_bytes(mark + path.read_bytes().replace(b"\n", line_end))
    assert _result(run, frame, tmp_path / "odd") == plain


@pytest.mark.slow
def test_a_mesh_and_rig_with_other_line_ends_change_nothing(
    copy_demo: CopyDemo, run: Run, tmp_path: Path
) -> None:
    frame = copy_demo("tern", "tern-a07")
    plain = _result(run, frame, tmp_path / "plain")
    for name in ("rig.toml", "solved.obj", "rest.obj"):
        path = frame.parent / name
        path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes().replace(b"\n", b"\r\n"))
    assert _result(run, frame, tmp_path / "odd") == plain


@pytest.mark.slow
def test_names_in_other_alphabets(copy_demo: CopyDemo, run: Run, run_process: Run, tmp_path: Path) -> None:
    frame = copy_demo("whimbrel", "whimbrel-a02", "Regenbrachvögel 中杓鷸")
    folder = frame.parent
    (folder / "front.jpg").rename(folder / "Zähne, früh.jpg")
    edit(frame, ('"front.jpg"', '"Zähne, früh.jpg"'), ('name = "whimbrel-a02"', 'name = "чайка-歯"'))
    edit(folder / "front.corners.json", ('"front.jpg"', '"Zähne, früh.jpg"'))
    odd = frame.rename(folder / "кадр 7.bite.toml")
    out = tmp_path / "ausgäbe"
    assert _result(run, odd, out)["frame"] == "чайка-歯"
    assert names_in(out) == {"чайка-歯.result.json", "чайка-歯.before-after.png"}
    narrow = run_process(
        "check", odd, "--quiet", environment={"PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"}
    )
    assert (narrow.code, narrow.err) == (0, "") and narrow.out.startswith("\\u0447")


@pytest.mark.skipif(os.name == "nt", reason="file names are text there")
def test_a_name_that_is_no_text_is_told_in_one_line(run_process: Run, tmp_path: Path) -> None:
    ran = run_process("check", tmp_path / "gone\udcff.bite.toml")
    assert ran.code == 2 and ran.err.count("\n") == 1 and "no such file" in ran.err


@pytest.mark.slow
@pytest.mark.parametrize("shape", ["absolute", "dots", "doubled slashes", "linked folder"])
def test_paths_in_a_frame_may_take_any_way(copy_demo: CopyDemo, run: Run, tmp_path: Path, shape: str) -> None:
    frame = copy_demo("whimbrel", "whimbrel-a02")
    shots = tmp_path / "elsewhere" / "shots of the day"
    shots.mkdir(parents=True)
    shutil.move(frame.parent / "front.jpg", shots / "front.jpg")
    os.symlink(shots, frame.parent / "link")
    written = {
        "absolute": str(shots / "front.jpg"),
        "dots": "./../whimbrel/../elsewhere/shots of the day/front.jpg",
        "doubled slashes": "..//elsewhere///shots of the day//front.jpg",
        "linked folder": "link/front.jpg",
    }[shape]
    edit(frame, ('"front.jpg"', f'"{written}"'))
    ran = run("check", frame, "--quiet", "--out", tmp_path / "out")
    assert (ran.code, ran.err) == (0, "")


def test_a_frame_named_from_inside_its_folder(
    copy_demo: CopyDemo, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    frame = copy_demo("whimbrel", "whimbrel-a02")
    monkeypatch.chdir(frame.parent)
    ran = run("check", frame.name, "--quiet")
    assert (ran.code, ran.err) == (0, "")
    assert (frame.parent / "whimbrel-a02.result.json").is_file()
