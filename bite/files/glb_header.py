"""What a GLB file says it holds, before anything is set aside for it.

Source of the format: Khronos glTF 2.0, section 4 (GLB file format) and 3.6.2 (accessors) (from memory).
"""

from __future__ import annotations

import json
import struct
from typing import Any

_JSON = 0x4E4F534A
"""Chunk type "JSON", little-endian (glTF 2.0 specification, section 4.4)."""
_TRIANGLE = 3
"""Corners of a face."""


def stated_by_glb(data: bytes) -> tuple[int, int, int] | None:
    """Give the vertices and faces that a GLB's scene unfolds to, and its largest count of elements.

    An accessor may state any count without a byte behind it, and nodes may show one mesh a million times.
    None where the header cannot be made out: the reader proper will say what is wrong.
    """
    try:
        length, kind = struct.unpack_from("<II", data, 12)
        table: Any = json.loads(data[20 : 20 + length]) if kind == _JSON else None
        counts = [int(accessor["count"]) for accessor in table.get("accessors", [])]
        shown = [int(node["mesh"]) for node in table.get("nodes", []) if "mesh" in node]
        meshes = [_mesh(mesh, counts) for mesh in table.get("meshes", [])]
        vertices, faces = (sum(meshes[k][side] for k in shown) for side in range(2))
    except (ValueError, TypeError, LookupError, AttributeError, RecursionError, struct.error, OverflowError):
        return None
    return vertices, faces, max(counts, default=0)


def _mesh(mesh: Any, counts: list[int]) -> tuple[int, int]:
    vertices = faces = 0
    for primitive in mesh["primitives"]:
        own = counts[primitive["attributes"]["POSITION"]]
        vertices += own
        faces += (counts[primitive["indices"]] if "indices" in primitive else own) // _TRIANGLE
    return vertices, faces
