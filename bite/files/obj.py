"""Wavefront OBJ: vertices and faces in file order, and every object, group and material name.

Own reader, since general ones merge, drop and re-order vertices, or lose names. Curves, surfaces, normals and
texture positions are passed over. Source of the format: Wavefront, Object Files (.obj), Appendix B1 of the
Advanced Visualizer manual (from memory).
"""

from __future__ import annotations

import re
import warnings
from dataclasses import dataclass
from itertools import chain
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bite.errors import InputError
from bite.geometry.rigid import Array

_EXPORT_AGAIN = "export the mesh again"
_TEXTURE_AND_NORMAL = re.compile(rb"/[^ \n]*")
_INDENT = re.compile(rb"^ +", re.MULTILINE)
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
    data = data.replace(b"\\\n", b" ").replace(b"\t", b" ")
    if b"\n " in data or data[:1] == b" ":
        data = _INDENT.sub(b"", data)
    lines = _Lines.of(data)
    vertex_lines, face_lines = lines.starting(b"v "), lines.starting(b"f ")
    if not vertex_lines.size or not face_lines.size:
        what = f"{len(vertex_lines)} vertices and {len(face_lines)} faces"
        raise InputError(path, "", what, "export the mesh as an OBJ with faces")
    vertices = _vertices(path, lines, vertex_lines)
    corners, sides = _corners(path, lines, face_lines)
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
    return vertices, faces, _groups(lines, face_lines, first_face)


def stated_by_obj(data: bytes) -> tuple[int, int]:
    """Count vertex and face lines at a glance, at least: indented ones are passed over."""
    return data.count(b"\nv ") + data.startswith(b"v "), data.count(b"\nf ") + data.startswith(b"f ")


@dataclass(frozen=True, slots=True)
class _Lines:
    """Where each line of the data begins and ends: most are read many at a time, few one by one."""

    data: bytes
    start: Ints
    end: Ints
    first: NDArray[np.uint8]
    second: NDArray[np.uint8]

    @classmethod
    def of(cls, data: bytes) -> _Lines:
        letters = np.frombuffer(data + b"\n\n", np.uint8)
        breaks = np.flatnonzero(letters[:-2] == ord("\n"))
        start = np.concatenate([[0], breaks + 1])
        return cls(data, start, np.append(breaks, len(data)), letters[start], letters[start + 1])

    def __getitem__(self, number: int) -> bytes:
        return self.data[self.start[number] : self.end[number]]

    def starting(self, two: bytes) -> Ints:
        """Give the numbers of the lines that start with two characters."""
        return np.flatnonzero((self.first == two[0]) & (self.second == two[1]))

    def together(self, numbers: Ints) -> bytes:
        """Give many lines as one text, parted by line ends."""
        jumps = np.flatnonzero(np.diff(numbers) > 1)
        first, last = numbers[np.append(0, jumps + 1)], numbers[np.append(jumps, len(numbers) - 1)]
        return b"\n".join(
            self.data[a:b] for a, b in zip(self.start[first], self.end[last], strict=True)
        )


def _blanks_a_line(text: bytes) -> Ints:
    """Count the blanks in each line."""
    letters = np.frombuffer(text, np.uint8)
    ends = np.append(np.flatnonzero(letters == ord("\n")), len(text))
    return np.diff(np.searchsorted(np.flatnonzero(letters == ord(" ")), ends), prepend=0)


def _numbers(text: bytes, kind: type[np.float64] | type[np.int64]) -> NDArray[Any]:
    """Read numbers parted by blanks as far as they are numbers: the caller counts whether all were."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        try:
            return np.fromstring(text, dtype=kind, sep=" ")
        except ValueError:
            return np.zeros(0, dtype=kind)


def _vertices(path: Path, lines: _Lines, numbers: Ints) -> Array:
    whole = lines.together(numbers)
    # three blanks a line, and so many numbers on the whole: no need to look at the lines one by one
    if (_blanks_a_line(whole) == 3).all() and whole.count(b"v") == len(numbers):
        quick = _numbers(whole.replace(b"v", b" "), np.float64)
        if quick.size == 3 * len(numbers):
            return quick.reshape(-1, 3)
    words = [text.split() for text in whole.split(b"\n")]
    try:
        flat = [float(value) for value in chain.from_iterable(w[1:4] for w in words)]
    except ValueError:
        flat = []
    if len(flat) == 3 * len(words) and min(map(len, words)) >= 4:
        return np.array(flat).reshape(-1, 3)
    for w, line in zip(words, numbers, strict=True):
        try:
            if len([float(value) for value in w[1:4]]) == 3:
                continue
        except ValueError:
            pass
        what = f"got {b' '.join(w)[:60].decode('latin-1')!r}, needed v x y z"
        raise InputError(path, f"line {line + 1}", what, _EXPORT_AGAIN)
    raise AssertionError("unreachable: some line must be at fault")


def _corners(path: Path, lines: _Lines, numbers: Ints) -> tuple[Ints, Ints]:
    whole = lines.together(numbers)
    if b"  " not in whole and b" \n" not in whole and whole[-1:] != b" ":
        sides = _blanks_a_line(whole)
        plain = _TEXTURE_AND_NORMAL.sub(b"", whole) if b"/" in whole else whole
        quick = _numbers(plain.replace(b"f", b" "), np.int64)
        # a number too large to hold comes back as the largest there is
        whole_numbers = quick.size == sides.sum() and whole.count(b"f") == len(numbers)
        if sides.min() >= 3 and whole_numbers and np.abs(quick).max() < 2**31:
            return quick, sides
    words = [text.split() for text in whole.split(b"\n")]
    sides = np.array([len(w) - 1 for w in words])
    if sides.min() >= 3:
        try:
            flat = [int(corner.split(b"/", 1)[0]) for corner in chain.from_iterable(w[1:] for w in words)]
            return np.array(flat, dtype=np.int64), sides
        except (ValueError, OverflowError):
            pass
    for w, line in zip(words, numbers, strict=True):
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


def _groups(lines: _Lines, face_lines: Ints, first_face: Ints) -> dict[str, Ints]:
    """Collect the faces under each name: a name holds from its own line to the next line of its kind."""
    spans: dict[str, list[tuple[int, int]]] = {}
    for kind, starts in ((b"o", (b"o ", b"o\n")), (b"g", (b"g ", b"g\n")), (b"usemtl", (b"us",))):
        numbers = np.sort(np.concatenate([lines.starting(two) for two in starts]))
        named = [(int(i), lines[i]) for i in numbers]
        marks = [(i, line[len(kind) :]) for i, line in named if line.split(None, 1)[0] == kind]
        ends = first_face[np.searchsorted(face_lines, [*(i for i, _ in marks), len(lines.start)])]
        for (_, label), start, end in zip(marks, ends, ends[1:], strict=False):
            text = label.decode("utf-8", "replace").strip()
            for name in text.split() if kind == b"g" else [text] if text else []:
                spans.setdefault(name, []).append((int(start), int(end)))
    return {
        # lines come in order, so the pieces of one name do too; two kinds of line may give the same name
        name: np.unique(np.concatenate([np.arange(start, end) for start, end in pieces]))
        if len(pieces) > 1
        else np.arange(*pieces[0])
        for name, pieces in spans.items()
    }
