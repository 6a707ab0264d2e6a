"""Depth along lines over lips and incisors: measured, and predicted before and after.

A line up and down runs through the middle of a crown: between two crowns lies a gap in which a sensor sees
neither enamel nor anything else that the model knows.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.fit.depth_block import DepthBlock
from bite.fit.head import Head
from bite.fit.parameters import P
from bite.fit.profile_block import ProfileBlock
from bite.geometry.rigid import Array
from bite.geometry.teeth import LOWER, UPPER, UPPER_CENTRAL

HALF_LENGTH_MM = 24.0
"""Long enough for both lips of an open mouth and some skin beyond (our choice)."""
STEP_MM = 0.25
"""Finer than a depth pixel on the face, some 0.3 to 1 mm (our choice)."""
CROWNS, ACROSS, PROFILE = "crowns", "across incisors", "midline"
_LIFTS_MM = np.arange(-9.0, 10.01, 0.25)
"""Where a line across may lie, from the upper incisal edge upwards: as far as a crown may have moved."""
_LEAST_ACROSS_MM = 4.0
"""Less upper enamel than this along a line, half a crown, is no line across the incisors (our choice)."""


@dataclass(frozen=True, slots=True)
class Section:
    """One line across the mouth, or the mean of two; all arrays have shape (n,), mm, NaN for none.

    Parameters
    ----------
    name : str, "crowns" (the mean of two lines, up through the middle of each upper central; positive along
        is up), "midline" (the line of a profile file) or "across incisors" (positive along is right in the
        picture)
    along_mm : position on the line, 0 at the upper incisal edge (a profile file keeps its own zero)
    measured_mm, measured_sd_mm : measured depth and its sd
    before_seen_mm, after_seen_mm : the solved model as the sensor would see it, aligned to the skin
    before_sharp_mm, after_sharp_mm : the same without the sensor's blur
    teeth : array of bool, the line runs over enamel there (after the move)
    lines_mm : arrays, shape (n, 3), where the lines lie in the reference frame; none for a profile
    """

    name: str
    along_mm: Array
    measured_mm: Array
    measured_sd_mm: Array
    before_seen_mm: Array
    after_seen_mm: Array
    before_sharp_mm: Array
    after_sharp_mm: Array
    teeth: NDArray[np.bool_]
    lines_mm: tuple[Array, ...] = ()

    def ahead_mm(self, *, after: bool) -> Array:
        """Give how far the measured surface stands in front of the solved one, towards the camera, mm."""
        return np.asarray((self.after_seen_mm if after else self.before_seen_mm) - self.measured_mm)


def before_and_after(parameters: Array, moved_mm: float) -> tuple[Array, Array]:
    """Give the parameters of the solved model aligned to the skin, before and after the move."""
    before = np.array(parameters)
    before[[P.FORWARD_MM, P.RIGHT_MM, P.UP_MM, P.LOG_SIZE]] = 0.0
    after = before.copy()
    after[P.FORWARD_MM] = moved_mm
    return before, after


def map_sections(block: DepthBlock, parameters: Array, moved_mm: float) -> tuple[Section, ...]:
    """Cut a depth map and the predicted ones through the upper central crowns, and across the incisors.

    The line across lies where most upper enamel shows; where less than half a crown's width does on any
    line, there is none. Depth is read on the nearest four pixels; a line point with any of them missing has
    none.
    """
    before, after = before_and_after(parameters, moved_mm)
    sharp_before, seen_before, _ = block.appearance(before)
    view = block.area_view(after, slopes=False)
    sharp_after, seen_after, share = block.appearance_of(view, after)
    images = (
        block.measured_mm, block.sigma_mm(share), seen_before, seen_after, sharp_before, sharp_after
    )  # fmt: skip
    part = view.part
    along = np.arange(-HALF_LENGTH_MM, HALF_LENGTH_MM + STEP_MM / 2, STEP_MM)
    head = block.head

    def cut(name: str, line_mm: Array) -> Section:
        placed = head.place(line_mm, True, after)
        pixels = _pixels(block, placed)
        enamel = np.isin(_nearest(part, pixels), (UPPER, LOWER))
        measured, sd, seen_b, seen_a, sharp_b, sharp_a = (_read(image, pixels) for image in images)
        return Section(name, along, measured, sd, seen_b, seen_a, sharp_b, sharp_a, enamel, (placed,))

    crowns = [cut(CROWNS, start + along[:, None] * head.up) for start in crown_middles(head)]
    sections = [_mean_of(*crowns)]
    middle = np.mean(crown_middles(head), axis=0)
    lift_mm = _lift_with_enamel(block, part, share, middle, along, after)
    if lift_mm is not None:
        sections.append(cut(ACROSS, middle + lift_mm * head.up + along[:, None] * head.right))
    return tuple(sections)


def crown_middles(head: Head) -> tuple[Array, Array]:
    """Give the middles of the incisal edges of 11 and 21, shape (3,) each, mm, of the model as it was solved.

    From a crown's two corners where the rig names both, else from what it names, half a usual crown away.
    """
    corners = head.corners
    wide = UPPER_CENTRAL.mean_mm
    found: dict[str, Array] = {}
    for tooth, outwards in (("11", -head.right), ("21", head.right)):
        mesial, distal = corners.get(f"{tooth}m"), corners.get(f"{tooth}d")
        if mesial is not None and distal is not None:
            found[tooth] = 0.5 * (mesial + distal)
        elif mesial is not None:
            found[tooth] = mesial + 0.5 * wide * outwards
        elif distal is not None and tooth == "11" and "21d" in corners:
            found[tooth] = distal + 0.25 * (corners["21d"] - distal)
        elif distal is not None and tooth == "21" and "11d" in corners:
            found[tooth] = distal + 0.25 * (corners["11d"] - distal)
        elif distal is not None:
            found[tooth] = distal - 0.5 * wide * outwards
    if "11" not in found:
        beside = found["21"] if "21" in found else head.centre_mm + 0.5 * wide * head.right
        found["11"] = beside - wide * head.right
    if "21" not in found:
        found["21"] = found["11"] + wide * head.right
    return found["11"], found["21"]


def profile_section(block: ProfileBlock, parameters: Array, moved_mm: float) -> Section:
    """Give a depth profile with the solved one before and after the move."""
    before, after = before_and_after(parameters, moved_mm)
    seen_before, seen_after = block.predict(before), block.predict(after)
    return Section(
        PROFILE,
        block.along_mm,
        block.measured_mm,
        block.sigma_mm,
        seen_before.depth_mm,
        seen_after.depth_mm,
        seen_before.sharp_mm,
        seen_after.sharp_mm,
        block.teeth,
    )


def _mean_of(first: Section, second: Section) -> Section:
    """Average two lines; where one has nothing, the other stands alone.

    The lines lie a crown apart, farther than the noise of a sensor reaches, so that their errors are averaged
    down as independent ones.
    """
    both = np.isfinite(first.measured_mm) & np.isfinite(second.measured_mm)
    sd = np.where(
        both,
        0.5 * np.hypot(first.measured_sd_mm, second.measured_sd_mm),
        np.fmax(first.measured_sd_mm, second.measured_sd_mm),
    )

    def mean(one: Array, two: Array) -> Array:
        # the same lines on both sides of a difference: what was not measured is not predicted either
        one = np.where(np.isfinite(first.measured_mm) | ~np.isfinite(second.measured_mm), one, np.nan)
        two = np.where(np.isfinite(second.measured_mm) | ~np.isfinite(first.measured_mm), two, np.nan)
        return np.where(np.isfinite(one), np.where(np.isfinite(two), 0.5 * (one + two), one), two)

    return Section(
        CROWNS,
        first.along_mm,
        mean(first.measured_mm, second.measured_mm),
        sd,
        mean(first.before_seen_mm, second.before_seen_mm),
        mean(first.after_seen_mm, second.after_seen_mm),
        mean(first.before_sharp_mm, second.before_sharp_mm),
        mean(first.after_sharp_mm, second.after_sharp_mm),
        first.teeth & second.teeth,
        first.lines_mm + second.lines_mm,
    )


def _lift_with_enamel(
    block: DepthBlock, part: NDArray[np.int8], share: Array, middle: Array, along: Array, after: Array
) -> float | None:
    """Give how far above the upper incisal edge most of upper enamel shows; None where hardly any does."""
    head = block.head
    near = along[np.abs(along) <= 1.5 * UPPER_CENTRAL.mean_mm]
    best, at = 0.0, None
    for lift_mm in _LIFTS_MM:
        line = middle + lift_mm * head.up + near[:, None] * head.right
        pixels = _pixels(block, head.place(line, True, after))
        upper = _nearest(part, pixels) == UPPER
        if upper.sum() * STEP_MM < _LEAST_ACROSS_MM:
            continue
        clear = float(np.nansum(np.where(upper, np.nan_to_num(_read(share, pixels)), 0.0)))
        if clear > best:
            best, at = clear, float(lift_mm)
    return at


def _pixels(block: DepthBlock, points_mm: Array) -> Array:
    window = block.grid.window
    return np.asarray(block.grid.camera.project(points_mm) - (window.left, window.top))


def _nearest(part: NDArray[np.int8], pixels: Array) -> NDArray[np.int8]:
    """Read part numbers at the nearest pixel; -1 beyond the window."""
    column, row = np.rint(np.nan_to_num(pixels, nan=-9.0)).astype(int).T
    inside = (row >= 0) & (column >= 0) & (row < part.shape[0]) & (column < part.shape[1])
    out = np.full(len(pixels), -1, dtype=np.int8)
    out[inside] = part[row[inside], column[inside]]
    return out


def _read(image: Array, pixels: Array) -> Array:
    from scipy.ndimage import map_coordinates

    return np.asarray(
        map_coordinates(image, [pixels[:, 1], pixels[:, 0]], order=1, mode="constant", cval=np.nan)
    )
