"""Wavefront OBJ: vertices and faces in file order, and every object, group and material name.

Own reader, since general ones merge, drop and re-order vertices, or lose names. Curves, surfaces, normals and
texture positions are passed over. Source of the format: Wavefront, Object Files (.obj), Appendix B1 of the
Advanced Visualizer manual (from memory).
"""

from __future__ import annotations

import re
import warnings
from itertools import chain
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bite.errors import InputError
from bite.geometry.rigid import Array

_EXPORT_AGAIN = "export the mesh again"
_TEXTURE_AND_NORMAL = re.compile(rb"/[^ ]*")
Ints = NDArray[np.int64]


def read_obj(path: Path, data: bytes) -> tuple[Array, Ints, dict[str, Ints]]:
    """Read OBJ data.

    Returns
    -------
    vertices : array, shape (n, 3), in the file's unit
    faces : array, shape (m, 3), vertex numbers from 0; polygons are cut into fans
    groups : dict from name to face numbers

    Raises
    ------
    InputError
        For a line that cannot be read, a vertex number out of range, or no faces at all.
    """
    data = data.removeprefix(b"\xef\xbb\xbf").replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    # line numbers in messages count a continued line as one
    lines = data.replace(b"\\\n", b" ").replace(b"\t", b" ").split(b"\n")
    if b"\n " in data or b"\n\t" in data or data[:1].isspace():
        lines = [line.lstrip() for line in lines]
    first = [line[:2] for line in lines]
    vertex_lines = [i for i, f in enumerate(first) if f == b"v "]
    face_lines = [i for i, f in enumerate(first) if f == b"f "]
    if not vertex_lines or not face_lines:
        what = f"{len(vertex_lines)} vertices and {len(face_lines)} faces"
        raise InputError(path, "", what, "export the mesh as an OBJ with faces")
    vertices = _vertices(path, [lines[i] for i in vertex_lines], vertex_lines)
    corners, sides = _corners(path, [lines[i] for i in face_lines], face_lines)
    starts = np.concatenate([[0], np.cumsum(sides)])
    negative = corners < 0
    if negative.any():
        # counted back from the vertices that the file has given so far
        so_far = np.searchsorted(vertex_lines, face_lines)
        corners = np.where(negative, corners + np.repeat(so_far, sides) + 1, corners)
    outside = np.flatnonzero((corners < 1) | (corners > len(vertices)))
    if outside.size:
        line = face_lines[int(np.searchsorted(starts, outside[0], side="right")) - 1]
        what = f"a face names vertex {corners[outside[0]]}, but the file has {len(vertices)}"
        raise InputError(path, f"line {line + 1}", what, _EXPORT_AGAIN)
    faces, first_face = _fans(corners - 1, sides, starts)
    return vertices, faces, _groups(lines, np.array(face_lines), first_face)


def _numbers(text: bytes, kind: type[np.float64] | type[np.int64]) -> NDArray[Any]:
    """Read numbers parted by blanks as far as they are numbers: the caller counts whether all were."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        try:
            return np.fromstring(text, dtype=kind, sep=" ")
        except ValueError:
            return np.zeros(0, dtype=kind)


def _vertices(path: Path, texts: list[bytes], lines: list[int]) -> Array:
    quick = _numbers(b" ".join(text[2:] for text in texts), np.float64)
    # three numbers a line on the whole, and no line with more or fewer: no need to look at them one by one
    if quick.size == 3 * len(texts) and all(text.count(b" ") == 3 for text in texts):
        return quick.reshape(-1, 3)
    words = [text.split() for text in texts]
    try:
        flat = [float(value) for value in chain.from_iterable(w[1:4] for w in words)]
    except ValueError:
        flat = []
    if len(flat) == 3 * len(words) and min(map(len, words)) >= 4:
        return np.array(flat).reshape(-1, 3)
    for w, line in zip(words, lines, strict=True):
        try:
            if len([float(value) for value in w[1:4]]) == 3:
                continue
        except ValueError:
            pass
        what = f"got {b' '.join(w)[:60].decode('latin-1')!r}, needed v x y z"
        raise InputError(path, f"line {line + 1}", what, _EXPORT_AGAIN)
    raise AssertionError("unreachable: some line must be at fault")


def _corners(path: Path, texts: list[bytes], lines: list[int]) -> tuple[Ints, Ints]:
    whole = b" ".join(text[2:] for text in texts)
    if b"  " not in whole and not any(text[-1:] == b" " for text in texts):
        sides = np.array([text.count(b" ") for text in texts])
        quick = _numbers(_TEXTURE_AND_NORMAL.sub(b"", whole), np.int64)
        # a number too large to hold comes back as the largest there is
        if sides.min() >= 3 and quick.size == sides.sum() and np.abs(quick).max() < 2**31:
            return quick, sides
    words = [text.split() for text in texts]
    sides = np.array([len(w) - 1 for w in words])
    if sides.min() >= 3:
        try:
            flat = [int(corner.split(b"/", 1)[0]) for corner in chain.from_iterable(w[1:] for w in words)]
            return np.array(flat, dtype=np.int64), sides
        except (ValueError, OverflowError):
            pass
    for w, line in zip(words, lines, strict=True):
        try:
            np.array([int(corner.split(b"/", 1)[0]) for corner in w[1:]], dtype=np.int64)
            if len(w) >= 4:
                continue
        except (ValueError, OverflowError):
            pass
        what = f"got {b' '.join(w)[:60].decode('latin-1')!r}, needed f with three or more vertex numbers"
        raise InputError(path, f"line {line + 1}", what, _EXPORT_AGAIN)
    raise AssertionError("unreachable: some line must be at fault")


def _fans(corners: Ints, sides: Ints, starts: Ints) -> tuple[Ints, Ints]:
    """Cut polygons into triangles, in file order; also give each polygon's first triangle, the total last."""
    first_face = np.concatenate([[0], np.cumsum(sides - 2)])
    polygon = np.repeat(np.arange(len(sides)), sides - 2)
    step = np.arange(first_face[-1]) - first_face[polygon]
    start = starts[polygon]
    return np.column_stack([corners[start], corners[start + step + 1], corners[start + step + 2]]), first_face


def _groups(lines: list[bytes], face_lines: Ints, first_face: Ints) -> dict[str, Ints]:
    """Collect the faces under each name: a name holds from its own line to the next line of its kind."""
    named = [(i, line) for i, line in enumerate(lines) if line[:1] in b"ogu" and line]
    spans: dict[str, list[tuple[int, int]]] = {}
    for kind in (b"o", b"g", b"usemtl"):
        marks = [(i, line[len(kind) :]) for i, line in named if line.split(None, 1)[0] == kind]
        ends = first_face[np.searchsorted(face_lines, [*(i for i, _ in marks), len(lines)])]
        for (_, label), start, end in zip(marks, ends, ends[1:], strict=False):
            text = label.decode("utf-8", "replace").strip()
            for name in text.split() if kind == b"g" else [text] if text else []:
                spans.setdefault(name, []).append((int(start), int(end)))
    return {
        name: np.unique(np.concatenate([np.arange(start, end) for start, end in pieces]))
        for name, pieces in spans.items()
    }
