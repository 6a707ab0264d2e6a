"""Edits that put one wrong thing into a frame's folder; each is a function of folder and takes."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.worlds.face import lower_lip, upper_lip
from tests.worlds.mistakes.takes import Takes
from tests.worlds.skin_error import rotation
from tests.worlds.write import FRAME

Array = NDArray[np.float64]
Edit = Callable[[Path, Takes], None]

PICTURE = ("front.png", "front.corners.json")
DEPTH = ("depth.png",)
CAMERAS = ("front.camera.yaml", "depth.camera.yaml")
SIDES = {"11d": "21d", "21d": "11d", "41d": "31d", "31d": "41d"}
MODEL = ("solved.obj", "rest.obj", "rig.toml")


def from_take(take: str, *names: str) -> Edit:
    """Take files from another frame of ``Takes``."""

    def edit(folder: Path, takes: Takes) -> None:
        for name in names:
            shutil.copy(getattr(takes, take) / name, folder / name)

    return edit


def pose_from(take: str) -> Edit:
    """Take the pose of the solved model from another frame."""

    def edit(folder: Path, takes: Takes) -> None:
        there = (getattr(takes, take) / FRAME).read_text(encoding="utf-8")
        pose = re.search(r"pose = .*", there)
        assert pose is not None
        _replace(folder / FRAME, r"pose = .*", pose.group())

    return edit


def both(*edits: Edit) -> Edit:
    """Make several edits one after the other."""

    def edit(folder: Path, takes: Takes) -> None:
        for one in edits:
            one(folder, takes)

    return edit


def frame_text(pattern: str, new: str) -> Edit:
    """Replace what a pattern finds in the frame file."""
    return lambda folder, _: _replace(folder / FRAME, pattern, new)


def rig_text(pattern: str, new: str) -> Edit:
    """Replace what a pattern finds in the rig file."""
    return lambda folder, _: _replace(folder / "rig.toml", pattern, new)


def camera(name: str, *, focal: float = 1.0, shift_px: tuple[float, float] = (0.0, 0.0)) -> Edit:
    """Change a camera file's focal length by a factor and its principal point by a step."""

    def edit(folder: Path, _: Takes) -> None:
        path = folder / f"{name}.camera.yaml"
        text = path.read_text(encoding="utf-8")
        found = re.search(r"(camera_matrix:.*?data: \[)([^]]*)", text, re.DOTALL)
        assert found is not None
        values = [float(word) for word in found.group(2).split(",")]
        for place, factor, step in ((0, focal, 0), (4, focal, 0), (2, 1, shift_px[0]), (5, 1, shift_px[1])):
            values[place] = values[place] * factor + step
        data = ", ".join(f"{value:.12g}" for value in values)
        path.write_text(text.replace(found.group(2), data, 1), encoding="utf-8")

    return edit


def camera_motion(name: str, *, rotation_to: str = "", translation_by: float = 1.0) -> Edit:
    """Transpose a camera file's rotation, or multiply its translation."""

    def edit(folder: Path, _: Takes) -> None:
        path = folder / f"{name}.camera.yaml"
        text = path.read_text(encoding="utf-8")
        for key in ("rotation", "translation_mm"):
            found = re.search(rf"({key}:.*?data: \[)([^]]*)", text, re.DOTALL)
            assert found is not None
            values = np.array([float(word) for word in found.group(2).split(",")])
            if key == "rotation" and rotation_to == "transposed":
                values = values.reshape(3, 3).T.ravel()
            if key == "translation_mm":
                values = values * translation_by
            data = ", ".join(f"{value:.12g}" for value in values)
            text = text[: found.start(2)] + " " + data + " " + text[found.end(2) :]
        path.write_text(text, encoding="utf-8")

    return edit


def image(name: str, change: Callable[[NDArray[np.generic]], NDArray[np.generic]]) -> Edit:
    """Change the pixels of a picture or a depth map."""

    def edit(folder: Path, _: Takes) -> None:
        path = str(folder / name)
        held = cv2.imread(path, cv2.IMREAD_UNCHANGED)
        assert held is not None
        if not cv2.imwrite(path, np.ascontiguousarray(change(held))):
            raise OSError(path)

    return edit


def points(change: Callable[[dict[str, dict[str, object]], int], dict[str, dict[str, object]]]) -> Edit:
    """Change the clicked corners; the picture's width, px, is handed in."""

    def edit(folder: Path, _: Takes) -> None:
        path = folder / "front.corners.json"
        held = json.loads(path.read_text(encoding="utf-8"))
        held["points"] = change(held["points"], held["image"]["width"])
        path.write_text(json.dumps(held), encoding="utf-8")

    return edit


