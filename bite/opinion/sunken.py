"""How sunken a mouth looks: enamel that shows, the lip's shadow on it, its edge behind the lip."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bite.check.sections import before_and_after
from bite.fit.head import Head
from bite.fit.offset import OffsetFit
from bite.fit.parameters import COUNT
from bite.geometry.rigid import Array
from bite.geometry.teeth import LOWER, UPPER
from bite.opinion.cut import Cut, mouth_cut
from bite.opinion.relief import Relief, Surface, lamp, relief
from bite.stats.estimate import Estimate

INCISORS_MM = 6.0
"""Enamel this far from the midline counts for the lip's shadow: the upper central incisors, about."""
LAMP_ABOVE_DEG = 50.0
"""The lamp stands this far above the bite plane, straight in front, as a key light does (our choice)."""


@dataclass(frozen=True, slots=True)
class Sunken:
    """Numbers of a mouth before and after the teeth move, and as measured.

    Parameters
    ----------
    area_before_mm2, area_after_mm2 : float, enamel that the shooting camera sees of the solved model
    shadow_before_mm, shadow_after_mm : float or None, how far the shadow of the lip comes down the upper
        central incisors under the lamp, mean height; None where none of them shows
    behind_before_mm, behind_after_mm : float or None, how far the incisal edge of an upper central stands
        behind the upper lip along forward; None where the rig names no upper corner or no lip stands above it
    behind_measured : Estimate or None, the same as the offset says it truly is
    moved_mm : float, the move that "after" stands for
    cut : Cut or None, the mouth through that crown
    before, after : array, shape (14,), where the solved model is drawn
    """

    area_before_mm2: float
    area_after_mm2: float
    shadow_before_mm: float | None
    shadow_after_mm: float | None
    behind_before_mm: float | None
    behind_after_mm: float | None
    behind_measured: Estimate | None
    moved_mm: float
    cut: Cut | None
    before: Array
    after: Array


def sunken(fit: OffsetFit, moved_mm: float) -> Sunken | None:
    """Measure how sunken the mouth of a solved model looks; None without a depth map.

    Parameters
    ----------
    fit : OffsetFit
    moved_mm : float, the move that "after" stands for
    """
    block = fit.depth_block
    if block is None:
        return None
    head = block.head
    before, after = before_and_after(np.array(fit.parameters[:COUNT]), moved_mm)
    at = head.place(0.5 * (head.row_centre(True) + head.row_centre(False))[None], False, before)[0]
    tilt = np.deg2rad(LAMP_ABOVE_DEG)
    light = lamp(at, np.cos(tilt) * head.forward + np.sin(tilt) * head.up, head.up)
    surfaces = [Surface(head.placed(p), head.faces, head.face_part) for p in (before, after)]
    fronts = [relief(block.grid, surface, light) for surface in surfaces]
    cut = mouth_cut(block, before)
    behind = None if cut is None or cut.lip_mm is None else float(cut.lip_mm[0])
    return Sunken(
        area_before_mm2=_enamel_mm2(fronts[0]),
        area_after_mm2=_enamel_mm2(fronts[1]),
        shadow_before_mm=_shadow_mm(fronts[0], head, at),
        shadow_after_mm=_shadow_mm(fronts[1], head, at),
        behind_before_mm=behind,
        behind_after_mm=None if behind is None else behind - moved_mm,
        behind_measured=None if behind is None else Estimate(behind - fit.offset.value, fit.offset.sd),
        moved_mm=moved_mm,
        cut=cut,
        before=before,
        after=after,
    )


def _enamel_mm2(seen: Relief) -> float:
    return float(seen.area_mm2[(seen.part == UPPER) | (seen.part == LOWER)].sum())


def _shadow_mm(seen: Relief, head: Head, at_mm: Array) -> float | None:
    """Give the mean height of the shadow on the upper incisors: its area over the width of what shows."""
    aside = (seen.points_mm - at_mm) @ head.right
    teeth = (seen.part == UPPER) & (np.abs(np.nan_to_num(aside, nan=np.inf)) < INCISORS_MM)
    if not teeth.any():
        return None
    width_mm = float(np.ptp(aside[teeth]))
    return float(seen.area_mm2[teeth & ~seen.lit].sum()) / width_mm if width_mm > 1.0 else None
