"""How well the depth map covers teeth and the skin around them, and how the solved skin agrees with it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bite.evidence.clicks.click_depth import read_click_depth
from bite.evidence.mouth.spans import patch_beside, seen_points, up_in_picture
from bite.files.bundle import BiteFrame
from bite.fit.depth_block import DepthBlock
from bite.fit.depth_prediction import Prediction
from bite.fit.offset import OffsetFit
from bite.fit.parameters import HEAD_SHIFT, HEAD_TURN, P
from bite.geometry.teeth import LOWER, SKIN, UPPER
from bite.stats.estimate import Estimate

SKIN_RING_MM = 15.0
"""Skin this near the teeth is what holds the head at the mouth (our choice; it counts down within 20 mm in
the fit)."""
LIP_RING_MM = 6.0
"""Skin this near the teeth is lip: vermilion is some 6 to 8 mm high (from memory)."""


@dataclass(frozen=True, slots=True)
class DepthCover:
    """Readings of a depth map around the mouth.

    Parameters
    ----------
    teeth_share, skin_share : float or None
        Share of pixels with a reading: on enamel, and on skin within 15 mm of the teeth.
    teeth_px : int, pixels that see enamel
    strip_px : float or None, height of the strip of enamel, px
    mm_per_px : float or None
    noise_skin_mm, noise_teeth_mm, correlation_px : float or None, as the fit found them
    step_mm : float or None, what one stored step means there
    """

    teeth_share: float | None
    skin_share: float | None
    teeth_px: int
    strip_px: float | None
    mm_per_px: float | None
    noise_skin_mm: float | None
    noise_teeth_mm: float | None
    correlation_px: float | None
    step_mm: float | None = None


@dataclass(frozen=True, slots=True)
class SkinFit:
    """How the solved head had to be moved, and what is then left at the lips.

    Parameters
    ----------
    shift_mm, shift_sd_mm : float, length of the head's shift, and the sd along it
    turn_deg, turn_sd_deg : float
    lips : Estimate or None
        Measured minus solved depth on skin within 6 mm of the teeth, against the skin farther out, mm;
        positive where the solved lips stand too far forward.
    """

    shift_mm: float
    shift_sd_mm: float
    turn_deg: float
    turn_sd_deg: float
    lips: Estimate | None


def cover_beside_model(block: DepthBlock, seen: Prediction) -> DepthCover:
    """Measure coverage where the fitted model says that enamel and skin are.

    Parameters
    ----------
    block : DepthBlock
    seen : Prediction, with the solved skin's waves left as they were solved
    """
    from scipy.ndimage import distance_transform_edt

    teeth = (seen.part == UPPER) | (seen.part == LOWER)
    count = int(teeth.sum())
    if not count:
        return DepthCover(None, None, 0, None, block.mm_per_px, None, None, None)
    away_mm = distance_transform_edt(~teeth) * block.mm_per_px
    ring = (seen.part == SKIN) & (away_mm <= SKIN_RING_MM)
    finite = np.isfinite(block.measured_mm)
    by_column, by_row = teeth.sum(0), teeth.sum(1)
    strip = min(float(np.median(side[side > 0])) for side in (by_column, by_row))
    return DepthCover(
        float(finite[teeth].mean()),
        float(finite[ring].mean()) if ring.any() else None,
        count,
        strip,
        block.mm_per_px,
        block.noise.skin_sd_mm,
        block.noise.teeth_sd_mm,
        block.noise.correlation_px,
        block.step_mm,
    )


def cover_beside_clicks(frame: BiteFrame) -> DepthCover | None:
    """Measure coverage on the enamel beside the clicked corners; None without a map or such clicks."""
    if frame.depth_map is None or frame.depth_camera is None:
        return None
    points = seen_points(frame, 0)
    up = up_in_picture(points)
    read, pixels, depths = 0, 0, []
    for code in points:
        patch = patch_beside(points, code, up)
        if patch is not None:
            found = read_click_depth(frame, patch)
            read, pixels = read + found.readings, pixels + found.pixels
            depths += [] if found.depth_mm is None else [found.depth_mm]
    if not pixels:
        return None
    mm_per_px = float(np.median(depths)) / frame.depth_camera.focal_px if depths else None
    return DepthCover(read / pixels, None, pixels, None, mm_per_px, None, None, None)


def skin_fit(fit: OffsetFit, block: DepthBlock, seen: Prediction) -> SkinFit:
    """Measure how far the head had to be moved onto the measured skin, and what is left at the lips.

    Parameters
    ----------
    fit : OffsetFit
    block, seen : as for ``cover_beside_model``
    """
    covariance = np.asarray(fit.solution.covariance)
    moves = []
    for part, unit in ((HEAD_SHIFT, 1.0), (HEAD_TURN, 180.0 / np.pi)):
        step = fit.parameters[part]
        size = float(np.linalg.norm(step))
        along = step / size if size > 1e-12 else np.array([0.0, 0.0, 1.0])
        variance = float(along @ covariance[part, part] @ along)
        moves += [size * unit, max(variance, 0.0) ** 0.5 * unit]
    return SkinFit(moves[0], moves[1], moves[2], moves[3], _lips(block, seen, fit))


def _lips(block: DepthBlock, seen: Prediction, fit: OffsetFit) -> Estimate | None:
    from scipy.ndimage import distance_transform_edt

    teeth = (seen.part == UPPER) | (seen.part == LOWER)
    if not teeth.any():
        return None
    away_mm = distance_transform_edt(~teeth) * block.mm_per_px
    blur_mm = 2.0 * float(fit.parameters[P.SMOOTHING_PX]) * block.mm_per_px
    skin = (
        (seen.part == SKIN)
        & (seen.teeth_share < 0.02)
        & seen.readable
        & (seen.slopes[P.SMOOTHING_PX] ** 2 < 1.0)
    )
    near = skin & (away_mm <= max(LIP_RING_MM, blur_mm + 2.0))
    far = skin & (away_mm > LIP_RING_MM + 4.0) & (away_mm <= SKIN_RING_MM + 10.0)
    if near.sum() < 20 or far.sum() < 20:
        return None
    off = block.measured_mm - seen.depth_mm
    value = float(np.median(off[near]) - np.median(off[far]))
    effective = max(1.0, float(near.sum()) / block.noise.inflation)
    return Estimate(value, 1.2533 * block.noise.skin_sd_mm / float(np.sqrt(effective)))
