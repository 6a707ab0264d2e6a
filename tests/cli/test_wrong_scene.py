"""Files that read well but cannot belong together: never a dial value to follow, and the fault is named.

What a reader cannot know is a finding, with exit code 1; what makes comparing senseless is bad input, with 2.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import pytest

from tests.cli.runs import CopyDemo, Run, edit, one_line

AWAY_FROM_THE_FACE = "[ -1.0, 0.0, 0.0, 0.0,\n       1.0, 0.0, 0.0, 0.0,\n       -1.0 ]"
AS_SHOT = "[ 1.0, 0.0, 0.0, 0.0,\n       1.0, 0.0, 0.0, 0.0,\n       1.0 ]"
MATRIX = "pose = [[1, 0, 0, {x}], [0, 1, 0, {y}], [0, 0, 1, {z}], [0, 0, 0, 1]]"


@dataclass(frozen=True, slots=True)
class Case:
    """A fault of the whole scene, and words of which the answer must hold one."""

    name: str
    spoil: Callable[[Path], object]
    says: tuple[str, ...]
    performer: str = "plover"
    frame: str = "plover-b02"


Points = dict[str, dict[str, object]]
Spoil = Callable[[Path], object]


def _x(at: dict[str, object]) -> float:
    return float(str(at["x"]))


def _at(at: dict[str, object], x: float) -> dict[str, object]:
    return {**at, "x": x}


def _clicks(change: Callable[[Points], Points]) -> Spoil:
    def spoil(folder: Path) -> None:
        path = folder / "front.corners.json"
        table = json.loads(path.read_text("utf-8"))
        table["points"] = change(table["points"])
        path.write_text(json.dumps(table), encoding="utf-8")

    return spoil


def _renamed(swap: dict[str, str]) -> Spoil:
    return _clicks(lambda points: {swap.get(name[0], name[0]) + name[1:]: at for name, at in points.items()})


def _mirrored(folder: Path) -> None:
    """Turn picture and clicks over, as a mirror does, with the names still on their teeth."""
    picture = cv2.imread(str(folder / "front.jpg"))
    (folder / "front.jpg").write_bytes(cv2.imencode(".jpg", picture[:, ::-1])[1].tobytes())
    _clicks(lambda points: {name: _at(at, 809 - _x(at)) for name, at in points.items()})(folder)


def _sides_swapped(folder: Path) -> None:
    other = {"1": "2", "2": "1", "3": "4", "4": "3"}
    _renamed(other)(folder)


def _rows_swapped(folder: Path) -> None:
    _renamed({"1": "4", "4": "1", "2": "3", "3": "2"})(folder)


def _mesial(folder: Path) -> None:
    """Call the distal corners of the upper row mesial."""
    called = {"11d": "11m", "21d": "21m"}
    _clicks(
        lambda points: {
            called.get(name, name): at for name, at in points.items() if name not in called.values()
        }
    )(folder)


def _up_down(folder: Path) -> None:
    text = (folder / "rig.toml").read_text("utf-8")
    head, values, rest = re.split(r"(?m)^up = \[([^]]*)\]", text)
    turned = ", ".join(f"{-float(value):.6f}" for value in values.split(","))
    (folder / "rig.toml").write_text(f"{head}up = [{turned}]{rest}", encoding="utf-8")


def _neighbours(folder: Path) -> None:
    """Click the lateral incisors: the distal corners stand too far out."""

    def outwards(points: Points) -> Points:
        moved = {
            code: _at(points[code], 411.0 + 1.75 * (_x(points[code]) - 411.0)) for code in ("11d", "21d")
        }
        return {**points, **moved}

    _clicks(outwards)(folder)


def _moved(x: float = 0.0, y: float = 0.0, z: float = 0.0) -> Spoil:
    """Put the solved model elsewhere; its file is in the camera's frame already."""

    def spoil(folder: Path) -> None:
        frame = next(folder.glob("*-b02.bite.toml"))
        edit(frame, ('axes = "opencv"', MATRIX.format(x=x, y=y, z=z)))

    return spoil


def _without_depth(keep: Callable[[np.ndarray], np.ndarray]) -> Spoil:
    def spoil(folder: Path) -> None:
        path = folder / "front.depth.png"
        depth = cv2.imread(str(path), cv2.IMREAD_UNCHANGED)
        depth[~keep(depth)] = 0
        path.write_bytes(cv2.imencode(".png", depth)[1].tobytes())

    return spoil


