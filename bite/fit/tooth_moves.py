"""How the performer's crowns may differ from the digital ones: each stands a little before or behind its row.

Digital teeth are seldom the performer's own to the tenth of a millimetre. Crowns that stand apart do not move
the offset alike, so that an offset averages over few of them, however many pixels each has. Here each row
holds bumps a tooth apart along forward, whose spread is learned from the frame: crowns that agree cost
nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.fit.head import Head
from bite.geometry.rigid import Array, frozen
from bite.geometry.teeth import LOWER, UPPER

CENTRES_MM = (-20.0, -12.0, -4.0, 4.0, 12.0, 20.0)
"""To the right of the middle: about a crown apart (reference/crown_widths.toml: 5.4 to 8.6 mm)."""
WIDTH_MM = 3.5
"""Sd of a bump: those of one row add up to nearly the same everywhere (our choice)."""
START_SD_MM = 0.1
"""Before a frame has told (our choice)."""


@dataclass(frozen=True, slots=True)
class ToothMoves:
    """Bumps along forward, row after row.

    Parameters
    ----------
    vertices : arrays of int, the vertices of the upper and of the lower row; none for teeth that do not move
    shapes : arrays, shape (s, 6), the bumps at these
    forward : array, shape (3,), of the head
    """

    vertices: tuple[NDArray[np.int64], ...]
    shapes: tuple[Array, ...]
    forward: Array

    @property
    def count(self) -> int:
        """Number of unknowns."""
        return len(self.vertices) * len(CENTRES_MM)

    def displaced(self, points_mm: Array, heights_mm: Array) -> Array:
        """Move the solved model's vertices, shape (n, 3), mm."""
        if not heights_mm.any():
            return points_mm
        moved = points_mm.copy()
        by_row = heights_mm.reshape(len(self.vertices), -1)
        for own, shape, heights in zip(self.vertices, self.shapes, by_row, strict=True):
            moved[own] += (shape @ heights)[:, None] * self.forward
        return moved

    def slopes(self, head: Head, points_mm: Array, upper: Array, lower: Array) -> Array:
        """Give d(depth)/d(height) at points that pixels see, shape (p, 12) or (p, 0).

        Parameters
        ----------
        points_mm : array, shape (p, 3)
        upper, lower : array, shape (p,), d(depth)/d(that row forward)
        """
        if not self.vertices:
            return np.zeros((len(points_mm), 0))
        values = _bumps(head, points_mm)
        return np.concatenate([values * upper[:, None], values * lower[:, None]], axis=1)


NO_TOOTH_MOVES = ToothMoves((), (), frozen(np.zeros(3)))
"""Teeth that stand in their rows as they were solved."""


def tooth_moves(head: Head) -> ToothMoves:
    """Lay the bumps over a solved head's rows."""
    rows = tuple(np.unique(head.faces[head.face_part == row]) for row in (UPPER, LOWER))
    return ToothMoves(rows, tuple(_bumps(head, head.points_mm[own]) for own in rows), frozen(head.forward))


def _bumps(head: Head, points_mm: Array) -> Array:
    right = (points_mm - head.centre_mm) @ head.right
    return np.asarray(np.exp(-0.5 * ((right[:, None] - np.array(CENTRES_MM)) / WIDTH_MM) ** 2))
