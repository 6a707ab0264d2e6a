"""Whatever is wrong with a frame's files ends in one line that names the file, and nothing is written."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.cli.runs import CopyDemo, Run, edit, names_in, refusal

Spoil = Callable[[Path], object]
"""Spoils one file of a frame; called with the frame's folder."""


@dataclass(frozen=True, slots=True)
class Case:
    """A fault, the file that its line must name first, and what else the line must say."""

    name: str
    spoil: Spoil
    file: str
    says: str
    performer: str = "plover"
    frame: str = "plover-b02"


def _swap(file: str, old: str, new: str) -> Spoil:
    return lambda folder: edit(folder / file, (old, new))


def _bytes(file: str, data: bytes) -> Spoil:
    return lambda folder: (folder / file).write_bytes(data)


def _cut(file: str, share: float) -> Spoil:
    def cut(folder: Path) -> None:
        path = folder / file
        os.truncate(path, int(path.stat().st_size * share))

    return cut


def _gone(file: str) -> Spoil:
    return lambda folder: (folder / file).unlink()


def _huge(file: str, size: int) -> Spoil:
    return lambda folder: os.truncate(folder / file, size)  # a hole: takes no room on the disk


def _copied(source: str, file: str) -> Spoil:
    return lambda folder: (folder / file).write_bytes((folder / source).read_bytes())


FRAME, RIG, CAMERA = "plover-b02.bite.toml", "rig.toml", "front.camera.yaml"
CORNERS, DEPTH, IMAGE, SOLVED, REST = (
    "front.corners.json",
    "front.depth.png",
    "front.jpg",
    "solved.obj",
    "rest.obj",
)
LIMITS = {FRAME: 1_000_001, RIG: 1_000_001, CORNERS: 4_000_001, CAMERA: 4_000_001}
EVERY_FILE = (FRAME, RIG, CAMERA, CORNERS, DEPTH, IMAGE, SOLVED, REST)
_PROFILE = {"performer": "turnstone", "frame": "turnstone-d04"}

