"""How well a sensor's filter explains the steps of this very map, and which kind explains them best.

Skin and enamel look the same after any filter; only steps, at lips, gaps and rims, tell filters apart.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from bite.fit.linear import HUBER, MAD_TO_SD
from bite.fit.noise import MapNoise
from bite.fit.smoothing import Kind, SensorFilter, smooth
from bite.geometry.rigid import Array

STEEP_MM_PER_PX = 1.0
"""Where the predicted depth changes faster it is a step and no surface that a sensor looks at (our choice:
skin at 45 degrees changes by half of it)."""
LEAST_STEPS = 60
"""Fewer such pixels tell nothing of a filter."""
LEAST_PX, MOST_PX = 0.1, 1.0
"""Steps are never trusted better than this shift of map against model (common practice, no source), and an
unexplained one is not taken for a larger shift than the other."""
SUSPECT_PX = 0.15
"""From here on medians are tried, which takes time (our choice)."""
CLEARLY = 4.0
"""Another filter is taken where it makes the steps likelier by this much, in natural logarithms: odds of 50
to 1 (our choice)."""
BLURS_PX = (0.3, 0.7, 1.0, 1.5, 2.5)
"""Blurs at which a mean is tried beside a median."""
MEDIANS = tuple(SensorFilter(Kind.MEDIAN, side) for side in (3, 5, 7))


def steepness(depth_mm: Array) -> Array:
    """Give how fast a predicted map changes, mm per px, shape (h, w); nothing counts as the middle depth."""
    filled = np.where(np.isfinite(depth_mm), depth_mm, np.nanmedian(depth_mm))
    return np.asarray(np.hypot(*np.gradient(filled)))


def step_shift_px(
    residual_mm: Array, steep_mm_per_px: Array, chosen: NDArray[np.bool_], sd_mm: float
) -> float | None:
    """Give the shift of map against model that would explain what is left at steps, px.

    Parameters
    ----------
    residual_mm : array, shape (h, w), measured minus predicted
    steep_mm_per_px : array, shape (h, w), of the prediction
    chosen : array of bool, shape (h, w), pixels that may speak
    sd_mm : float, noise elsewhere

    Returns
    -------
    float, 0 where noise alone explains it; None where there are too few steps
    """
    steps = chosen & (steep_mm_per_px > STEEP_MM_PER_PX)
    if steps.sum() < LEAST_STEPS:
        return None
    # each pixel's own shift, robustly: wild readings are no shift
    scatter = MAD_TO_SD * float(np.median(np.abs(residual_mm[steps]) / steep_mm_per_px[steps]))
    by_noise = sd_mm * float(np.median(1.0 / steep_mm_per_px[steps]))
    return float(np.sqrt(max(scatter**2 - by_noise**2, 0.0)))


def best_filter(
    sharp_mm: Array,
    measured_mm: Array,
    smoothing_px: float,
    present: SensorFilter,
    tried: Sequence[SensorFilter],
    chosen: NDArray[np.bool_],
    noise: MapNoise,
) -> SensorFilter:
    """Choose what explains the steps best; the present filter unless another is clearly better.

    Parameters
    ----------
    sharp_mm : array, shape (h, w), what each pixel sees before the sensor filters it, NaN for nothing
    measured_mm : array, shape (h, w)
    smoothing_px : float, blur so far
    present : SensorFilter
    tried : sequence of SensorFilter, the others
    chosen : array of bool, shape (h, w), pixels that may speak
    noise : MapNoise, how large it is and how many pixels count as one
    """
    solid = np.isfinite(sharp_mm)
    steps = chosen & (steepness(sharp_mm) > STEEP_MM_PER_PX)
    if steps.sum() < LEAST_STEPS:
        return present

    def unlikely(sensor: SensorFilter, px: float) -> float:
        filtered = smooth(sharp_mm[None], solid, px, sensor, slope=False, wanted=steps).maps[0]
        size = np.abs(measured_mm[steps] - filtered[steps]) / noise.skin_sd_mm
        loss = np.where(size <= HUBER, 0.5 * size**2, HUBER * (size - 0.5 * HUBER))
        return float(np.nansum(loss)) / noise.inflation

    # while a fit is under way its blur may still be far from the right one
    blurs = {sensor: (0.0,) if sensor.kind is Kind.MEDIAN else (smoothing_px, *BLURS_PX) for sensor in tried}
    blurs.setdefault(present, (smoothing_px,))
    found = {sensor: min(unlikely(sensor, px) for px in blurs[sensor]) for sensor in sorted(blurs, key=str)}
    best = min(found, key=found.__getitem__)
    return best if found[best] < found[present] - CLEARLY else present
