"""Outlines of the rows in a rendering: where each ends, and whether by itself, at gums or behind a lip."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from bite.geometry.rigid import Array
from bite.geometry.teeth import LOWER, OTHER, SKIN, UPPER

_GUM_STEP_MM = 2.0
"""Gums lie no deeper than this behind the teeth that end there; the back of the mouth does (our choice)."""
_OUTSIDE_PX = 1.5
"""A look to either side of a line, far enough to be off it whatever its rounding."""
_LEAST_POINTS = 8
"""Of an outline, some four fine pixels: what is shorter is a scrap."""


class Rim(StrEnum):
    """What an outline is the end of."""

    UPPER = "upper"
    """own edge of the upper row: it moves with the teeth"""
    LOWER = "lower"
    LIP = "lip"
    """a lip's edge before teeth: it stays where it is when the teeth move"""
    GUM = "gum"
    """between teeth and gums, where gums are modelled"""


@dataclass(frozen=True, slots=True)
class Outline:
    """A line in pixels, shape (n, 2); closed ones end where they start."""

    rim: Rim
    line_px: Array


def outlines(part: NDArray[np.int8], depth_mm: Array) -> list[Outline]:
    """Follow the ends of both rows, and tell what ends them.

    Parameters
    ----------
    part : array, shape (h, w), part numbers of a rendering, -1 for nothing
    depth_mm : array, shape (h, w), NaN for nothing

    Returns
    -------
    list of Outline, in pixels of the rendering
    """
    found: list[Outline] = []
    for row, rim in ((UPPER, Rim.UPPER), (LOWER, Rim.LOWER)):
        mask = part == row
        if not mask.any():
            continue
        for line in _rings(mask):
            beside, deeper_mm = _beside(line, part, depth_mm, mask)
            kinds = np.full(len(line), "", dtype=object)
            kinds[deeper_mm > 0.0] = rim
            kinds[(beside == OTHER) & (deeper_mm < _GUM_STEP_MM)] = Rim.GUM
            kinds[(beside == SKIN) & (deeper_mm < 0.0)] = Rim.LIP
            # where the other row stands before this one, that row's own outline is drawn
            found += [Outline(Rim(kind), piece) for kind, piece in _pieces(line, kinds)]
    return found


def _rings(mask: NDArray[np.bool_]) -> list[Array]:
    """Give the closed outlines of a mask, to a quarter of its pixels, in its pixels."""
    import cv2

    up = 4
    soft = cv2.GaussianBlur(mask.astype(np.float32), (0, 0), 0.8)
    rows, columns = np.flatnonzero(mask.any(1)), np.flatnonzero(mask.any(0))
    top, left = max(int(rows[0]) - 3, 0), max(int(columns[0]) - 3, 0)
    cut = soft[top : int(rows[-1]) + 4, left : int(columns[-1]) + 4]
    large = cv2.resize(cut, None, fx=up, fy=up, interpolation=cv2.INTER_LINEAR)
    rings, _ = cv2.findContours((large > 0.5).astype(np.uint8), cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    out = []
    for ring in rings:
        line = (ring[:, 0].astype(np.float64) + 0.5) / up - 0.5 + (left, top)
        if len(line) < 2 * _LEAST_POINTS:
            continue
        # stairs of the chain are evened out over one pixel of the mask
        ends = np.concatenate([line[-up:], line, line[:up]])
        total = np.cumsum(np.concatenate([np.zeros((1, 2)), ends]), axis=0)
        even = (total[2 * up + 1 :] - total[: -(2 * up + 1)]) / (2 * up + 1)
        out.append(np.concatenate([even[::2], even[:1]]))
    return out


def _beside(
    line: Array, part: NDArray[np.int8], depth_mm: Array, mask: NDArray[np.bool_]
) -> tuple[NDArray[np.int8], Array]:
    """Tell for each place of an outline which part lies outside it, and how much deeper, mm."""
    import cv2

    along = np.roll(line, -1, axis=0) - np.roll(line, 1, axis=0)
    along[[0, -1]] = line[1] - line[-2]
    normal = np.column_stack([along[:, 1], -along[:, 0]])
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-9)
    soft = cv2.GaussianBlur(mask.astype(np.float32), (0, 0), 2.0)
    size = np.array([mask.shape[1] - 1, mask.shape[0] - 1])

    def at(places: Array) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        column, row = np.clip(np.rint(places), 0, size).astype(np.intp).T
        return row, column

    flip = soft[at(line + 2.0 * normal)] > soft[at(line - 2.0 * normal)]
    normal[flip] *= -1.0
    outside, inside = at(line + _OUTSIDE_PX * normal), at(line - _OUTSIDE_PX * normal)
    deeper_mm = np.nan_to_num(depth_mm[outside], nan=np.inf) - depth_mm[inside]
    return part[outside], np.nan_to_num(deeper_mm, posinf=np.inf)


def _pieces(line: Array, kinds: NDArray[np.object_]) -> list[tuple[str, Array]]:
    """Cut a ring where its kind changes; a scrap goes to the piece before it."""
    kinds = kinds.copy()
    changes = _changes(kinds)
    if len(changes):
        # start where a kind starts, so that no piece is cut by the ring's own first place
        line = np.concatenate([line[changes[0] : -1], line[: changes[0] + 1]])
        kinds = np.concatenate([kinds[changes[0] : -1], kinds[: changes[0] + 1]])
        starts = np.concatenate([[0], _changes(kinds), [len(kinds)]])
        for start, end in pairwise(starts[1:]):
            if end - start < _LEAST_POINTS:
                kinds[start:end] = kinds[start - 1]
    starts = np.concatenate([[0], _changes(kinds), [len(kinds)]])
    return [
        (str(kinds[start]), line[start : end + 1])
        for start, end in pairwise(starts)
        if kinds[start] and end - start >= _LEAST_POINTS
    ]


def _changes(kinds: NDArray[np.object_]) -> NDArray[np.intp]:
    return np.flatnonzero(kinds[1:] != kinds[:-1]) + 1
