"""Bite frame files, `bite-frame 1`, as written: which files belong together and in which units."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bite.errors import InputError
from bite.files.device import SUFFIX as DEVICE_SUFFIX
from bite.files.solved import Axes, SolvedEntry, solved_entry
from bite.files.source import is_file, path_beside, read_text
from bite.files.tables import check_form, check_format, nearest, read_toml, shown

if TYPE_CHECKING:
    from bite.files.forms import DepthForm, FrameForm

__all__ = [
    "Axes",
    "FrameFile",
    "MapEntry",
    "ProfileEntry",
    "SolvedEntry",
    "StereoEntry",
    "ViewEntry",
    "check_file_name",
    "read_frame_file",
]

FORMAT = "bite-frame 1"
SUFFIX = ".bite.toml"
BLANK = "# FILL IN: "
"""How a draft marks a line that waits for somebody who knows."""
_LONGEST_NAME = 100
"""File systems end at 255 bytes, and results append to the name."""
MOST_MAPS = 300
"""Ten seconds at 30 a second: nobody holds a bite for longer, and all of them lie in memory at once."""
_DEVICE_NAMES = frozenset(
    [*("con", "prn", "aux", "nul", "conin$", "conout$", "clock$")]
    + [f"{port}{number}" for port in ("com", "lpt") for number in "0123456789¹²³"]
)
"""Names that Windows takes for devices in any folder, with any ending (Microsoft, Naming Files, Paths, and
Namespaces, from memory)."""


@dataclass(frozen=True, slots=True)
class ViewEntry:
    """One [[view]] table; paths are absolute."""

    name: str
    image: Path
    camera: Path
    corners: Path | None


@dataclass(frozen=True, slots=True)
class MapEntry:
    """[depth] with a map, or with several of one held bite: ``map`` is then the first of them.

    One of ``unit_mm`` and ``inverse_per_m``, one of ``view`` and ``camera``.
    """

    map: Path
    unit_mm: float | None
    inverse_per_m: tuple[float, float] | None
    view: str | None
    camera: Path | None
    more_maps: tuple[Path, ...] = ()


@dataclass(frozen=True, slots=True)
class ProfileEntry:
    """[depth] with a profile."""

    profile: Path


@dataclass(frozen=True, slots=True)
class StereoEntry:
    """[depth] from a pair of views."""

    views: tuple[str, str]


@dataclass(frozen=True, slots=True)
class FrameFile:
    """A bite frame file."""

    path: Path
    name: str
    performer: str
    device: str
    device_file: Path | None
    views: tuple[ViewEntry, ...]
    depth: MapEntry | ProfileEntry | StereoEntry | None
    solved: SolvedEntry | None


def read_frame_file(path: Path) -> FrameFile:
    """Read a bite frame file; the files it names are not opened.

    Raises
    ------
    InputError
        For a missing or unknown key, a unit that is not stated, or keys that contradict each other.
    """
    path = Path(path)
    if not path.name.endswith(SUFFIX) or path.name == SUFFIX:
        what = f"name does not end in {SUFFIX}"
        raise InputError(path, "", what, f"name a bite frame file, or rename it to NAME{SUFFIX}")
    table = read_toml(path)
    check_format(path, table, FORMAT)
    try:
        return _frame_file(path, table)
    except InputError as error:
        raise _with_blanks(path, error) from None


def _frame_file(path: Path, table: dict[str, Any]) -> FrameFile:
    from bite.files.forms import FrameForm

    form = check_form(path, table, FrameForm)
    check_file_name(path, "name", form.name)
    check_file_name(path, "performer", form.performer)
    names = [view.name for view in form.view]
    for number, view in enumerate(form.view, 1):
        check_file_name(path, f"[view {number}] name", view.name)
        if names.index(view.name) != number - 1:
            what = f"{shown(view.name)} names two views"
            raise InputError(path, f"[view {number}] name", what, "give each view a name of its own")
    device, device_file = _device(path, form)
    depth = None if form.depth is None else _depth(path, form.depth, names)
    solved = solved_entry(path, form.solved, beside_profile=isinstance(depth, ProfileEntry))
    views = tuple(
        ViewEntry(
            view.name,
            path_beside(path, f"[view {number}] image", view.image),
            path_beside(path, f"[view {number}] camera", view.camera),
            None if view.corners is None else path_beside(path, f"[view {number}] corners", view.corners),
        )
        for number, view in enumerate(form.view, 1)
    )
    return FrameFile(path, form.name, form.performer, device, device_file, views, depth, solved)


def _with_blanks(path: Path, error: InputError) -> InputError:
    """Name all lines of a draft that wait for somebody, not only the first that a reader misses."""
    lines = read_text(path, limit_bytes=1_000_000).splitlines()
    open_ = [line.removeprefix(BLANK).partition(" =")[0] for line in lines if line.startswith(BLANK)]
    if not open_ or not error.what.startswith(("missing", "needed")):
        return error
    mend = f"fill in the lines marked FILL IN: {', '.join(open_)}"
    return InputError(path, error.where, error.what, mend)


def check_file_name(path: Path, where: str, name: str) -> None:
    """Refuse a name that cannot be part of a file name on every system."""
    mend = "use letters, digits, - and _"
    if len(name) > _LONGEST_NAME or len(name.encode()) > 2 * _LONGEST_NAME:
        what = f"{len(name)} characters, needed at most {_LONGEST_NAME}"
        raise InputError(path, where, what, "choose a shorter one")
    if name != name.strip() or name.startswith(".") or not name.isprintable():
        raise InputError(path, where, f"got {shown(name)}, which cannot be part of a file name", mend)
    if name.split(".")[0].rstrip().casefold() in _DEVICE_NAMES:
        what = f"{shown(name)} is the name of a device on Windows"
        raise InputError(path, where, what, "choose another one")
    if name.endswith("."):
        raise InputError(path, where, f"{shown(name)} ends in a point, which Windows drops", mend)
    for letter in name:
        if letter in '/\\:*?"<>|':
            raise InputError(path, where, f"{shown(name)} holds {letter}, which file names cannot", mend)


def _device(path: Path, form: FrameForm) -> tuple[str, Path | None]:
    """Give the device's name and the file that describes it, if there is one."""
    if form.device.endswith(DEVICE_SUFFIX):
        if form.device_file is not None:
            what = "both device and device_file name a file"
            raise InputError(path, "device_file", what, "write the device's name in device")
        file = path_beside(path, "device", form.device)
        name = file.name.removesuffix(DEVICE_SUFFIX)
        check_file_name(path, "device", name)
        if not name:
            raise InputError(path, "device", f"got {shown(form.device)}", f"name a file NAME{DEVICE_SUFFIX}")
        return name, file
    check_file_name(path, "device", form.device)
    if form.device_file is not None:
        return form.device, path_beside(path, "device_file", form.device_file)
    beside = path_beside(path, "device", form.device + DEVICE_SUFFIX)
    return form.device, beside if is_file(beside) else None


