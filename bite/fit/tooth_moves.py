"""How the performer's crowns may differ from the digital ones: where each stands, and how full faces are.

Digital teeth are seldom the performer's own to the tenth of a millimetre. Crowns that stand apart do not move
the offset alike, so that an offset averages over few of them, however many pixels each has. Here each row
holds bumps a tooth apart along forward, whose spread is learned from the frame: crowns that agree cost
nothing. And the faces of a row may be fuller or flatter than the digital ones, from the incisal edge upwards:
where the offset is that of the edges, such faces pass for teeth forward or back. All crowns of a row share
that, so that no frame can learn its spread.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.fit.head import Head
from bite.fit.skin_waves import learned_sd_mm
from bite.geometry.rigid import Array, frozen
from bite.geometry.teeth import LOWER, UPPER

CENTRES_MM = (-20.0, -12.0, -4.0, 4.0, 12.0, 20.0)
"""To the right of the middle: about a crown apart (reference/crown_widths.toml: 5.4 to 8.6 mm)."""
WIDTH_MM = 3.5
"""Sd of a bump: those of one row add up to nearly the same everywhere (our choice)."""
START_SD_MM = 0.1
"""Before a frame has told (our choice)."""
FACE_FULL_MM = 8.0
"""Distance from the incisal edge at which a face that is fuller stands out by the whole of it: about where
crowns bulge most (our choice)."""
FACE_SD_MM = 0.2
"""How much fuller or flatter (our choice). The slope of labial faces varies greatly between people (van
Loenen et al. 2005, Eur. J. Orthod. 27:258-262, 81 incisors, abstract only, which gives no sd); 0.32 mm is
what crowns drawn for another mouth differ by in ``tests/worlds``. Teeth known to be the performer's own are
given less (``evidence/crowns.py``)."""
FRONT_MM = 9.0
"""Crowns so near the middle tell where a row's incisal edge is."""


@dataclass(frozen=True, slots=True)
class ToothMoves:
    """Six bumps and one face along forward, row after row.

    Parameters
    ----------
    vertices : arrays of int, the vertices of the upper and of the lower row; none for teeth that do not move
    shapes : arrays, shape (s, 7), the bumps and the face at these
    forward : array, shape (3,), of the head
    edges_mm : floats, how high above the head's centre each row's incisal edge stands
    face_sd_mm : float, how much fuller or flatter the faces of a row may be
    """

    vertices: tuple[NDArray[np.int64], ...]
    shapes: tuple[Array, ...]
    forward: Array
    edges_mm: tuple[float, ...]
    face_sd_mm: float = FACE_SD_MM

    @property
    def count(self) -> int:
        """Number of unknowns."""
        return len(self.vertices) * (len(CENTRES_MM) + 1)

    @property
    def bumps(self) -> NDArray[np.bool_]:
        """Which unknowns are bumps and no faces, shape (14,) or (0,)."""
        return np.tile(np.arange(len(CENTRES_MM) + 1) < len(CENTRES_MM), len(self.vertices))

    def precision(self, bump_sd_mm: float) -> Array:
        """Give the precision of each unknown's prior, 1 / mm^2, shape (14,) or (0,)."""
        return np.asarray(np.where(self.bumps, bump_sd_mm, self.face_sd_mm) ** -2.0)

    def learned_sd_mm(self, heights_mm: Array, variance_mm2: Array, bump_sd_mm: float) -> float:
        """Give the spread of the bumps that makes the frame most likely, one step on."""
        own = self.bumps
        return learned_sd_mm(heights_mm[own], variance_mm2[own], bump_sd_mm)

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
        """Give d(depth)/d(height) at points that pixels see, shape (p, 14) or (p, 0).

        Parameters
        ----------
        points_mm : array, shape (p, 3)
        upper, lower : array, shape (p,), d(depth)/d(that row forward)
        """
        if not self.vertices:
            return np.zeros((len(points_mm), 0))
        shared = _bumps(head, points_mm)
        above = (points_mm - head.centre_mm) @ head.up
        return np.concatenate(
            [
                np.column_stack([shared, _face(above, edge, gum)]) * by[:, None]
                for edge, gum, by in zip(self.edges_mm, _TO_GUM, (upper, lower), strict=True)
            ],
            axis=1,
        )


NO_TOOTH_MOVES = ToothMoves((), (), frozen(np.zeros(3)), ())
"""Teeth that stand in their rows as they were solved."""


def tooth_moves(head: Head, face_sd_mm: float = FACE_SD_MM) -> ToothMoves:
    """Lay bumps and faces over a solved head's rows."""
    rows = tuple(np.unique(head.faces[head.face_part == row]) for row in (UPPER, LOWER))
    edges, shapes = [], []
    for own, gum in zip(rows, _TO_GUM, strict=True):
        arm = head.points_mm[own] - head.centre_mm
        above = arm @ head.up
        front = above[np.abs(arm @ head.right) < FRONT_MM]
        edges.append(float(gum * (gum * front).min()) if len(front) else 0.0)
        shapes.append(np.column_stack([_bumps(head, head.points_mm[own]), _face(above, edges[-1], gum)]))
    return ToothMoves(rows, tuple(shapes), frozen(head.forward), tuple(edges), face_sd_mm)


_TO_GUM = (1.0, -1.0)
"""Which way the gum lies from the incisal edge, upper and lower row."""


def _bumps(head: Head, points_mm: Array) -> Array:
    right = (points_mm - head.centre_mm) @ head.right
    return np.asarray(np.exp(-0.5 * ((right[:, None] - np.array(CENTRES_MM)) / WIDTH_MM) ** 2))


def _face(above_mm: Array, edge_mm: float, to_gum: float) -> Array:
    """Rise from 0 at the incisal edge to 1 where the face is full, and stay."""
    part = np.clip(to_gum * (above_mm - edge_mm) / FACE_FULL_MM, 0.0, 1.0)
    return np.asarray(np.sin(0.5 * np.pi * part))
