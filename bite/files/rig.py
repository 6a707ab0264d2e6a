"""Rig files, `bite-rig 1`: what the neutral export is made of, and which way the dial moves the teeth."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import numpy as np

from bite.errors import InputError
from bite.files.source import path_beside
from bite.files.tables import check_form, check_format, check_names, nearest, read_toml, shown
from bite.geometry.rigid import Array, frozen
from bite.geometry.teeth import CORNERS, LANDMARKS, PARTS, Part

if TYPE_CHECKING:
    from bite.files.forms import DialForm

FORMAT = "bite-rig 1"
_PART_MEND = 'write object or group names, such as ["face"], or { vertices = [first, last] }'


@dataclass(frozen=True, slots=True)
class PartNames:
    """A part named by object, group or node names of the mesh file."""

    names: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PartRange:
    """A part as file vertex numbers first..last, both included; a face belongs when all its vertices do."""

    first: int
    last: int


@dataclass(frozen=True, slots=True)
class Dial:
    """The rig's own control that slides the teeth.

    ``travel`` holds (dial, mm forward) rows with rising dial, read-only, shape (n, 2), or None where the rig
    gives ``mm_per_unit`` instead; both are None while nobody has measured the dial.
    """

    positive_is_back: bool
    mm_per_unit: float | None
    mm_per_unit_sd: float | None
    travel: Array | None
    limit: float
    step: float


@dataclass(frozen=True, slots=True)
class Rig:
    """A rig file. Directions are unit vectors in the rest export's axes, at right angles to each other.

    ``teeth`` says whose the digital teeth are: "scanned" are the performer's own, "modelled" those of another
    mouth or of nobody; None where the file does not say.
    """

    path: Path
    rest: Path
    unit_mm: float
    forward: Array
    up: Array
    parts: Mapping[Part, PartNames | PartRange]
    corners: Mapping[str, int]
    landmarks: Mapping[str, int]
    dial: Dial
    prim: str | None = None
    time: float | None = None
    teeth: Literal["scanned", "modelled"] | None = None


def read_rig(path: Path) -> Rig:
    """Read a rig file.

    Raises
    ------
    InputError
        For a missing or unknown key, parts that are not given, directions that are not about at right angles,
        or a dial that contradicts itself.
    """
    from bite.files.forms import RigForm

    path = Path(path)
    table = read_toml(path)
    check_format(path, table, FORMAT)
    form = check_form(path, table, RigForm)
    check_names(path, "corners", form.corners, CORNERS, "corner")
    check_names(path, "landmarks", form.landmarks, LANDMARKS, "landmark")
    for where, numbers in (("corners", form.corners), ("landmarks", form.landmarks)):
        for name, vertex in numbers.items():
            twin = next(other for other, number in numbers.items() if number == vertex)
            if twin != name:
                what = f"vertex {vertex} is also {twin}"
                raise InputError(path, f"[{where}] {name}", what, "give each its own vertex")
    forward, up = _directions(path, form.forward, form.up)
    return Rig(
        path,
        path_beside(path, "rest", form.rest),
        form.unit_mm,
        forward,
        up,
        _parts(path, form.parts),
        form.corners,
        form.landmarks,
        _dial(path, form.dial),
        form.prim,
        form.time,
        form.teeth,
    )


def unit_vector(path: Path, where: str, values: list[float]) -> Array:
    """Give a direction from a file with length 1.

    Raises
    ------
    InputError
        When it has no length.
    """
    length = float(np.linalg.norm(values))
    if not length > 1e-6:
        what = f"{values} has no direction"
        raise InputError(path, where, what, "write a direction such as [0.0, 0.0, 1.0]")
    return frozen(np.array(values) / length)


def _directions(path: Path, forward_values: list[float], up_values: list[float]) -> tuple[Array, Array]:
    forward, up = unit_vector(path, "forward", forward_values), unit_vector(path, "up", up_values)
    angle = float(np.degrees(np.arccos(np.clip(forward @ up, -1.0, 1.0))))
    if not 60.0 <= angle <= 120.0:
        what = f"forward and up are {angle:.0f} degrees apart, needed 60 to 120"
        raise InputError(path, "up", what, "write both in the axes of the rest export")
    level = up - (up @ forward) * forward
    return forward, frozen(level / np.linalg.norm(level))


def _parts(path: Path, table: dict[str, object]) -> dict[Part, PartNames | PartRange]:
    check_names(path, "parts", table, PARTS, "part")
    parts: dict[Part, PartNames | PartRange] = {}
    for part in PARTS:
        if part in table:
            parts[part] = _part(path, f"[parts] {part}", table[part])
        elif part is not Part.OTHER:
            raise InputError(path, f"[parts] {part}", "missing", _PART_MEND)
    return parts


def _part(path: Path, where: str, value: object) -> PartNames | PartRange:
    if isinstance(value, list) and value and all(isinstance(name, str) and name for name in value):
        return PartNames(tuple(value))
    if isinstance(value, dict):
        for key in value:
            if key != "vertices":
                raise InputError(path, where, f"unknown key {shown(key)}", nearest(key, ["vertices"]))
        ends = value.get("vertices")
        if isinstance(ends, list) and len(ends) == 2 and all(type(end) is int for end in ends):
            if 0 <= ends[0] <= ends[1] < 2**31:
                return PartRange(ends[0], ends[1])
            what = f"vertices {shown(ends)}, needed first <= last, from 0"
            raise InputError(path, where, what, "write [first, last], both included")
    raise InputError(path, where, f"got {shown(value)}", _PART_MEND)


def _dial(path: Path, form: DialForm) -> Dial:
    back = form.positive == "back"
    if form.mm_per_unit is not None and form.travel is not None:
        what = "mm_per_unit and travel are both given, needed one at most"
        raise InputError(path, "[dial]", what, "keep travel if it was measured, else mm_per_unit")
    if form.mm_per_unit_sd is not None and form.mm_per_unit is None and form.travel is None:
        raise InputError(path, "[dial] mm_per_unit_sd", "an sd of nothing", "write mm_per_unit too")
    if form.step > form.limit:
        what = f"step {form.step:g} is larger than the limit {form.limit:g}"
        raise InputError(path, "[dial] step", what, "write the dial's smallest step")
    travel = None if form.travel is None else frozen(form.travel)
    if travel is not None:
        dial, forward_mm = np.diff(travel[:, 0]), np.diff(travel[:, 1])
        where = "[dial] travel"
        if not (dial > 0).all():
            row = int(np.argmin(dial > 0))
            what = f"dial {travel[row + 1, 0]:g} after {travel[row, 0]:g}, needed rising values"
            raise InputError(path, where, what, "sort the rows by dial value and drop doubled ones")
        if not ((forward_mm > 0).all() or (forward_mm < 0).all()):
            what = "mm forward turns round along the dial, needed only rising or only falling"
            raise InputError(path, where, what, "measure the exports again, one dial value each")
        if (forward_mm[0] < 0) != back:
            found = "back" if forward_mm[0] < 0 else "forward"
            what = f'a rising dial moves the teeth {found} here, but positive = "{form.positive}"'
            raise InputError(
                path, where, what, "correct one of them: [dial, mm forward], out of the mouth positive"
            )
    return Dial(back, form.mm_per_unit, form.mm_per_unit_sd, travel, form.limit, form.step)