def _depth(path: Path, form: DepthForm, view_names: list[str]) -> MapEntry | ProfileEntry | StereoEntry:
    kinds = ("map", "maps", "profile", "stereo")
    given = [key for key in kinds if getattr(form, key) is not None]
    if len(given) != 1:
        found = " and ".join(given) or "none of them"
        what = f"got {found}, needed one of map, maps, profile and stereo"
        raise InputError(path, "[depth]", what, "keep one, or leave out [depth]")
    if form.map is None and form.maps is None:
        for key in ("unit_mm", "inverse_per_m", "view", "camera"):
            if getattr(form, key) is not None:
                what = f"belongs to a map, but [depth] is a {given[0]}"
                raise InputError(path, f"[depth] {key}", what, "leave it out")
    if form.profile is not None:
        return ProfileEntry(path_beside(path, "[depth] profile", form.profile))
    if form.stereo is not None:
        first, second = form.stereo
        for name in form.stereo:
            _check_view(path, "[depth] stereo", name, view_names)
        if first == second:
            raise InputError(path, "[depth] stereo", f"{shown(first)} twice", "name two different views")
        return StereoEntry((first, second))
    maps = _maps(path, form)
    if (form.unit_mm is None) == (form.inverse_per_m is None):
        found = "no unit" if form.unit_mm is None else "both unit_mm and inverse_per_m"
        what = f"{found}, needed one of unit_mm and inverse_per_m"
        mend = "write mm per stored unit, such as unit_mm = 0.1, or 1/m at stored 0 and at full scale"
        raise InputError(path, "[depth] unit_mm", what, mend)
    if (form.view is None) == (form.camera is None):
        found = "neither" if form.view is None else "both"
        what = f"got {found} of view and camera, needed one"
        mend = "write the view the map is registered to, or the depth camera's file"
        raise InputError(path, "[depth] view", what, mend)
    if form.view is not None:
        _check_view(path, "[depth] view", form.view, view_names)
    inverse = None if form.inverse_per_m is None else (form.inverse_per_m[0], form.inverse_per_m[1])
    if inverse is not None and inverse[0] == inverse[1]:
        what = f"both values are {inverse[0]:g}"
        raise InputError(path, "[depth] inverse_per_m", what, "write 1/m at stored 0 and at full scale")
    return MapEntry(
        maps[0],
        form.unit_mm,
        inverse,
        form.view,
        None if form.camera is None else path_beside(path, "[depth] camera", form.camera),
        maps[1:],
    )


def _maps(path: Path, form: DepthForm) -> tuple[Path, ...]:
    """Give the one map, or all that the patterns of ``maps`` mean: in the order written, each once."""
    if form.map is not None:
        return (path_beside(path, "[depth] map", form.map),)
    assert form.maps is not None
    found: dict[Path, None] = {}
    for number, name in enumerate(form.maps, 1):
        where = f"[depth] maps {number}"
        one = path_beside(path, where, name)
        if "*" not in name:
            found[one] = None
            continue
        if "*" in str(one.parent) or "**" in name:
            what = f"{shown(name)} has a * in a folder's name"
            raise InputError(path, where, what, "use * in the file's name only")
        meant = sorted(p for p in one.parent.glob(one.name) if p.is_file())
        if not meant:
            raise InputError(path, where, f"{shown(name)} means no file", "correct the pattern")
        found |= dict.fromkeys(meant)
    if not 2 <= len(found) <= MOST_MAPS:
        what = f"{len(found)} maps, needed 2 to {MOST_MAPS}"
        raise InputError(path, "[depth] maps", what, "name the maps of one held bite, or a single one as map")
    return tuple(found)


def _check_view(path: Path, where: str, name: str, view_names: list[str]) -> None:
    if name not in view_names:
        raise InputError(path, where, f"no view named {shown(name)}", nearest(name, view_names))
