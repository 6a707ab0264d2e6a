"""How the solved skin itself may be off: a smooth random field along its normals.

A solved skin is wrong by a few tenths of a millimetre in long waves. Left out of the model, such waves pass
for noise with a very
long correlation, which drowns what the teeth say, and they shift the lip edges that hide the teeth. Here the
field is a sum of
Gaussian bumps with independent normal heights, whose spread is learned from the frame itself (empirical
Bayes).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.fit.head import Head
from bite.geometry.render import face_normals
from bite.geometry.rigid import Array, frozen
from bite.geometry.teeth import SKIN

SPACING_MM = 14.0
"""Bumps this far apart follow waves of 50 mm with three to four bumps a wave (our choice; with waves of 25
mm, which they cannot follow, 95.5 and 98.5 % of intervals held, docs/measured.md and docs/decisions.md)."""
WIDTH_MM = 12.0
"""Bumps this far apart and this wide (sd) follow waves of 40 mm and longer; shorter ones count as noise
(our choice)."""
FACING_MM = 40.0
"""Skin within this of the mouth, in front of it, tells which way normals point (our choice)."""
START_SD_MM = 0.3
"""Where the spread of the waves starts; it is learned from the frame (our choice)."""
LEAST_SD_MM = 0.02
"""A spread of 0 would never come back up (our choice)."""


@dataclass(frozen=True, slots=True)
class SkinWaves:
    """Bump centres in the head's right-up plane about its centre, and how each vertex moves.

    Parameters
    ----------
    centres_mm : array, shape (j, 2), mm to the right and up
    skin : array of int, shape (s,), the skin's vertices
    skin_moves : array, shape (s, j): mm along the normal per mm of height
    skin_normals : array, shape (s, 3), unit normals of the solved skin, out of it
    """

    centres_mm: Array
    skin: NDArray[np.int64]
    skin_moves: Array
    skin_normals: Array

    @property
    def count(self) -> int:
        """Number of bumps."""
        return len(self.centres_mm)

    def displaced(self, points_mm: Array, heights_mm: Array) -> Array:
        """Move the solved model's vertices by the field, shape (n, 3), mm."""
        if not heights_mm.size or not heights_mm.any():
            return points_mm
        moved = points_mm.copy()
        moved[self.skin] += (self.skin_moves @ heights_mm)[:, None] * self.skin_normals
        return moved

    def at(self, head: Head, points_mm: Array) -> Array:
        """Give the value of each bump at points near the solved skin, shape (p, j)."""
        return bumps(head, points_mm, self.centres_mm)


def bumps(head: Head, points_mm: Array, centres_mm: Array) -> Array:
    """Give the value of each bump at points, shape (p, j); a product of a column's and a row's."""
    arm = points_mm - head.centre_mm
    value = np.ones((len(arm), len(centres_mm)))
    for direction, places in ((head.right, centres_mm[:, 0]), (head.up, centres_mm[:, 1])):
        steps, which = np.unique(places, return_inverse=True)
        away = (arm @ direction)[:, None] - steps
        value *= np.exp(-0.5 * (away / WIDTH_MM) ** 2)[:, which]
    return value


def skin_waves(head: Head, reach_mm: float) -> SkinWaves:
    """Lay out bumps within reach of the mouth wherever there is skin to hold them."""
    steps = np.arange(-np.ceil(reach_mm / SPACING_MM), np.ceil(reach_mm / SPACING_MM) + 1) * SPACING_MM
    grid = np.stack(np.meshgrid(steps, steps), -1).reshape(-1, 2)
    grid = grid[np.hypot(*grid.T) <= reach_mm]
    on_skin = np.zeros(len(head.points_mm), dtype=bool)
    on_skin[head.faces[head.face_part == SKIN]] = True
    skin = np.flatnonzero(on_skin)
    moves = bumps(head, head.points_mm[skin], grid)
    kept = moves.sum(0) > 0
    if not kept.all():
        moves = moves[:, kept]
    moves.setflags(write=False)  # not copied: it is large
    return SkinWaves(frozen(grid[kept]), skin, moves, frozen(outward_normals(head)[skin]))


def outward_normals(head: Head) -> Array:
    """Give area-weighted unit vertex normals, turned so that skin before the teeth faces out."""
    by_face = face_normals(head.points_mm, head.faces)
    total = np.zeros_like(head.points_mm)
    for corner in range(3):
        for axis in range(3):
            total[:, axis] += np.bincount(
                head.faces[:, corner], weights=by_face[:, axis], minlength=len(total)
            )
    # of a whole head the back would cancel the front, and the inside of the lips faces back
    arm = head.points_mm[head.faces[:, 0]] - head.centre_mm
    before = (head.face_part == SKIN) & (arm @ head.forward > 0) & (np.linalg.norm(arm, axis=1) < FACING_MM)
    outward = float((by_face[before] @ head.forward).sum())
    return np.asarray(np.copysign(1.0, outward) * total / (np.linalg.norm(total, axis=1)[:, None] + 1e-12))


def learned_sd_mm(heights_mm: Array, variance_mm2: Array, sd_mm: float) -> float:
    """Give the spread of the bump heights that makes the frame most likely, one step on.

    The heights' sum of squares over the number of them that the data, and not the prior, determine.
    Source: MacKay 1992, Bayesian interpolation, Neural Computation 4:415-447, eq. 4.9 (equation number from
    memory).
    """
    if not heights_mm.size:
        return sd_mm
    determined = float(np.sum(1.0 - np.minimum(variance_mm2 / sd_mm**2, 1.0)))
    return float(np.clip(np.sqrt(np.sum(heights_mm**2) / max(determined, 1.0)), LEAST_SD_MM, 3.0 * sd_mm))
