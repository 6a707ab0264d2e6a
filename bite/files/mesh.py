"""Meshes: OBJ by our own reader, PLY, STL and GLB through trimesh; file order kept, millimetres out."""

from __future__ import annotations

import io
import re
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bite.errors import InputError
from bite.files.obj import read_obj
from bite.files.source import read_bytes
from bite.geometry.mesh import Mesh
from bite.geometry.rigid import frozen

MOST_VERTICES, MOST_FACES = 5_000_000, 10_000_000
_FARTHEST = 1e9
_EXPORT_AGAIN = "export the mesh again"
Ints = NDArray[np.int64]
Raw = tuple[NDArray[np.float64], Ints, dict[str, Ints]]


def read_mesh(path: Path, *, unit_mm: float) -> Mesh:
    """Read a mesh; vertices are scaled to mm, nothing is merged, dropped or re-ordered.

    Raises
    ------
    InputError
        For another format, a damaged file, coordinates that are not finite, vertex numbers out of range, or
        no faces.
    """
    path = Path(path)
    if not (np.isfinite(unit_mm) and unit_mm > 0):
        raise InputError(
            path, "unit_mm", f"got {unit_mm}, needed a positive number", "state mm per unit of the mesh"
        )
    data = read_bytes(path)
    suffix = path.suffix.lower()
    if suffix == ".obj":
        vertices, faces, groups = read_obj(path, data)
    elif suffix in (".ply", ".stl", ".glb"):
        vertices, faces, groups = _by_trimesh(path, data, suffix[1:])
    else:
        what = f"name ends in {suffix!r}, needed .obj, .ply, .stl or .glb"
        raise InputError(path, "", what, "export the mesh as one of these; OBJ keeps names and order best")
    _check(path, vertices, faces)
    small = np.ascontiguousarray(faces, dtype=np.int32)
    small.setflags(write=False)
    for numbers in groups.values():
        numbers.setflags(write=False)
    return Mesh(frozen(vertices * unit_mm), small, groups, ordered=suffix != ".stl")


def _check(path: Path, vertices: NDArray[np.float64], faces: Ints) -> None:
    if not len(vertices) or not len(faces):
        what = f"{len(vertices)} vertices and {len(faces)} faces"
        raise InputError(path, "", what, "export the mesh with its faces, not as points")
    if len(vertices) > MOST_VERTICES or len(faces) > MOST_FACES:
        what = f"{len(vertices)} vertices and {len(faces)} faces, needed at most 5 and 10 million"
        raise InputError(path, "", what, "export the face and teeth alone")
    with np.errstate(invalid="ignore"):
        bad = np.flatnonzero(~(np.abs(vertices) <= _FARTHEST).all(1))
    if bad.size:
        what = f"{vertices[bad[0]].tolist()}, needed finite coordinates"
        raise InputError(path, f"vertex {bad[0]} (from 0)", what, _EXPORT_AGAIN)
    low, high = int(faces.min()), int(faces.max())
    if low < 0 or high >= len(vertices):
        what = f"a face names vertex {low if low < 0 else high} (from 0), but the file has {len(vertices)}"
        raise InputError(path, "", what, _EXPORT_AGAIN)


def _by_trimesh(path: Path, data: bytes, kind: str) -> Raw:
    stated = _stated_vertices(path, data, kind)
    import trimesh

    try:
        loaded: Any = trimesh.load(io.BytesIO(data), file_type=kind, process=False, maintain_order=True)
        if isinstance(loaded, trimesh.Scene):
            vertices, faces, groups = _scene(loaded)
        else:
            vertices, faces = np.array(loaded.vertices, float), np.array(loaded.faces, np.int64)
            groups = {}
        vertices, faces = vertices.reshape(-1, 3), faces.reshape(-1, 3)
    except Exception as error:  # whatever a parser throws at a damaged file
        what = f"damaged {kind.upper()} or of an unusual kind ({type(error).__name__})"
        raise InputError(path, "", what, _EXPORT_AGAIN) from None
    if stated is not None and stated != len(vertices):
        what = f"the header states {stated} vertices, {len(vertices)} were read"
        raise InputError(path, "", what, "export it without texture positions on faces, or as OBJ")
    return vertices, faces, groups


def _stated_vertices(path: Path, data: bytes, kind: str) -> int | None:
    """Check the first bytes; give the vertex count that a PLY header states."""
    if kind == "glb" and not data.startswith(b"glTF"):
        raise InputError(path, "", "does not start as a GLB file does", "name the right file")
    if kind != "ply":
        return None
    header = data[:100_000].partition(b"end_header")[0]
    counts = {name: int(count) for name, count in re.findall(rb"element\s+(\w+)\s+(\d{1,18})", header)}
    if not data.startswith(b"ply") or b"end_header" not in data[:100_000]:
        raise InputError(path, "", "does not start as a PLY file does", "name the right file")
    if max(counts.values(), default=0) > MOST_FACES or sum(counts.values()) > len(data):
        raise InputError(
            path, "header", f"states {sum(counts.values())} elements, the file is shorter", _EXPORT_AGAIN
        )
    return counts.get(b"vertex", 0)


def _scene(scene: Any) -> Raw:
    """Join the meshes of a scene in file order, each moved by its node; node and mesh names become groups."""
    vertices: list[NDArray[np.float64]] = []
    faces: list[Ints] = []
    groups: dict[str, list[Ints]] = {}
    vertex_count = face_count = 0
    for node in scene.graph.nodes_geometry:
        transform, name = scene.graph[node]
        piece = scene.geometry[name]
        if not hasattr(piece, "faces"):
            continue
        own = np.array(piece.faces, np.int64)
        if len(own) and not 0 <= own.min() <= own.max() < len(piece.vertices):
            raise ValueError("vertex number out of range")
        vertices.append(np.array(piece.vertices, float) @ transform[:3, :3].T + transform[:3, 3])
        # a mirroring node turns every face inside out
        faces.append((own if np.linalg.det(transform[:3, :3]) > 0 else own[:, ::-1]) + vertex_count)
        numbers = np.arange(face_count, face_count + len(own))
        for label in {str(node), str(name)}:
            groups.setdefault(label, []).append(numbers)
        vertex_count, face_count = vertex_count + len(piece.vertices), face_count + len(own)
    if not vertices:
        return np.zeros((0, 3)), np.zeros((0, 3), np.int64), {}
    joined = {label: np.concatenate(pieces) for label, pieces in groups.items()}
    return np.concatenate(vertices), np.concatenate(faces), joined
