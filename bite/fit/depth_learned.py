"""What a depth map's own residuals teach its block: noise, spreads of its unknowns, the sensor's filter."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from bite.fit.depth_prediction import Prediction
from bite.fit.noise import map_noise
from bite.fit.parameters import P
from bite.fit.patches import patch_trust
from bite.fit.smoothing import GAUSS, Kind
from bite.fit.which_filter import (
    LEAST_PX,
    MEDIANS,
    MOST_PX,
    SUSPECT_PX,
    best_filter,
    steepness,
    step_shift_px,
)
from bite.geometry.rigid import Array
from bite.geometry.teeth import SKIN

if TYPE_CHECKING:
    from bite.fit.depth_block import DepthBlock

_STEPS_FROM = 0.5
"""Nearness from which steps of the skin speak of the filter, 17 mm off the teeth: farther rims are rendered
through pixels' centres (our choice)."""


def with_noise_from(
    block: DepthBlock, seen: Prediction, parameters: Array, covariance: Array | None
) -> DepthBlock:
    """Give the block with noise and the spreads of its skin's unknowns learned from how things stand."""
    residual_mm = np.where(seen.readable, block.measured_mm - seen.depth_mm, 0.0)
    if block.relative_sd is not None:
        residual_mm = residual_mm / block.relative_sd
    bare = seen.readable & (seen.part == SKIN) & (seen.teeth_share < 0.02)
    noise = map_noise(
        residual_mm,
        bare,
        seen.readable & (seen.teeth_share > 0.9),
        mm_per_px=block.mm_per_px,
        floor_mm=block.step_mm / np.sqrt(12.0),
        start=block.noise,
    )
    learned = replace(block, noise=noise)
    if covariance is None:
        return learned
    (skin, teeth), (skin_var, teeth_var) = block.own(parameters), block.own(np.diag(covariance))
    learned = replace(
        learned,
        spread=block.skin.learned(skin, skin_var, block.spread),
        tooth_sd_mm=block.teeth.learned_sd_mm(teeth, teeth_var, block.tooth_sd_mm),
        trust=patch_trust(
            residual_mm, bare, seen.nearness, sd_mm=noise.skin_sd_mm, mm_per_px=block.mm_per_px
        ),
    )
    return with_filter_from(learned, seen, parameters)


def with_filter_from(block: DepthBlock, seen: Prediction, parameters: Array) -> DepthBlock:
    """Give the block with what the map's steps leave open, and the filter that explains them best."""
    speaking = seen.readable & (seen.nearness > _STEPS_FROM)
    shift_px = left_at_steps_px(block, seen)
    if shift_px is None:
        return block
    sensor = block.sensor
    tried = MEDIANS if sensor.kind is Kind.MEDIAN else ()
    if not block.told:
        tried = (GAUSS, *MEDIANS) if tried or shift_px > SUSPECT_PX else ()
    if tried:
        px = float(parameters[P.SMOOTHING_PX])
        sensor = best_filter(seen.sharp_mm, block.measured_mm, px, sensor, tried, speaking, block.noise)
    return replace(block, sensor=sensor, step_px=float(np.clip(shift_px, LEAST_PX, MOST_PX)))


def left_at_steps_px(block: DepthBlock, seen: Prediction) -> float | None:
    """Give the shift of map against model that would explain what is left at steps near the teeth."""
    speaking = seen.readable & (seen.nearness > _STEPS_FROM)
    off_mm = block.measured_mm - seen.depth_mm
    return step_shift_px(off_mm, steepness(seen.depth_mm), speaking, block.noise.skin_sd_mm)