CASES = (
    *(Case(f"missing {file}", _gone(file), file, "no such file") for file in EVERY_FILE),
    *(Case(f"empty {file}", _bytes(file, b""), file, "is empty") for file in EVERY_FILE),
    *(Case(f"cut short {file}", _cut(file, 0.6), file, "") for file in EVERY_FILE if file != RIG),
    Case("cut short rig", _cut(RIG, 0.5), RIG, ""),
    *(Case(f"huge {file}", _huge(file, LIMITS.get(file, 1_000_000_001)), file, "MB") for file in EVERY_FILE),
    *(Case(f"binary {file}", _bytes(file, b"\x00\xff\xfe\x80" * 99), file, "") for file in EVERY_FILE),
    *(
        Case(
            f"a folder as {file}", lambda f, n=file: ((f / n).unlink(), (f / n).mkdir()), file, "is a folder"
        )
        for file in EVERY_FILE
    ),
    Case("depth is a JPEG", _copied(IMAGE, DEPTH), DEPTH, ""),
    Case("depth is text", _bytes(DEPTH, b"300 301 302\n"), DEPTH, ""),
    Case("picture is text", _bytes(IMAGE, b"P3 hello\n"), IMAGE, ""),
    Case("mesh is a PNG", _copied(DEPTH, SOLVED), SOLVED, ""),
    Case("rig in place of frame", _copied(RIG, FRAME), FRAME, "rig"),
    Case("frame in place of rig", _copied(FRAME, RIG), RIG, "frame"),
    Case("another format", _swap(FRAME, "bite-frame 1", "bite-frame 9"), FRAME, "bite-frame 9"),
    Case(
        "six distortion values",
        _swap(CAMERA, "cols: 5\n   dt: d\n   data: [ 0.04,", "cols: 6\n   dt: d\n   data: [ 0.0, 0.04,"),
        CAMERA,
        "distortion",
    ),
    Case("camera matrix of six", _swap(CAMERA, "rows: 3", "rows: 2"), CAMERA, "camera_matrix"),
    Case("NaN in a camera", _swap(CAMERA, "1330.0", ".nan"), CAMERA, "camera_matrix"),
    Case("negative focal length", _swap(CAMERA, "1330.0", "-1330.0"), CAMERA, "camera_matrix"),
    Case("negative width", _swap(CAMERA, "image_width: 810", "image_width: -810"), CAMERA, "-810"),
    Case("no camera matrix", _swap(CAMERA, "camera_matrix", "camera_matrice"), CAMERA, "camera_matrix"),
    Case(
        "camera of another size", _swap(CAMERA, "image_width: 810", "image_width: 820"), CAMERA, "820 x 1080"
    ),
    Case("corners of another size", _swap(CORNERS, '"width": 810', '"width": 405'), CORNERS, "405 x 1080"),
    Case("corners of another picture", _swap(CORNERS, '"front.jpg"', '"left.jpg"'), CORNERS, "left.jpg"),
    Case("NaN in corners", _swap(CORNERS, "373.33", "NaN"), CORNERS, "NaN"),
    Case("negative sigma", _swap(CORNERS, '"sigma_px": 0.9', '"sigma_px": -0.9'), CORNERS, "-0.9"),
    Case("a corner that does not exist", _swap(CORNERS, '"11d"', '"19d"'), CORNERS, "19d"),
    Case("a corner given twice", _swap(CORNERS, '"11m"', '"11d"'), CORNERS, "11d"),
    Case("a state that does not exist", _swap(CORNERS, '"covered"', '"coverd"'), CORNERS, "covered"),
    Case("a corner without x", _swap(CORNERS, '"x": 373.33,', ""), CORNERS, "x"),
    Case("unknown key", _swap(FRAME, "image =", "imgae ="), FRAME, "image"),
    Case("unknown table", _swap(FRAME, "[solved]", "[slved]"), FRAME, "solved"),
    Case("no unit of depth", _swap(FRAME, "unit_mm = 0.1\n", ""), FRAME, "unit_mm"),
    Case("no unit of the mesh", _swap(FRAME, "unit_mm = 10.0\n", ""), FRAME, "unit_mm"),
    Case(
        "two units",
        _swap(FRAME, "unit_mm = 0.1\n", "unit_mm = 0.1\ninverse_per_m = [1.5, 4.4]\n"),
        FRAME,
        "both unit_mm and inverse_per_m",
    ),
    Case("negative unit", _swap(FRAME, "unit_mm = 0.1", "unit_mm = -0.1"), FRAME, "-0.1"),
    Case("NaN unit", _swap(FRAME, "unit_mm = 0.1", "unit_mm = nan"), FRAME, "nan"),
    Case("unit as text", _swap(FRAME, "unit_mm = 0.1", 'unit_mm = "cm"'), FRAME, "cm"),
    Case("depth in metres", _swap(FRAME, "unit_mm = 0.1", "unit_mm = 0.0001"), "", "unit_mm"),
    Case("mesh in metres", _swap(FRAME, "unit_mm = 10.0", "unit_mm = 0.01"), "", "unit_mm"),
    Case("name with a slash", _swap(FRAME, '"plover-b02"', '"plover/b02"'), FRAME, "plover/b02"),
    Case("no name", _swap(FRAME, 'name = "plover-b02"\n', ""), FRAME, "name"),
    Case("no performer", _swap(FRAME, 'performer = "plover"\n', ""), FRAME, "performer"),
    Case("no view", _swap(FRAME, "[[view]]", "[view]"), FRAME, "view"),
    Case("no axes and no pose", _swap(FRAME, 'axes = "opencv"\n', ""), FRAME, "axes"),
    Case("axes that do not exist", _swap(FRAME, '"opencv"', '"z-up"'), FRAME, "z-up"),
    Case("dial beyond its limit", _swap(FRAME, "dial = 0.0", "dial = 1.7"), FRAME, "1.7"),
    Case("no dial value", _swap(FRAME, "dial = 0.0\n", ""), FRAME, "dial"),
    Case(
        "a path of one computer", _swap(FRAME, '"front.jpg"', "'C:\\shots\\front.jpg'"), FRAME, "one computer"
    ),
    Case("an address", _swap(FRAME, '"front.jpg"', '"https://example.org/front.jpg"'), FRAME, "address"),
    Case("an empty path", _swap(FRAME, '"front.jpg"', '""'), FRAME, "image"),
    Case(
        "an absolute path to nothing",
        _swap(FRAME, '"front.jpg"', '"/no/such/front.jpg"'),
        "/no/such/front.jpg",
        "no such file",
    ),
    Case("not TOML", _swap(FRAME, 'device = "bench-depth"', "device = bench-depth"), FRAME, "line 5"),
    Case("not UTF-8", lambda f: (f / FRAME).write_bytes(b'name = "pl\xf6ver"\n'), FRAME, "line 1"),
    Case("mesh with a vertex more", lambda f: (f / SOLVED).open("a").write("v 0 0 30\n"), SOLVED, REST),
    Case("NaN in a mesh", lambda f: (f / SOLVED).open("a").write("v 0 nan 30\n"), SOLVED, "line"),
    Case(
        "a face of no vertex", lambda f: (f / SOLVED).open("a").write("f 1 2 99999999\n"), SOLVED, "99999999"
    ),
    Case("a part that does not exist", _swap(RIG, '"teeth_up"', '"teeth_top"'), RIG, "teeth_top"),
    Case("a vertex that does not exist", _swap(RIG, "11d = 4394", "11d = 999999"), RIG, "999999"),
    Case("a negative vertex", _swap(RIG, "11d = 4394", "11d = -4394"), RIG, "-4394"),
    Case("no way of the dial", _swap(RIG, 'positive = "back"\n', ""), RIG, "positive"),
    Case("a way that does not exist", _swap(RIG, '"back"', '"left"'), RIG, "left"),
    Case("a negative limit", _swap(RIG, "limit = 1.0", "limit = -1.0"), RIG, "-1"),
    Case(
        "no direction",
        lambda f: edit(f / RIG, ("[0.000000, -0.341255, 0.939971]", "[0.0, 0.0, 0.0]")),
        RIG,
        "forward",
    ),
    Case(
        "up is forward", _swap(RIG, "[0.000000, 0.939971, 0.341255]", "[0.0, -0.341255, 0.939971]"), RIG, "up"
    ),
    Case("profile that turns back", lambda f: _row_again(f / "midline.csv"), "midline.csv", "", **_PROFILE),
    Case(
        "profile without depth",
        _swap("midline.csv", "depth_mm", "depth"),
        "midline.csv",
        "depth_mm",
        **_PROFILE,
    ),
    Case("profile cut in a number", _cut("midline.csv", 0.5), "midline.csv", "", **_PROFILE),
)


