"""Meshes: OBJ by our own reader, PLY, STL, GLB and USD through libraries; file order kept, mm out."""

from __future__ import annotations

import io
import re
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bite.errors import InputError
from bite.files.glb_header import stated_by_glb
from bite.files.obj import read_obj, stated_by_obj
from bite.files.source import read_bytes
from bite.files.usd import is_usd, read_usd
from bite.geometry.mesh import Mesh
from bite.geometry.rigid import frozen

MOST_VERTICES, MOST_FACES = 2_000_000, 4_000_000
"""Twenty times what a film's head has (our choice)."""
LARGEST_BYTES = 400_000_000
"""Larger files are no head of a game or film character (our choice)."""
_FARTHEST = 1e9
"""Numbers beyond this are damage, in any unit (our choice)."""
_EXPORT_AGAIN = "export the mesh again"
Ints = NDArray[np.int64]
Raw = tuple[NDArray[np.float64], Ints, dict[str, Ints]]


def read_mesh(
    path: Path,
    *,
    unit_mm: float,
    like: tuple[str, int] | None = None,
    prim: str | None = None,
    time: float | None = None,
) -> Mesh:
    """Read a mesh; vertices are scaled to mm, nothing is merged, dropped or re-ordered.

    Parameters
    ----------
    path : Path
    unit_mm : float, mm per unit of the file
    like : (str, int), optional
        The name and vertex count of the rest export, which the mesh must have too. Where the file states its
        count first, another one is refused before anything is set aside for it.
    prim, time : str and float, optional
        Prim path and time code in a USD stage; refused for other files.

    Raises
    ------
    InputError
        For another format, another count than ``like`` has, a damaged file, coordinates that are not finite,
        vertex numbers out of range, or no faces.
    """
    path = Path(path)
    if not (np.isfinite(unit_mm) and unit_mm > 0):
        raise InputError(
            path, "unit_mm", f"got {unit_mm}, needed a positive number", "state mm per unit of the mesh"
        )
    suffix = path.suffix.lower()
    if is_usd(path):
        raw, z_up = read_usd(path, unit_mm=unit_mm, prim=prim, time=time, limit_bytes=LARGEST_BYTES)
        return _mesh(path, raw, unit_mm, like, z_up=z_up)
    for key, value in (("prim", prim), ("time", time)):
        if value is not None:
            what = f"{key} belongs to a USD stage, but {path.name} is none"
            raise InputError(path, key, what, f"leave {key} out")
    data = read_bytes(path, limit_bytes=LARGEST_BYTES)
    if suffix == ".obj":
        _check_counts(path, *stated_by_obj(data), like, at_least=True)
        vertices, faces, groups = read_obj(path, data)
    elif suffix in (".ply", ".stl", ".glb"):
        vertices, faces, groups = _by_trimesh(path, data, suffix[1:], like)
    else:
        what = f"name ends in {suffix!r}, needed .obj, .ply, .stl, .glb or .usd"
        raise InputError(path, "", what, "export the mesh as one of these; OBJ keeps names and order best")
    return _mesh(path, (vertices, faces, groups), unit_mm, like)


def _mesh(
    path: Path, raw: Raw, unit_mm: float, like: tuple[str, int] | None, *, z_up: bool = False
) -> Mesh:
    vertices, faces, groups = raw
    _check(path, vertices, faces)
    _check_counts(path, len(vertices), len(faces), like)
    small = np.ascontiguousarray(faces, dtype=np.int32)
    small.setflags(write=False)
    for numbers in groups.values():
        numbers.setflags(write=False)
    return Mesh(frozen(vertices * unit_mm), small, groups, ordered=path.suffix.lower() != ".stl", z_up=z_up)


def _check(path: Path, vertices: NDArray[np.float64], faces: Ints) -> None:
    if not len(vertices) or not len(faces):
        what = f"{len(vertices)} vertices and {len(faces)} faces"
        raise InputError(path, "", what, "export the mesh with its faces, not as points")
    with np.errstate(invalid="ignore"):
        bad = np.flatnonzero(~(np.abs(vertices) <= _FARTHEST).all(1))
    if bad.size:
        what = f"{vertices[bad[0]].tolist()}, needed finite coordinates"
        raise InputError(path, f"vertex {bad[0]} (from 0)", what, _EXPORT_AGAIN)
    low, high = int(faces.min()), int(faces.max())
    if low < 0 or high >= len(vertices):
        what = f"a face names vertex {low if low < 0 else high} (from 0), but the file has {len(vertices)}"
        raise InputError(path, "", what, _EXPORT_AGAIN)


def _check_counts(
    path: Path, vertices: int, faces: int, like: tuple[str, int] | None, *, at_least: bool = False
) -> None:
    """Refuse counts that no mesh here has, or that are not those of the rest export.

    ``at_least``: there may be more of either than was counted.
    """
    if like is not None and (vertices > like[1] or (vertices < like[1] and not at_least)):
        what = f"{vertices} vertices, but the rest export {like[0]} has {like[1]}"
        mend = "export both from the same rig, without merging or splitting vertices"
        raise InputError(path, "", what, mend)
    if vertices > MOST_VERTICES or faces > MOST_FACES:
        most = f"{MOST_VERTICES // 10**6} and {MOST_FACES // 10**6} million"
        what = f"{vertices} vertices and {faces} faces, needed at most {most}"
        raise InputError(path, "", what, "export the face and teeth alone")


def _by_trimesh(path: Path, data: bytes, kind: str, like: tuple[str, int] | None) -> Raw:
    stated = _stated_vertices(path, data, kind)
    if kind == "glb":
        _check_glb(path, data, like)
    elif stated is not None:
        _check_counts(path, stated, 0, like)
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


def _check_glb(path: Path, data: bytes, like: tuple[str, int] | None) -> None:
    found = stated_by_glb(data)
    if found is None:
        return
    vertices, faces, most = found
    if most > len(data):
        what = f"states {most} elements, the file has {len(data)} bytes"
        raise InputError(path, "header", what, _EXPORT_AGAIN)
    _check_counts(path, vertices, faces, like)


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
