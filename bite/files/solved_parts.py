"""Which faces of the solved mesh belong to which part of the rig: by the rest export's faces, never by order.

Two exports of one rig have the same vertices in the same order. Their faces may stand in another order
(groups written differently), be cut differently (quads in one file, triangles in the other) or be
fewer (a partial export). A face is known by its vertices, so those are what is compared.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from bite.errors import InputError
from bite.files.rig import Rig
from bite.files.rig_parts import part_labels
from bite.geometry.mesh import Mesh
from bite.geometry.teeth import PARTS

AREA_OFF = 0.01
"""Share of a part's surface by which a solved mesh may differ from the rest export: another way to cut bent
quads changes less than this, a left out piece more (our choice)."""
_NO_PART = len(PARTS)
_EXPORT_ALIKE = "export both from the same rig, whole, with the same vertex order and faces"


def solved_part_labels(path: Path, solved: Mesh, rest: Mesh, rig: Rig) -> NDArray[np.int8]:
    """Label each face of a solved mesh with its part.

    Parameters
    ----------
    path : Path, the solved mesh's file, for messages
    solved, rest : Mesh, with equal vertex counts and order
    rig : Rig, whose [parts] use the rest export's names

    Returns
    -------
    labels : array, shape (faces of solved,)
        Index into `bite.geometry.teeth.PARTS`; -1 for a face of no part.

    Raises
    ------
    InputError
        As `part_labels`, and for a face that joins vertices that the rest export does not join, or a part
        whose surface is not whole.
    """
    labels = part_labels(rest, rig)
    if np.array_equal(solved.faces, rest.faces):
        return labels
    found = _same_vertices(solved, rest, labels)
    cut = np.flatnonzero(found < -1)
    found[cut] = _cut_otherwise(solved.faces[cut], rest, labels)
    strange = np.flatnonzero(found < -1)
    if strange.size:
        what = (
            f"joins vertices {', '.join(str(n) for n in solved.faces[strange[0]])}, which no part of the "
            f"rest export {rig.rest.name} joins; so do {strange.size} of {len(found)} faces"
        )
        raise InputError(path, f"face {strange[0]} (from 0)", what, _EXPORT_ALIKE)
    _check_whole(path, solved, rest, rig, found, labels)
    found.setflags(write=False)
    return found


def _same_vertices(solved: Mesh, rest: Mesh, labels: NDArray[np.int8]) -> NDArray[np.int8]:
    """Label the faces that the rest export has too, wherever they stand in it; -2 for the others."""
    both = np.sort(np.concatenate([rest.faces, solved.faces]).astype(np.int64), axis=1)
    count = int(both.max()) + 1
    _, pair = np.unique(both[:, 0] * count + both[:, 1], return_inverse=True)
    _, name = np.unique(pair * count + both[:, 2], return_inverse=True)
    known = np.full(int(name.max()) + 1, -2, dtype=np.int8)
    known[name[: len(rest.faces)]] = labels
    return known[name[len(rest.faces) :]]


def _cut_otherwise(faces: NDArray[np.int32], rest: Mesh, labels: NDArray[np.int8]) -> NDArray[np.int8]:
    """Label faces of polygons that were cut otherwise: inside one part alone, with an edge of that part.

    -2 for faces that no part, or more than one, may hold.
    """
    count = len(rest.vertices_mm)
    found = np.full(len(faces), -2, dtype=np.int8)
    edges = _edges(faces, count)
    for part in range(_NO_PART + 1):
        own = rest.faces[labels == (part if part < _NO_PART else -1)]
        holds = np.zeros(count, dtype=bool)
        holds[own] = True
        inside = holds[faces].all(1) & np.isin(edges, _edges(own, count)).any(1)
        twice = inside & (found != -2)
        found[inside] = part if part < _NO_PART else -1
        found[twice] = -3
    found[found == -3] = -2
    return found


def _edges(faces: NDArray[np.int32], count: int) -> NDArray[np.int64]:
    """Give one number for each edge of each face, shape (faces, 3), whichever way it runs."""
    start = faces.astype(np.int64)
    end = np.roll(start, -1, axis=1)
    return np.minimum(start, end) * count + np.maximum(start, end)


def _check_whole(
    path: Path,
    solved: Mesh,
    rest: Mesh,
    rig: Rig,
    found: NDArray[np.int8],
    labels: NDArray[np.int8],
) -> None:
    for label, part in enumerate(PARTS):
        needed = _area_mm2(rest, rest.faces[labels == label])
        given = _area_mm2(rest, solved.faces[found == label])
        if abs(given - needed) > AREA_OFF * needed > 0:
            what = (
                f"has {given / needed:.0%} of the surface that it has in the rest export {rig.rest.name}, "
                "needed all of it, once"
            )
            raise InputError(path, f"part {part}", what, _EXPORT_ALIKE)


def _area_mm2(rest: Mesh, faces: NDArray[np.int32]) -> float:
    """Measure faces on the rest export's vertices, so that only which faces there are counts."""
    a, b, c = (rest.vertices_mm[faces[:, side]] for side in range(3))
    return float(np.linalg.norm(np.cross(b - a, c - a), axis=1).sum() / 2)
