"""Depth along a line over lips and incisors: measured, and predicted before and after."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.fit.depth_block import DepthBlock
from bite.fit.parameters import P
from bite.fit.profile_block import ProfileBlock
from bite.geometry.rigid import Array

HALF_LENGTH_MM = 24.0
STEP_MM = 0.25


@dataclass(frozen=True, slots=True)
class Section:
    """One line across the mouth; all arrays have shape (n,), mm, NaN for none.

    Parameters
    ----------
    name : str, "midline" (positive along is up) or "across incisors" (positive along is right in the picture)
    along_mm : position on the line, 0 at the incisal midpoint (a profile file keeps its own zero)
    measured_mm, measured_sd_mm : measured depth and its sd
    before_seen_mm, after_seen_mm : the solved model as the sensor would see it, aligned to the skin
    before_sharp_mm, after_sharp_mm : the same without the sensor's blur
    teeth : array of bool, the line runs over enamel there (before the move)
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


def before_and_after(parameters: Array, moved_mm: float) -> tuple[Array, Array]:
    """Give the parameters of the solved model aligned to the skin, before and after the move."""
    before = np.array(parameters)
    before[[P.FORWARD_MM, P.RIGHT_MM, P.UP_MM, P.LOG_SIZE]] = 0.0
    after = before.copy()
    after[P.FORWARD_MM] = moved_mm
    return before, after


def map_sections(block: DepthBlock, parameters: Array, moved_mm: float) -> tuple[Section, ...]:
    """Cut a depth map and the predicted ones along the midline and across the upper incisors.

    The lines run through the midpoint of the upper corners as the fit placed them, 3 mm above the incisal
    edge for the line
    across. Depth is read on the nearest four pixels; a line point with any of them missing has none.
    """
    before, after = before_and_after(parameters, moved_mm)
    sharp_before, seen_before, share = block.appearance(before)
    sharp_after, seen_after, _ = block.appearance(after)
    sd_mm = block.sigma_mm(share)
    head, camera = block.head, block.grid.camera
    upper = [point for code, point in head.corners.items() if code[0] in "12"]
    start = np.mean(upper, axis=0) if upper else head.centre_mm
    sections = []
    for name, direction, lift_mm in (("midline", head.up, 0.0), ("across incisors", head.right, 3.0)):
        along = np.arange(-HALF_LENGTH_MM, HALF_LENGTH_MM + STEP_MM / 2, STEP_MM)
        line = start + lift_mm * head.up + along[:, None] * direction
        placed = head.place(line, True, after)
        pixels = camera.project(placed) - (block.grid.window.left, block.grid.window.top)
        measured, sd, seen_b, seen_a, sharp_b, sharp_a, enamel = (
            _read(image, pixels)
            for image in (
                block.measured_mm, sd_mm, seen_before, seen_after, sharp_before, sharp_after, share
            )
        )  # fmt: skip
        teeth = np.nan_to_num(enamel) > 0.5
        sections.append(Section(name, along, measured, sd, seen_b, seen_a, sharp_b, sharp_a, teeth))
    return tuple(sections)


def profile_section(block: ProfileBlock, parameters: Array, moved_mm: float) -> Section:
    """Give a depth profile with the solved one before and after the move."""
    before, after = before_and_after(parameters, moved_mm)
    seen_before, seen_after = block.predict(before), block.predict(after)
    return Section(
        "midline",
        block.along_mm,
        block.measured_mm,
        block.sigma_mm,
        seen_before.depth_mm,
        seen_after.depth_mm,
        seen_before.sharp_mm,
        seen_after.sharp_mm,
        block.teeth,
    )


def _read(image: Array, pixels: Array) -> Array:
    from scipy.ndimage import map_coordinates

    return np.asarray(
        map_coordinates(image, [pixels[:, 1], pixels[:, 0]], order=1, mode="constant", cval=np.nan)
    )
