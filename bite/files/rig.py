"""Rig files, `bite-rig 1`: what the rig's neutral export is made of, and which way its dial moves the teeth."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from bite.geometry.rigid import Array
from bite.geometry.teeth import Part


@dataclass(frozen=True, slots=True)
class PartNames:
    """A part named by object, group or node names of the mesh file."""

    names: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PartRange:
    """A part given as file vertex numbers first..last, both included; a face belongs when all its vertices do."""

    first: int
    last: int


@dataclass(frozen=True, slots=True)
class Dial:
    """The rig's own control that slides the teeth.

    ``travel`` holds (dial, mm forward) rows with rising dial, read-only, shape (n, 2), or None where the rig gives
    ``mm_per_unit`` instead; both are None while nobody has measured the dial.
    """

    positive_is_back: bool
    mm_per_unit: float | None
    mm_per_unit_sd: float | None
    travel: Array | None
    limit: float
    step: float


@dataclass(frozen=True, slots=True)
class Rig:
    """A rig file. Directions are unit vectors in the rest export's own axes; ``up`` is at right angles to ``forward``."""

    path: Path
    rest: Path
    unit_mm: float
    forward: Array
    up: Array
    parts: Mapping[Part, PartNames | PartRange]
    corners: Mapping[str, int]
    landmarks: Mapping[str, int]
    dial: Dial
