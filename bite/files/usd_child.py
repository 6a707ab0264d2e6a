"""Read the meshes of a USD stage and write them to stdout as NPZ; run as a process of its own.

A damaged file can end the library that reads it, and only this process with it. Used by `usd.py`:

    python -m bite.files.usd_child FILE PRIM TIME

PRIM may be empty (the default prim, else the whole stage), and so may TIME. What cannot be read is one JSON
line on stderr with exit code 3.
"""

from __future__ import annotations

import io
import json
import sys
from collections.abc import Iterator
from typing import Any, NoReturn

import numpy as np


def main(argv: list[str]) -> int:
    """Read, write, end."""
    from pxr import Usd, UsdGeom

    file, prim_path, time = argv
    try:
        stage = Usd.Stage.Open(file)
    except Exception as error:  # the library has one kind of error for every fault of a file
        _refuse("", f"cannot be read as USD ({type(error).__name__})", "export it again")
    if stage is None:
        _refuse("", "cannot be read as USD", "export it again")
    root = stage.GetRootLayer()
    others = [layer for layer in stage.GetUsedLayers() if not layer.anonymous and layer != root]
    if others:
        what = f"brings in {len(others)} other files, such as {others[0].GetDisplayName()}"
        _refuse("", what, "flatten the stage into one file, so that all of it is known")
    code = Usd.TimeCode(float(time)) if time else Usd.TimeCode.Default()
    cache = UsdGeom.XformCache(code)
    pieces = [_piece(mesh, cache, code, asked=bool(time)) for mesh in _meshes(stage, prim_path)]
    arrays: dict[str, Any] = {"count": np.array(len(pieces))}
    for number, (path, points, counts, indices) in enumerate(pieces):
        arrays |= {f"path{number}": np.array(path), f"points{number}": points}
        arrays |= {f"counts{number}": counts, f"indices{number}": indices}
    stated = stage.HasAuthoredMetadata("metersPerUnit")
    arrays["mm_per_unit"] = np.array(1000.0 * UsdGeom.GetStageMetersPerUnit(stage) if stated else np.nan)
    arrays["z_up"] = np.array(UsdGeom.GetStageUpAxis(stage) == UsdGeom.Tokens.z)
    held = io.BytesIO()
    np.savez(held, **arrays)
    sys.stdout.buffer.write(held.getvalue())
    return 0


def _meshes(stage: Any, prim_path: str) -> Iterator[Any]:
    from pxr import Sdf, Usd, UsdGeom

    if prim_path:
        if not Sdf.Path.IsValidPathString(prim_path) or not Sdf.Path(prim_path).IsAbsolutePath():
            _refuse("prim", f"got {prim_path!r}, needed a path such as /World/head", "write the prim's path")
        top = stage.GetPrimAtPath(prim_path)
        if not top:
            there = [str(prim.GetPath()) for prim in stage.Traverse()]
            _refuse("prim", f"no prim {prim_path}", "", known=there[:1000])
    else:
        top = stage.GetDefaultPrim() or stage.GetPseudoRoot()
    found = []
    for prim in Usd.PrimRange(top, Usd.TraverseInstanceProxies()):
        if prim.IsA(UsdGeom.Mesh):
            if prim.IsInstanceProxy() or prim.IsInstance():
                what = f"{prim.GetPath()} is instanced"
                _refuse("prim", what, "export it as a mesh of its own: an instance has no points of its own")
            found.append(UsdGeom.Mesh(prim))
    if not found:
        kinds = sorted({str(prim.GetTypeName()) for prim in Usd.PrimRange(top)} - {""})
        what = f"{top.GetPath()} holds no mesh, only {', '.join(kinds[:5]) or 'nothing'}"
        _refuse("prim", what, "name the prim above the meshes of face and teeth")
    return iter(found)


def _piece(mesh: Any, cache: Any, code: Any, *, asked: bool) -> tuple[str, Any, Any, Any]:
    path = str(mesh.GetPath())
    attribute = mesh.GetPointsAttr()
    scheme = mesh.GetSubdivisionSchemeAttr()
    if scheme.IsAuthored() and scheme.Get() != "none":
        what = f"{path} is subdivided ({scheme.Get()}): its points are a cage around the surface"
        _refuse("", what, "bake the surface and export it with subdivisionScheme none")
    samples = attribute.GetTimeSamples()
    if len(samples) > 1 and not asked:
        what = f"{path} moves: it has points at {len(samples)} times, {samples[0]:g} to {samples[-1]:g}"
        _refuse("time", what, "write time = the time code of the bite frame")
    if len(samples) > 1 and not samples[0] <= code.GetValue() <= samples[-1]:
        what = f"time {code.GetValue():g} lies outside {samples[0]:g} to {samples[-1]:g} of {path}"
        _refuse("time", what, "write a time code inside")
    points = attribute.Get(code) if asked or not samples else attribute.Get(samples[0])
    counts = mesh.GetFaceVertexCountsAttr().Get(code)
    indices = mesh.GetFaceVertexIndicesAttr().Get(code)
    if points is None or counts is None or indices is None:
        _refuse("", f"{path} has no points or no faces", "export it with its points and faces")
    numbers = [np.asarray(counts, dtype=np.int64), np.asarray(indices, dtype=np.int64)]
    if mesh.GetOrientationAttr().Get(code) == "leftHanded":
        numbers[1] = _turned(*numbers)
    matrix = np.array(cache.GetLocalToWorldTransform(mesh.GetPrim()), dtype=np.float64)
    placed = np.asarray(points, dtype=np.float64).reshape(-1, 3) @ matrix[:3, :3] + matrix[3, :3]
    if np.linalg.det(matrix[:3, :3]) < 0:  # a mirroring transform turns every face inside out
        numbers[1] = _turned(*numbers)
    return path, placed, numbers[0], numbers[1]


def _turned(counts: Any, indices: Any) -> Any:
    """Give the corners of each face in the other direction."""
    if len(indices) != counts.sum() or (counts < 0).any():
        return indices  # told by whoever reads this
    ends = np.cumsum(counts)
    starts = np.repeat(ends - counts, counts)
    at = np.arange(len(indices))
    return indices[starts + np.repeat(ends, counts) - 1 - at]


def _refuse(where: str, what: str, mend: str, known: list[str] | None = None) -> NoReturn:
    line = {"where": where, "what": what, "mend": mend, "known": known}
    sys.stderr.write("\n" + json.dumps(line) + "\n")
    raise SystemExit(3)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
