"""Which faces of a mesh belong to which part of the rig; whether the rig's vertex numbers fit the mesh."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bite.errors import InputError
from bite.files.rig import PartNames, PartRange, Rig
from bite.files.tables import nearest, shown
from bite.geometry.mesh import Mesh
from bite.geometry.teeth import PARTS


def part_labels(mesh: Mesh, rig: Rig) -> NDArray[np.int8]:
    """Label each face of a mesh with its part.

    Parameters
    ----------
    mesh : Mesh
        The rest export, whose names the rig file uses. Its labels hold for a solved mesh with the same faces.
    rig : Rig

    Returns
    -------
    labels : array, shape (faces,)
        Index into `bite.geometry.teeth.PARTS`; -1 for a face of no part, which is ignored everywhere.

    Raises
    ------
    InputError
        For a name that the mesh does not have, a part without faces, or a face in two parts.
    """
    labels = np.full(len(mesh.faces), -1, dtype=np.int8)
    for label, part in enumerate(PARTS):
        if part not in rig.parts:
            continue
        where, given = f"[parts] {part}", rig.parts[part]
        chosen = _faces_in(mesh, rig, where, given)
        if not chosen.any():
            what = f"{_listed(given)} holds no face of {rig.rest.name}"
            raise InputError(rig.path, where, what, "name an object or group that holds the surface itself")
        twice = chosen & (labels >= 0)
        if twice.any():
            other = PARTS[int(labels[twice][0])]
            what = f"{int(twice.sum())} faces of {rig.rest.name} are also in {other}"
            raise InputError(rig.path, where, what, "give each face to one part")
        labels[chosen] = label
    labels.setflags(write=False)
    return labels


def check_vertex_numbers(mesh: Mesh, rig: Rig) -> None:
    """Refuse corner, landmark and range numbers that the rest export does not have.

    Raises
    ------
    InputError
        Naming the first of them, and how many vertices there are.
    """
    count = len(mesh.vertices_mm)
    numbers = [(f"[corners] {name}", vertex) for name, vertex in rig.corners.items()]
    numbers += [(f"[landmarks] {name}", vertex) for name, vertex in rig.landmarks.items()]
    numbers += [
        (f"[parts] {part}", given.last) for part, given in rig.parts.items() if isinstance(given, PartRange)
    ]
    for where, vertex in numbers:
        if not 0 <= vertex < count:
            what = f"vertex {vertex}, but {rig.rest.name} has {count} (0 to {count - 1})"
            raise InputError(rig.path, where, what, "take the file's own vertex numbers, from 0")


def _faces_in(mesh: Mesh, rig: Rig, where: str, given: PartNames | PartRange) -> NDArray[np.bool_]:
    if isinstance(given, PartRange):
        inside = (mesh.faces >= given.first) & (mesh.faces <= given.last)
        return np.asarray(inside.all(axis=1), dtype=np.bool_)
    chosen = np.zeros(len(mesh.faces), dtype=np.bool_)
    for name in given.names:
        if name not in mesh.groups:
            what = f"{rig.rest.name} has no object, group or node named {shown(name)}"
            mend = "give a vertex range instead" if not mesh.groups else nearest(name, mesh.groups)
            raise InputError(rig.path, where, what, mend)
        chosen[mesh.groups[name]] = True
    return chosen


def _listed(given: PartNames | PartRange) -> str:
    if isinstance(given, PartNames):
        return ", ".join(shown(name) for name in given.names[:5])
    return f"vertex range {given.first} to {given.last}"
