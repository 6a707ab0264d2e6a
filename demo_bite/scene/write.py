"""A simulated frame as files: what a capture stage would hand over."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from bite.files.atomic import write_bytes, write_text
from bite.files.beside import look_beside
from bite.files.camera import write_camera
from bite.files.corners import CornerPoint, Corners, LandmarkPoint, write_corners
from bite.files.frame_draft import frame_text
from bite.files.rig import Dial
from bite.geometry.rigid import Array, Rigid
from bite.geometry.teeth import CORNERS
from demo_bite.scene.assemble import GROUPS
from demo_bite.scene.profile import profile_csv
from demo_bite.scene.simulate import SimulatedFrame

_Click = TypeVar("_Click", CornerPoint, LandmarkPoint)
_SAVED = "2026-01-31T10:02:11Z"  # fixed, so that making the files again gives the same bytes


class Model(StrEnum):
    """What of the solved model is written."""

    MESH = "mesh"
    CLOSED_LIPS = "closed lips"
    """the mesh, exported by mistake with the lips of the neutral pose"""
    CORNERS = "corners"
    """corner positions and the direction forward, beside a depth profile"""
    NONE = "none"


class Space(StrEnum):
    """The axes the solved mesh is written in."""

    OPENCV = "opencv"
    Y_UP = "y-up"
    OWN = "own"
    """a space of its own, with the pose beside it"""


@dataclass(frozen=True, slots=True)
class Export:
    """How a frame is written.

    ``moved_mm`` slides the written teeth forward of the simulated solved ones: a second export after a
    correction. ``neutral_mm`` is how far forward of the rig's neutral the teeth stand at ``dial_now``.
    ``bite`` is what the files of a further bite of the same performer start with; their rig is there already.
    ``view_names`` are the names of the views' files. ``drafted`` frame files are what `bite new` writes
    beside the first picture, with its blanks filled in.
    """

    name: str
    performer: str
    dial: Dial
    dial_now: float = 0.0
    device: str = "bench-depth"
    device_file: str = "../bench-depth.device.toml"
    picture_suffix: str = ".jpg"
    model: Model = Model.MESH
    space: Space = Space.OPENCV
    unit_mm: float = 10.0
    moved_mm: float = 0.0
    neutral_mm: float = 0.0
    landmarks: bool = False
    solved_file: str = "solved.obj"
    bite: str = ""
    view_names: tuple[str, ...] = ("front", "side", "other")
    drafted: bool = False


def write_frame(folder: Path, simulated: SimulatedFrame, export: Export) -> Path:
    """Write a frame and all it points at into a folder, and give the path of the frame file.

    Raises
    ------
    ValueError
        For a view without a picture.
    """
    folder.mkdir(parents=True, exist_ok=True)
    lines = [
        "# computed and invented: see the README of the demo",
        'format = "bite-frame 1"',
        f'name = "{export.name}"',
        f'performer = "{export.performer}"',
        f'device = "{export.device}"',
        f'device_file = "{export.device_file}"',
        "",
    ]
    for called, view in zip(export.view_names, simulated.views, strict=False):
        if view.image is None:
            raise ValueError("a frame can only be written with its pictures: settings.picture is None")
        name = export.bite + called
        picture = name + export.picture_suffix
        write_bytes(folder / picture, picture_bytes(view.image, export.picture_suffix))
        write_camera(folder / f"{name}.camera.yaml", view.camera)
        size = (view.camera.width_px, view.camera.height_px)
        marks = dict(view.landmarks) if export.landmarks else {}
        clicks = Corners(folder, picture, *size, _rounded(view.corners), _rounded(marks), "lr", _SAVED)
        write_corners(folder / f"{name}.corners.json", clicks)
        lines += [
            "[[view]]",
            f'name = "{called}"',
            f'image = "{picture}"',
            f'camera = "{name}.camera.yaml"',
            f'corners = "{name}.corners.json"',
            "",
        ]
    lines += _depth(folder, simulated, export)
    lines += _solved(folder, simulated, export)
    path = folder / f"{export.name}.bite.toml"
    text = "\n".join(lines).rstrip() + "\n"
    if export.drafted:
        text = _drafted(folder / f"{export.bite}{export.view_names[0]}{export.picture_suffix}", export)
    write_text(path, text)
    return path


def _drafted(image: Path, export: Export) -> str:
    """Give the frame file as `bite new` writes it beside what was written so far, its blanks filled in."""
    answers = {
        "performer": f'"{export.performer}"',
        "[solved] unit_mm": str(export.unit_mm),
        "[solved] axes": f'"{export.space}"',
        "[solved] dial": str(export.dial_now),
    }
    return frame_text(image, export.name, look_beside(image), answers)


def picture_bytes(image: NDArray[np.uint8], suffix: str) -> bytes:
    """Code an RGB picture as PNG or JPEG, one channel where all three are alike."""
    import cv2

    options = [cv2.IMWRITE_JPEG_QUALITY, 93] if suffix == ".jpg" else [cv2.IMWRITE_PNG_COMPRESSION, 9]
    grey = bool((image == image[..., :1]).all())
    stored = image[..., 0] if grey else image[..., ::-1]
    done, data = cv2.imencode(suffix, np.ascontiguousarray(stored), options)
    if not done:
        raise ValueError(f"pictures cannot be coded as {suffix}")
    return bytes(data)


def obj_text(
    vertices: Array, faces: NDArray[np.integer], face_group: NDArray[np.integer], decimals: int
) -> str:
    """Give an OBJ file: all vertices in order, then the faces of each group."""
    lines = ["# computed and invented"]
    lines += [f"v {x:.{decimals}f} {y:.{decimals}f} {z:.{decimals}f}" for x, y, z in vertices]
    for number, name in enumerate(GROUPS):
        lines.append(f"g {name}")
        lines += [f"f {a} {b} {c}" for a, b, c in faces[face_group == number] + 1]
    return "\n".join(lines).replace("-0.0000 ", "0.0000 ") + "\n"


def _rounded(points: Mapping[str, _Click]) -> dict[str, _Click]:
    return {
        name: p if p.x_px is None else replace(p, x_px=round(p.x_px, 2), y_px=round(p.y_px, 2))
        for name, p in points.items()
    }


def _depth(folder: Path, simulated: SimulatedFrame, export: Export) -> list[str]:
    import cv2

    if simulated.depth_mm is None:
        return []
    if export.model is Model.CORNERS:
        profile = export.bite + "midline.csv"
        write_text(folder / profile, profile_csv(simulated))
        return ["[depth]", f'profile = "{profile}"', ""]
    unit = simulated.settings.sensor.unit_mm
    stored = np.nan_to_num(np.rint(simulated.depth_mm / unit), nan=0.0).astype(np.uint16)
    done, data = cv2.imencode(".png", stored, [cv2.IMWRITE_PNG_COMPRESSION, 9])
    if not done:
        raise ValueError("the depth map cannot be coded as PNG")
    depth, camera = f"{export.bite}front.depth.png", f"{export.bite}depth.camera.yaml"
    write_bytes(folder / depth, bytes(data))
    lines = ["[depth]", f'map = "{depth}"', f"unit_mm = {unit}"]
    if simulated.depth_camera is simulated.views[0].camera:
        return [*lines, 'view = "front"', ""]
    write_camera(folder / camera, simulated.depth_camera)
    return [*lines, f'camera = "{camera}"', ""]


def _solved(folder: Path, simulated: SimulatedFrame, export: Export) -> list[str]:
    if export.model is Model.NONE:
        return []
    truth, head = simulated.truth, simulated.head
    forward = truth.solved_from_true.turn(truth.forward)
    solved = simulated.solved_mm.copy()
    solved[head.with_teeth] += export.moved_mm * forward
    _rig(folder, simulated, export)
    lines = ["[solved]"]
    if export.model is Model.CORNERS:
        found = {code: _triple(solved[head.corners[code]], 3) for code in CORNERS}
        lines.append("corners_mm = { " + ", ".join(f"{code} = {at}" for code, at in found.items()) + " }")
        lines.append(f"forward = {_triple(forward, 6)}")
    else:
        if export.model is Model.CLOSED_LIPS:
            neutral = simulated.rest_mm.copy()
            neutral[head.with_teeth] += export.moved_mm * head.forward
            solved = (truth.solved_from_true @ truth.camera_from_head).apply(neutral)
        solved_file = export.bite + export.solved_file
        lines += [f'mesh = "{solved_file}"', f"unit_mm = {export.unit_mm}"]
        written = solved
        if export.space is Space.OPENCV:
            lines.append('axes = "opencv"')
        elif export.space is Space.Y_UP:
            lines.append('axes = "y-up"')
            written = solved * (1, -1, -1)
        else:
            pose = truth.solved_from_true @ truth.camera_from_head
            written = pose.inverse().apply(solved)
            lines.append("pose = " + _matrix(pose))
        decimals = 4 if export.unit_mm >= 10 else 3
        text = obj_text(written / export.unit_mm, simulated.faces, head.face_group, decimals)
        write_text(folder / solved_file, text)
    return [*lines, 'rig = "rig.toml"', f"dial = {export.dial_now}", ""]


def _rig(folder: Path, simulated: SimulatedFrame, export: Export) -> None:
    if export.moved_mm or export.bite:
        return  # another export of the same rig: its rig file and neutral export are there already
    neutral = simulated.rest_mm.copy()
    neutral[simulated.head.with_teeth] -= export.neutral_mm * simulated.head.forward
    text = obj_text(neutral / 10.0, simulated.faces, simulated.head.face_group, 4)
    write_text(folder / "rest.obj", text)
    dial = export.dial
    lines = [
        "# computed and invented: see the README of the demo",
        'format = "bite-rig 1"',
        'rest = "rest.obj"',
        "unit_mm = 10.0",
        f"forward = {_triple(simulated.forward_rest, 6)}",
        f"up = {_triple(simulated.up_rest, 6)}",
        "",
        "[parts]",
        'skin = ["face"]',
        'upper = ["teeth_up"]',
        'lower = ["teeth_low"]',
        'other = ["gums", "tongue"]',
        "",
        "[corners]",
        *(f"{code} = {vertex}" for code, vertex in simulated.corner_vertices.items()),
        "",
        "[landmarks]",
        *(f"{name} = {vertex}" for name, vertex in sorted(simulated.landmark_vertices.items())),
        "",
        "[dial]",
        f'positive = "{"back" if dial.positive_is_back else "forward"}"',
    ]
    if dial.travel is not None:
        rows = ", ".join(f"[{value:.2f}, {mm:.2f}]" for value, mm in dial.travel)
        lines.append(f"travel = [{rows}]")
    elif dial.mm_per_unit is not None:
        lines.append(f"mm_per_unit = {dial.mm_per_unit}")
    lines += [f"limit = {dial.limit}", f"step = {dial.step}"]
    write_text(folder / "rig.toml", "\n".join(lines) + "\n")


def _triple(values: Array, decimals: int) -> str:
    return "[" + ", ".join(f"{v:.{decimals}f}" for v in values) + "]"


def _matrix(pose: Rigid) -> str:
    rows = [[*pose.rotation[k], pose.translation_mm[k]] for k in range(3)]
    shown = [", ".join(f"{v:.9f}" for v in row) for row in rows]
    return "[" + ", ".join(f"[{row}]" for row in shown) + ", [0, 0, 0, 1]]"
