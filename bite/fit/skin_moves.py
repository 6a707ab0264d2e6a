"""How the measured skin may differ from the solved one: waves, lips solved elsewhere, and hair before it.

Each is a sum of fixed shapes over the skin times an unknown height: out along the skin's normal, or up along
the face. Waves are the slow errors of any solve, lips solved too thick among them (``skin_waves``). A lip may
have been solved too high or too low. Hair stands before the skin and never on the lips: it sets in at some
distance from them and stays, so its shapes are steps outward, above and below the mouth apart; their spread
is learned from the frame, so that a bare face loses nothing by them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.fit.head import Head
from bite.fit.mouth_plane import MouthPlane
from bite.fit.skin_waves import START_SD_MM, SkinWaves, learned_sd_mm, skin_waves
from bite.geometry.rigid import Array

LIP_FULL_MM, LIP_END_MM = 6.0, 14.0
"""What is wrong of a lip is wrong as a whole up to the first distance from bare teeth and fades to the
second: a vermilion of 6 to 10 mm and the skin that moves with it (our choice)."""
LIP_SLIDE_SD_MM = 0.5
"""How far off a lip is solved along the face (our choice; no measurement was found)."""
HAIR_STEPS_MM = ((3.0, 5.0), (5.0, 8.0), (8.0, 11.0), (11.0, 15.0))
"""Hair sets in between two of these distances from bare teeth, one at a time (our choice)."""
HAIR_START_SD_MM = 0.3
"""Before a frame has told: a spread that three rounds bring to stubble or to a beard (our choice)."""


@dataclass(frozen=True, slots=True)
class SkinSpread:
    """How large the learned unknowns are, sd in mm: waves and hair."""

    wave_mm: float = START_SD_MM
    hair_mm: float = HAIR_START_SD_MM


START_SPREAD = SkinSpread()
CORNER_MM, CORNER_BEYOND_MM = 12.0, 4.0
"""Lips hold still at the corners of the mouth, so far beyond the last tooth that shows, and slide as a whole
from the first distance inward of there on (our choice)."""


@dataclass(frozen=True, slots=True)
class SkinMoves:
    """Shapes over the skin, in the order waves, lips up (upper, lower), hair steps (above, then below).

    Parameters
    ----------
    waves : SkinWaves
    mouth : MouthPlane or None; without it there are waves alone
    vertex_shapes : array, shape (s, j - waves), the shapes after the waves at the skin's vertices
    up : array, shape (3,), of the head
    """

    waves: SkinWaves
    mouth: MouthPlane | None
    vertex_shapes: Array
    up: Array

    @property
    def count(self) -> int:
        """Number of unknowns."""
        return self.waves.count + (0 if self.mouth is None else 2 + 2 * len(HAIR_STEPS_MM))

    @property
    def along_up(self) -> NDArray[np.bool_]:
        """Which unknowns move skin up along the face and not out of it, shape (j,)."""
        chosen = np.zeros(self.count, dtype=bool)
        chosen[self.lips] = True
        return chosen

    @property
    def lips(self) -> slice:
        """Places of the lips' unknowns: upper, lower."""
        return slice(self.waves.count, self.waves.count + (0 if self.mouth is None else 2))

    @property
    def hair(self) -> slice:
        """Places of the hair's unknowns: all steps above the mouth, then below it."""
        return slice(self.lips.stop, self.count)

    def precision(self, spread: SkinSpread) -> Array:
        """Give the precision of each unknown's prior, 1 / mm^2, shape (j,)."""
        sd = np.full(self.count, spread.wave_mm)
        if self.mouth is not None:
            sd[self.lips] = LIP_SLIDE_SD_MM
            sd[self.hair] = spread.hair_mm
        return sd**-2

    def learned(self, heights_mm: Array, variance_mm2: Array, spread: SkinSpread) -> SkinSpread:
        """Give the spreads that make the frame most likely, one step on."""
        waves = slice(0, self.waves.count)
        hair_mm = spread.hair_mm
        if self.mouth is not None:
            hair_mm = learned_sd_mm(heights_mm[self.hair], variance_mm2[self.hair], hair_mm)
        return SkinSpread(learned_sd_mm(heights_mm[waves], variance_mm2[waves], spread.wave_mm), hair_mm)

    def displaced(self, points_mm: Array, heights_mm: Array) -> Array:
        """Move the solved model's vertices, shape (n, 3), mm."""
        moved = self.waves.displaced(points_mm, heights_mm[: self.waves.count])
        rest, upward = heights_mm[self.waves.count :], self.along_up[self.waves.count :]
        if not rest.size or not rest.any():
            return moved
        moved = moved.copy()
        out_mm, up_mm = (self.vertex_shapes[:, own] @ rest[own] for own in (~upward, upward))
        moved[self.waves.skin] += out_mm[:, None] * self.waves.skin_normals + up_mm[:, None] * self.up
        return moved

    def at(self, head: Head, points_mm: Array) -> Array:
        """Give the value of each shape at points near the solved skin, shape (p, j)."""
        waves = self.waves.at(head, points_mm)
        if self.mouth is None:
            return waves
        return np.concatenate([waves, _shapes(self.mouth, head, points_mm)], axis=1)

    def directions(self, normals: Array) -> Array:
        """Give which way each unknown moves skin with these normals, shape (n, j, 3)."""
        upward = self.along_up[None, :, None]
        return np.asarray(np.where(upward, self.up, normals[:, None, :]))


def skin_moves(head: Head, reach_mm: float, mouth: MouthPlane | None = None) -> SkinMoves:
    """Lay the shapes over a solved skin.

    Parameters
    ----------
    head : Head, whose vertices are moved
    reach_mm : float, how far about the mouth it may wave
    mouth : MouthPlane or None, where bare teeth are
    """
    waves = skin_waves(head, reach_mm)
    shapes = np.zeros((len(waves.skin), 0))
    if mouth is not None:
        shapes = _shapes(mouth, head, head.points_mm[waves.skin])
    shapes.setflags(write=False)
    return SkinMoves(waves, mouth, shapes, head.up)


def _shapes(mouth: MouthPlane, head: Head, points_mm: Array) -> Array:
    away, above = mouth.at(head, points_mm)
    right = (points_mm - head.centre_mm) @ head.right
    inward = CORNER_BEYOND_MM + np.minimum(right - mouth.left_mm, mouth.right_mm - right)
    lip = (1.0 - _rise(away, LIP_FULL_MM, LIP_END_MM)) * _rise(inward, 0.0, CORNER_MM)
    steps = [_rise(away, *step) for step in HAIR_STEPS_MM]
    sides = (above, 1.0 - above)
    return np.column_stack([lip * side for side in sides] + [step * side for side in sides for step in steps])


def _rise(away_mm: Array, start_mm: float, stop_mm: float) -> Array:
    """Go smoothly from 0 to 1 between two distances."""
    part = np.clip((away_mm - start_mm) / (stop_mm - start_mm), 0.0, 1.0)
    return np.asarray(part * part * (3.0 - 2.0 * part))