def _row_again(path: Path) -> None:
    lines = path.read_text("utf-8").splitlines()
    path.write_text("\n".join([*lines, lines[3]]) + "\n", encoding="utf-8")


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_bad_input_is_one_line_and_nothing_is_written(copy_demo: CopyDemo, run: Run, case: Case) -> None:
    frame = copy_demo(case.performer, case.frame)
    case.spoil(frame.parent)
    before = names_in(frame.parent)
    line = refusal(run("check", frame))
    expected = str(frame.parent / case.file) if case.file else str(frame.parent)
    assert line.startswith(expected), line
    assert case.says in line, line
    what, _, mend = line.partition("; ")
    assert what and len(mend) > 5, line
    assert names_in(frame.parent) == before


def test_a_folder_names_the_frames_in_it(copy_demo: CopyDemo, run: Run) -> None:
    frame = copy_demo("plover", "plover-b02")
    line = refusal(run("check", frame.parent))
    assert line.startswith(f"{frame.parent}: is a folder, ") and str(frame) in line
    assert str(frame) in refusal(run("check", frame.parent.parent))
    (frame.parent / "empty").mkdir()
    assert ".bite.toml" in refusal(run("check", frame.parent / "empty"))


def test_a_picture_names_the_frames_beside_it(copy_demo: CopyDemo, run: Run, tmp_path: Path) -> None:
    frame = copy_demo("plover", "plover-b02")
    line = refusal(run("check", frame.parent / "front.jpg"))
    assert "is a picture" in line and str(frame) in line
    lone = tmp_path / "lone" / "front.PNG"
    lone.parent.mkdir()
    lone.write_bytes(b"x")
    assert f"bite new {lone}" in refusal(run("check", lone))


def test_another_file_or_none_is_told(copy_demo: CopyDemo, run: Run, tmp_path: Path) -> None:
    frame = copy_demo("plover", "plover-b02")
    assert "does not end in .bite.toml" in refusal(run("check", frame.parent / "rig.toml"))
    assert "no such file" in refusal(run("check", tmp_path / "gone"))
    assert "no such file" in refusal(run("check", tmp_path / "gone.bite.toml"))


@pytest.mark.slow
def test_many_bad_frames_take_a_line_each(copy_demo: CopyDemo, run: Run, tmp_path: Path) -> None:
    good = copy_demo("whimbrel", "whimbrel-a02")
    bad = [tmp_path / f"gone-{number}.bite.toml" for number in range(3)]
    ran = run("check", *bad[:2], good, bad[2], "--quiet")
    assert ran.code == 2
    assert [line.partition(": ")[0] for line in ran.err.splitlines()] == [str(path) for path in bad]
    assert ran.out.startswith("whimbrel-a02: USABLE - ") and ran.out.count("\n") == 1
