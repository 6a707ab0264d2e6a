"""Corner files: what a person clicked, `bite-corners 1`."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path

from bite.errors import InputError
from bite.files.atomic import write_text
from bite.files.tables import check_form, check_format, check_names, read_json
from bite.geometry.teeth import CORNERS, LANDMARKS

FORMAT = "bite-corners 1"


class CornerState(StrEnum):
    """How much of a corner can be seen, as its clicker judged."""

    SEEN = "seen"
    UNSURE = "unsure"
    COVERED = "covered"
    HIDDEN = "hidden"


@dataclass(frozen=True, slots=True)
class CornerPoint:
    """One clicked corner. Positions are None only for ``hidden``, ``sigma_px`` where the file states none."""

    state: CornerState
    x_px: float | None = None
    y_px: float | None = None
    sigma_px: float | None = None


@dataclass(frozen=True, slots=True)
class LandmarkPoint:
    """One clicked soft-tissue landmark; ``sigma_px`` is None where the file states none."""

    x_px: float
    y_px: float
    sigma_px: float | None = None


@dataclass(frozen=True, slots=True)
class Corners:
    """All clicks of one picture, by corner code (``11d``) and landmark name (``subnasale``)."""

    path: Path
    image_file: str
    width_px: int
    height_px: int
    points: Mapping[str, CornerPoint] = field(default_factory=dict)
    landmarks: Mapping[str, LandmarkPoint] = field(default_factory=dict)
    annotator: str = ""
    saved: str = ""


def read_corners(path: Path) -> Corners:
    """Read a corner file.

    Raises
    ------
    InputError
        For an unknown key, corner code or landmark name, a doubled one, a number that is not finite, a corner
        without the position that its state needs, or a point outside the picture by more than half the
        picture.
    """
    from bite.files.forms import CornersForm

    path = Path(path)
    table = read_json(path)
    check_format(path, table, FORMAT)
    form = check_form(path, table, CornersForm)
    check_names(path, "points", form.points, CORNERS, "corner")
    check_names(path, "landmarks", form.landmarks, LANDMARKS, "landmark")
    points: dict[str, CornerPoint] = {}
    for code, point in form.points.items():
        state = CornerState(point.state)
        if (point.x is None) != (point.y is None) or (point.x is None and state is not CornerState.HIDDEN):
            missing = "x" if point.x is None else "y"
            mend = 'click the corner again, or call it "hidden" and leave out both'
            raise InputError(
                path, f"[points.{code}] {missing}", f"missing, needed where a corner is {state}", mend
            )
        points[code] = CornerPoint(state, point.x, point.y, point.sigma_px)
    landmarks = {n: LandmarkPoint(mark.x, mark.y, mark.sigma_px) for n, mark in form.landmarks.items()}
    size = (form.image.width, form.image.height)
    for name, clicked in (points | landmarks).items():
        _check_inside(path, name, clicked, size)
    return Corners(path, form.image.file, *size, points, landmarks, form.annotator, form.saved)


def write_corners(path: Path, corners: Corners) -> None:
    """Write a corner file in one step; every position keeps all its digits.

    Raises
    ------
    InputError
        When the folder cannot be written.
    ValueError
        For a position or sigma that is not finite.
    """
    table: dict[str, object] = {
        "format": FORMAT,
        "image": {"file": corners.image_file, "width": corners.width_px, "height": corners.height_px},
        "points": {code: {**_place(p), "state": str(p.state)} for code, p in corners.points.items()},
    }
    if corners.landmarks:
        table["landmarks"] = {name: _place(mark) for name, mark in corners.landmarks.items()}
    table |= {"annotator": corners.annotator} if corners.annotator else {}
    table |= {"saved": corners.saved} if corners.saved else {}
    write_text(path, json.dumps(table, indent=1, ensure_ascii=False, allow_nan=False) + "\n")


def _place(point: CornerPoint | LandmarkPoint) -> dict[str, object]:
    values = {"x": point.x_px, "y": point.y_px, "sigma_px": point.sigma_px}
    return {key: float(value) for key, value in values.items() if value is not None}


def _check_inside(path: Path, name: str, point: CornerPoint | LandmarkPoint, size: tuple[int, int]) -> None:
    if point.x_px is None or point.y_px is None:
        return
    width, height = size
    if not (abs(point.x_px - width / 2) <= width and abs(point.y_px - height / 2) <= height):
        what = f"({point.x_px:g}, {point.y_px:g}) px lies far outside the picture of {width} x {height}"
        raise InputError(path, name, what, "click it again in the right picture")
