"""A first bite frame file for a picture: what lies beside it is named, the rest is a marked blank."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from bite.errors import InputError
from bite.files.beside import CAMERAS, Beside
from bite.files.frame import BLANK, SUFFIX
from bite.files.source import is_file


@dataclass(frozen=True, slots=True)
class Blank:
    """One thing that no file says.

    Parameters
    ----------
    key : str, where it goes in the frame file, such as "[depth] unit_mm"
    question : str, for a person
    example : str, as it would be written in the file
    is_number : bool
    choices : tuple of str, the only answers, empty where any will do
    """

    key: str
    question: str
    example: str
    is_number: bool = False
    choices: tuple[str, ...] = ()

    def written(self, answer: str) -> str | None:
        r"""Turn an answer into the value as TOML has it; None where it will not do.

        Examples
        --------
        >>> blank = Blank("[depth] unit_mm", "mm per stored unit?", "0.1", is_number=True)
        >>> blank.written("0,5"), blank.written("0.1"), Blank("performer", "?", "").written('a "b"')
        (None, '0.1', '"a \\"b\\""')
        """
        answer = answer.strip()
        if not answer or (self.choices and answer not in self.choices):
            return None
        if not self.is_number:
            return json.dumps(answer, ensure_ascii=False) if answer.isprintable() else None
        try:
            number = float(answer)
        except ValueError:
            return None
        return repr(number) if abs(number) <= 1e9 else None


def blanks_of(beside: Beside) -> tuple[Blank, ...]:
    """Give what has to be asked, given what was found."""
    asked = [Blank("performer", "Who is seen? (a name of your own for the performer)", '"tern"')]
    if beside.device_file is None:
        asked.append(Blank("device", "Which class of camera shot it? (a name of your own)", '"bench-depth"'))
    if beside.camera is None:
        asked.append(
            Blank(
                "[view] camera", "Which file holds this picture's camera calibration?", '"front.camera.yaml"'
            )
        )
    if beside.depth is not None and beside.inverse_per_m is None:
        question = "How many mm is one stored unit of the depth map? (inverse distance: leave blank)"
        asked.append(Blank("[depth] unit_mm", question, "0.1", is_number=True))
    if beside.mesh is not None:
        asked += [
            Blank(
                "[solved] unit_mm", "How many mm is one unit of the mesh? (cm: 10)", "10.0", is_number=True
            ),
            Blank(
                "[solved] axes",
                "Its axes: opencv (x right, y down, z away) or y-up?",
                '"opencv"',
                choices=("opencv", "y-up"),
            ),
            Blank("[solved] dial", "With which dial value was the model solved?", "0.0", is_number=True),
        ]
        if beside.rig is None:
            asked.append(Blank("[solved] rig", "Which file describes the rig?", '"../rig.toml"'))
    return tuple(asked)


def frame_text(image: Path, name: str, beside: Beside, answers: Mapping[str, str]) -> str:
    """Write the frame file's text.

    Parameters
    ----------
    image : Path
    name : str, the frame's own name
    beside : Beside
    answers : mapping from a blank's key to its value as TOML; what is missing stays a marked blank
    """
    open_ = {blank.key: blank for blank in blanks_of(beside)}

    def line(key: str, value: str | None, comment: str, section: str = "") -> str:
        full = f"{section} {key}".strip()
        value = answers.get(full) if value is None else value
        if value is None and full in open_:
            return f"{BLANK}{key} = {open_[full].example}   # {comment}"
        return f"{key} = {value}" + (f"   # {comment}" if comment else "")

    def file(path: Path | None) -> str | None:
        if path is None:
            return None
        return json.dumps(Path(os.path.relpath(path, image.parent)).as_posix(), ensure_ascii=False)

    device = None
    if beside.device_file is not None:
        device = json.dumps(beside.device_file.name.removesuffix(".device.toml"), ensure_ascii=False)
    lines = [
        "# A bite frame: one still with the teeth closed and the incisors bared.",
        "# Paths are relative to this file. Lines marked FILL IN wait for somebody who knows.",
        'format = "bite-frame 1"',
        line("name", json.dumps(name, ensure_ascii=False), "unique within a cast"),
        line("performer", None, "who is seen"),
        line("device", device, "class of camera that shot it"),
        *([line("device_file", file(beside.device_file), "")] if beside.device_file else []),
        "",
        "[[view]]",
        f"name = {_view_names(image, beside)[0]}",
        line("image", file(image), ""),
        line("camera", file(beside.camera), "calibration of this picture, OpenCV YAML or JSON", "[view]"),
        *_corner_lines(image),
        "",
        *_second_lines(image, beside, file),
        *_depth_lines(image, beside, line, file),
        *_solved_lines(beside, line, file),
    ]
    return "\n".join(lines) + "\n"


def _view_names(image: Path, beside: Beside) -> tuple[str, str]:
    """Give the names of one view or two, as TOML: a lone one is the front, two are called as their files."""
    if beside.second is None or beside.second.stem == image.stem:
        return '"front"', '"second"'
    one, two = (json.dumps(path.stem, ensure_ascii=False) for path in (image, beside.second))
    return one, two


def _second_lines(image: Path, beside: Beside, file: object) -> list[str]:
    if beside.second is None:
        return []
    assert callable(file)
    second = beside.second
    camera = next(path for end in CAMERAS if is_file(path := second.with_name(f"{second.stem}.camera{end}")))
    return [
        "[[view]]   # calibrated to the first: its camera file says where it stands",
        f"name = {_view_names(image, beside)[1]}",
        f"image = {file(second)}",
        f"camera = {file(camera)}",
        *_corner_lines(second),
        "",
    ]


def _corner_lines(image: Path) -> list[str]:
    corners = image.with_name(f"{image.stem}.corners.json")
    value = f"corners = {json.dumps(corners.name, ensure_ascii=False)}"
    return (
        [value]
        if is_file(corners)
        else [f"# {value}   # bite annotate takes the mark away when it has saved"]
    )


def _depth_lines(image: Path, beside: Beside, line: object, file: object) -> list[str]:
    assert callable(line) and callable(file)
    if beside.depth is not None:
        camera = (
            line("camera", file(beside.depth_camera), "the depth camera's own calibration")
            if beside.depth_camera is not None
            else f"view = {_view_names(image, beside)[0]}   "
            '# registered to it pixel for pixel; else: camera = "depth.camera.yaml"'
        )
        if beside.inverse_per_m is not None:
            return _known_depth_lines(beside, camera, _map_line(beside, line, file))
        unit = line(
            "unit_mm", None, "mm per stored unit; or inverse_per_m = [at stored 0, at full scale]", "[depth]"
        )
        return ["[depth]", _map_line(beside, line, file), unit, camera, ""]
    if beside.profile is not None:
        return ["[depth]", line("profile", file(beside.profile), "depth along one line"), ""]
    if beside.second is not None:
        first, second = _view_names(image, beside)
        return [
            "[depth]",
            f"stereo = [{first}, {second}]   # matched from the two pictures; without it, corners alone",
            "",
        ]
    return [
        "# [depth]   # no depth map was found beside the picture",
        '# map = "front.depth.png"',
        "# unit_mm = 0.1",
        "",
    ]


def _known_depth_lines(beside: Beside, camera: str, map_line: str) -> list[str]:
    assert beside.inverse_per_m is not None
    low, high = beside.inverse_per_m
    stores = f"inverse_per_m = [{low:.7g}, {high:.7g}]   # as the picture's file says"
    lines = ["[depth]", map_line, stores, camera]
    if beside.depth_doubt:
        lines = [f"# {beside.depth_doubt}", *(f"# {text}" for text in lines)]
    return [*lines, ""]


def _map_line(beside: Beside, line: object, file: object) -> str:
    assert callable(line) and callable(file)
    if not beside.held:
        return str(line("map", file(beside.depth), ""))
    named = ", ".join(file(path) for path in (beside.depth, *beside.held))
    return f"maps = [{named}]   # one held bite, this picture's own map first; what moved is left out"


def _solved_lines(beside: Beside, line: object, file: object) -> list[str]:
    assert callable(line) and callable(file)
    if beside.mesh is None:
        told = "# [solved]   # no solved mesh was found: without it the frame gets the capture checks only"
        return [told, '# mesh = "solved.obj"']
    return [
        "[solved]",
        line("mesh", file(beside.mesh), "in the expression of this picture: lips apart, teeth bare"),
        line("unit_mm", None, "mm per unit of the mesh: 10.0 for cm", "[solved]"),
        line("axes", None, '"opencv", or "y-up"; or pose = ... for a mesh in a space of its own', "[solved]"),
        line("rig", file(beside.rig), "which parts are teeth, and which way the dial goes", "[solved]"),
        line("dial", None, "dial value that this model was solved with", "[solved]"),
    ]


def frame_path_for(image: Path, name: str) -> Path:
    """Give where the frame file of a picture goes."""
    return image.with_name(f"{name}{SUFFIX}")


def write_new(path: Path, text: str) -> None:
    """Write a file that must not be there yet.

    Raises
    ------
    InputError
        When it is there, or the folder cannot be written.
    """
    try:
        with open(path, "x", encoding="utf-8", newline="\n") as stream:
            stream.write(text)
    except FileExistsError:
        what = "is there already, and is left as it is"
        raise InputError(path, "", what, "name another frame with --name, or edit the file") from None
    except OSError as error:
        what = f"cannot be written ({error.strerror})"
        raise InputError(path, "", what, "check that the folder may be written and has room") from None
