"""Meshes of a USD stage, by prim path and time code, as a studio's scene holds them.

USD is an open standard; reading it takes the optional package usd-core. The stage is read by a process of its
own, since a damaged file can end the reader (`usd_child.py`).
"""

from __future__ import annotations

import io
import json
import subprocess
import sys
from importlib.util import find_spec
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bite.errors import InputError
from bite.files.source import read_bytes
from bite.files.tables import nearest, shown

ENDINGS = (".usd", ".usda", ".usdc")
LONGEST_S = 120.0
"""A head is read in a second or two; a file that takes longer is made to."""
CHILD = ["-m", "bite.files.usd_child"]
"""The reader, as arguments of Python."""
_EXPORT_AGAIN = "export the mesh again"
Ints = NDArray[np.int64]


def is_usd(path: Path) -> bool:
    """Tell by its ending whether a file is a USD stage."""
    return Path(path).suffix.lower() in ENDINGS


def read_usd(
    path: Path, *, unit_mm: float, prim: str | None, time: float | None, limit_bytes: int
) -> tuple[tuple[NDArray[np.float64], Ints, dict[str, Ints]], bool]:
    """Read every mesh at and below a prim, joined in the stage's order, each moved to where it stands.

    Parameters
    ----------
    path : Path
    unit_mm : float
        mm per unit as the frame or rig file states it; must agree with the stage's metersPerUnit.
    prim : str or None, path of the prim; the default prim, else the whole stage
    time : float or None, time code; needed where points move
    limit_bytes : int

    Returns
    -------
    (vertices, faces, groups), z_up : vertices in the stage's unit and axes; groups by prim path and by name

    Raises
    ------
    InputError
        Without usd-core, for a missing prim, an instanced or subdivided mesh, points that move without a
        time, a stage of several files, another unit than stated, or a damaged file.
    """
    data = read_bytes(path, limit_bytes=limit_bytes)
    if find_spec("pxr") is None:
        what = "is a USD stage, which takes the optional package usd-core"
        raise InputError(path, "", what, "pip install 'bite[usd]', or export an OBJ")
    arrays = _arrays(path, data, prim or "", "" if time is None else repr(float(time)))
    _check_unit(path, unit_mm, float(arrays["mm_per_unit"]))
    vertices: list[NDArray[np.float64]] = []
    faces: list[Ints] = []
    groups: dict[str, list[Ints]] = {}
    vertex_count = face_count = 0
    for number in range(int(arrays["count"])):
        name, points = str(arrays[f"path{number}"]), arrays[f"points{number}"]
        own = _triangles(path, name, arrays[f"counts{number}"], arrays[f"indices{number}"])
        vertices.append(points)
        faces.append(own + vertex_count)
        at = np.arange(face_count, face_count + len(own))
        for label in {name, *name.strip("/").split("/")}:
            groups.setdefault(label, []).append(at)
        vertex_count, face_count = vertex_count + len(points), face_count + len(own)
    joined = {label: np.concatenate(parts) for label, parts in groups.items()}
    return (np.concatenate(vertices), np.concatenate(faces), joined), bool(arrays["z_up"])


def _arrays(path: Path, data: bytes, prim: str, time: str) -> dict[str, Any]:
    with TemporaryDirectory() as folder:
        # the very bytes whose hash is recorded, in a folder where nothing else can be brought in from
        copy = Path(folder) / f"stage{path.suffix.lower()}"
        copy.write_bytes(data)
        command = [sys.executable, *CHILD, str(copy), prim, time]
        try:
            done = subprocess.run(command, capture_output=True, timeout=LONGEST_S, check=False)
        except subprocess.TimeoutExpired:
            raise InputError(path, "", f"takes over {LONGEST_S:.0f} s to read", _EXPORT_AGAIN) from None
    if done.returncode == 3:
        told = json.loads(done.stderr.decode().splitlines()[-1])
        mend = told["mend"] or nearest(prim, told["known"] or [])
        raise InputError(path, told["where"], told["what"], mend)
    if done.returncode:
        what = f"cannot be read as USD (its reader ended with {done.returncode})"
        raise InputError(path, "", what, _EXPORT_AGAIN)
    with np.load(io.BytesIO(done.stdout), allow_pickle=False) as held:
        return {name: held[name] for name in held.files}


def _check_unit(path: Path, unit_mm: float, stated_mm: float) -> None:
    if np.isfinite(stated_mm) and abs(stated_mm - unit_mm) > 1e-6 * stated_mm:
        what = f"got {unit_mm:g}, but the stage says metersPerUnit = {stated_mm / 1000:g}"
        raise InputError(path, "unit_mm", what, f"write unit_mm = {stated_mm:g}, or correct the stage")


def _triangles(path: Path, name: str, counts: Ints, indices: Ints) -> Ints:
    """Cut faces into fans of triangles, as every reader here does."""
    if (counts < 0).any() or counts.sum() != len(indices):
        states = f"states {int(counts.sum())} corners of faces, and lists {len(indices)}"
        what = f"{shown(name, quote=False)} {states}"
        raise InputError(path, "", what, _EXPORT_AGAIN)
    starts = np.cumsum(counts) - counts
    fans = np.maximum(counts - 2, 0)
    face = np.repeat(np.arange(len(counts)), fans)
    step = np.arange(fans.sum()) - np.repeat(np.cumsum(fans) - fans, fans)
    first = starts[face]
    corners = [indices[first], indices[first + step + 1], indices[first + step + 2]]
    return np.asarray(np.stack(corners, axis=1))
