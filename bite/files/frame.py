"""Bite frame files, `bite-frame 1`, as written: which files belong together and in which units."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from bite.geometry.rigid import Array


class Axes(StrEnum):
    """The axes a solved mesh is stored in when no pose is given."""

    OPENCV = "opencv"
    Y_UP = "y-up"


@dataclass(frozen=True, slots=True)
class ViewEntry:
    """One [[view]] table; paths are absolute."""

    name: str
    image: Path
    camera: Path
    corners: Path | None


@dataclass(frozen=True, slots=True)
class MapEntry:
    """[depth] with a map. Exactly one of ``unit_mm`` and ``inverse_per_m``, exactly one of ``view`` and ``camera``."""

    map: Path
    unit_mm: float | None
    inverse_per_m: tuple[float, float] | None
    view: str | None
    camera: Path | None


@dataclass(frozen=True, slots=True)
class ProfileEntry:
    """[depth] with a profile."""

    profile: Path


@dataclass(frozen=True, slots=True)
class StereoEntry:
    """[depth] from a pair of views."""

    views: tuple[str, str]


@dataclass(frozen=True, slots=True)
class SolvedEntry:
    """[solved]. ``mesh`` or ``corners_mm`` (with ``forward``), or ``forward`` alone beside a profile.

    ``pose`` is a 4x4 matrix (reference camera from the mesh file's own axes, mm), "landmarks", or None. With a pose the mesh's
    own axes are what the pose says and ``axes`` is not applied.
    """

    mesh: Path | None
    unit_mm: float | None
    axes: Axes | None
    pose: Array | str | None
    rig: Path | None
    dial: float | None
    corners_mm: Mapping[str, Array] | None
    forward: Array | None


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