def _columns(depth: np.ndarray) -> np.ndarray:
    return np.broadcast_to(np.arange(depth.shape[1])[None], depth.shape)


def _swap(file: str, old: str, new: str) -> Spoil:
    return lambda folder: edit(folder / file, (old, new))


def _rest_as_solved(folder: Path) -> None:
    (folder / "solved.obj").write_bytes((folder / "rest.obj").read_bytes())


def _parts_swapped(folder: Path) -> None:
    edit(folder / "rig.toml", ('upper = ["teeth_up"]', 'upper = ["teeth_low"]'),
         ('lower = ["teeth_low"]', 'lower = ["teeth_up"]'))  # fmt: skip


def _numbers(step: int) -> Spoil:
    """Move every corner number of the rig, as counting from 1 does."""

    def spoil(folder: Path) -> None:
        text = (folder / "rig.toml").read_text("utf-8")
        head, corners, rest = re.split(r"(?=\[corners\]|\[landmarks\])", text)
        moved = re.sub(r"= (\d+)", lambda found: f"= {int(found[1]) + step}", corners)
        (folder / "rig.toml").write_text(head + moved + rest, encoding="utf-8")

    return spoil


FORWARD, INWARD = "[0.000000, -0.341255, 0.939971]", "[0.000000, 0.341255, -0.939971]"
UNIT, MODEL, TEETH = "plover-b02.bite.toml", "solved.obj", ("corners-plausible",)

CASES = (
    Case("depth map in another unit", _swap(UNIT, "= 0.1", "= 0.125"), ("unit", "skin-agrees")),
    Case("mesh in another unit", _swap(UNIT, "unit_mm = 10.0", "unit_mm = 25.4"), ("unit_mm",)),
    Case("mirrored picture", _mirrored, ("mirrored",)),
    Case("left and right swapped", _sides_swapped, ("swapped", "mirrored")),
    Case("rows swapped", _rows_swapped, (*TEETH, "rows swapped")),
    Case("distal corners called mesial", _mesial, ("mesial for distal",)),
    Case("wrong teeth", _neighbours, TEETH),
    Case("closed lips", lambda folder: None, ("rest export", "closed"), "redshank", "redshank-a05"),
    Case("still in rest pose", _rest_as_solved, ("rest export", "closed"), "avocet", "avocet-a03"),
    Case("upper and lower swapped in the rig", _parts_swapped, ("swap upper and lower in [parts]",)),
    Case("corner numbers one off", _numbers(-1), ("numbers of [corners]",)),
    Case("corner numbers on the gums", _numbers(6000), ("[corners] 11d",)),
    Case("corner numbers in mid crown", _numbers(40), ("incisal edge beside it",)),
    Case("forward points inwards", _swap("rig.toml", FORWARD, INWARD), ("rig.toml: forward: points into",)),
    Case("up points downwards", _up_down, ("rig.toml: up: points down",)),
    Case("depth camera looks away", _swap("depth.camera.yaml", AS_SHOT, AWAY_FROM_THE_FACE), ("behind",)),
    Case("model behind the camera", _moved(z=-700.0), ("behind",)),
    Case("teeth outside the picture", _moved(x=600.0), ("outside the picture",)),
    Case("model far from the measured skin", _moved(z=80.0), ("the solved skin",)),
    Case("no depth on the mouth", _without_depth(lambda d: abs(_columns(d) - 240) > 70), ("depth-covered",)),
    Case("no depth at all", _without_depth(lambda d: _columns(d) < 0), ("reading",)),
)


@pytest.mark.slow
@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_a_scene_that_cannot_be_is_refused_and_named(
    copy_demo: CopyDemo, run: Run, tmp_path: Path, case: Case
) -> None:
    frame = copy_demo(case.performer, case.frame)
    case.spoil(frame.parent)
    ran = run("check", frame, "--json", "--out", tmp_path / "out")
    if ran.code == 2:
        assert ran.out == ""
        told = one_line(ran)
        assert not list((tmp_path / "out").iterdir())
    else:
        result = json.loads(ran.out)
        decision = result["decision"]
        bad = [f for f in result["findings"] if f["severity"] in ("warn", "fail")]
        told = " ".join([decision["why"], *(f"{f['code']} {f['text']} {f['todo']}" for f in bad)])
        assert (ran.code, decision["dial_advised"]) == (1, False), told
        assert decision["verdict"] in ("unsure", "reshoot"), told
    assert any(word in told for word in case.says), told