def renamed(**names: str) -> Edit:
    """Give corners the names of others."""
    return points(lambda held, _: {names.get(code, code): place for code, place in held.items()})


def mirrored_clicks(held: dict[str, dict[str, object]], width: int) -> dict[str, dict[str, object]]:
    """Clicks as somebody makes them who holds a mirrored picture for a right one: tooth 11 on the left."""
    return {
        SIDES[code]: place | ({"x": width - 1 - float(str(place["x"]))} if "x" in place else {})
        for code, place in held.items()
    }


def solved(change: Callable[[Array, Takes], Array]) -> Edit:
    """Change the solved mesh's vertices, mm, in mouth space."""
    return _mesh("solved.obj", change)


def both_meshes(change: Callable[[Array, Takes], Array]) -> Edit:
    """Change the solved mesh and the rest export alike."""
    return both(_mesh("solved.obj", change), _mesh("rest.obj", change))


def _mesh(name: str, change: Callable[[Array, Takes], Array]) -> Edit:
    def edit(folder: Path, takes: Takes) -> None:
        lines = (folder / name).read_text(encoding="ascii").splitlines(keepends=True)
        at = [k for k, line in enumerate(lines) if line.startswith("v ")]
        held = np.array([[float(word) for word in lines[k].split()[1:]] for k in at])
        for k, point in zip(at, change(held, takes), strict=True):
            lines[k] = "v {:.5f} {:.5f} {:.5f}\n".format(*point)
        (folder / name).write_text("".join(lines), encoding="ascii")

    return edit


def lips_forward(by_mm: float) -> Edit:
    """Solve both lips too far forward."""

    def change(held: Array, takes: Takes) -> Array:
        plain = takes.scene().plain_mm
        moved = held.copy()
        moved[: len(plain), 2] += by_mm * (upper_lip(plain) + lower_lip(plain))
        return moved

    return solved(change)


def head_off(
    *, shift_mm: tuple[float, float, float] = (0, 0, 0), turn_deg: float = 0.0, axis: int = 1
) -> Edit:
    """Move the whole solved head in the camera's frame, turned about its own origin."""

    def edit(folder: Path, _: Takes) -> None:
        text = (folder / FRAME).read_text(encoding="utf-8")
        found = re.search(r"pose = (.*)", text)
        assert found is not None
        pose = np.array(json.loads(found.group(1)))
        pose[:3, :3] = rotation(np.radians(turn_deg) * np.eye(3)[axis]) @ pose[:3, :3]
        pose[:3, 3] += shift_mm
        _write_pose(folder, pose)

    return edit


def inverse_pose(folder: Path, _: Takes) -> None:
    """Write the pose the other way round: mesh from camera."""
    found = re.search(r"pose = (.*)", (folder / FRAME).read_text(encoding="utf-8"))
    assert found is not None
    _write_pose(folder, np.linalg.inv(np.array(json.loads(found.group(1)))))


def teeth_vertices(held: Array, takes: Takes, part: str) -> NDArray[np.int64]:
    """Numbers of a part's vertices in the mesh files."""
    scene = takes.scene()
    return np.unique(scene.solved_teeth.faces[part]) + len(scene.skin_mm)


def _write_pose(folder: Path, pose: Array) -> None:
    rows = ", ".join("[" + ", ".join(f"{value:.9f}" for value in row) + "]" for row in pose)
    _replace(folder / FRAME, r"pose = .*", f"pose = [{rows}]")


def _replace(path: Path, pattern: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    changed, count = re.subn(pattern, lambda _: new, text)
    if not count:
        raise ValueError(f"{path} has nothing like {pattern!r}")
    path.write_text(changed, encoding="utf-8")


def cameras_swapped(folder: Path, _: Takes) -> None:
    """Give each of the two camera files the other's name."""
    front, depth = folder / "front.camera.yaml", folder / "depth.camera.yaml"
    held = front.read_text(encoding="utf-8")
    front.write_text(depth.read_text(encoding="utf-8"), encoding="utf-8")
    depth.write_text(held, encoding="utf-8")


def corner_numbers(change: Callable[[dict[str, int]], dict[str, int]]) -> Edit:
    """Change the rig's corner numbers."""

    def edit(folder: Path, _: Takes) -> None:
        path = folder / "rig.toml"
        held = {
            code: int(at)
            for code, at in re.findall(r"^(\d\d[dm]) = (\d+)$", path.read_text(encoding="utf-8"), re.M)
        }
        for code, at in change(held).items():
            _replace(path, rf"(?m)^{code} = \d+$", f"{code} = {at}")

    return edit


def rest_as_solved(folder: Path, _: Takes) -> None:
    """Export the neutral pose in place of the frame's."""
    shutil.copy(folder / "rest.obj", folder / "solved.obj")
