"""Disparities of a rectified pair of pictures, each with its own sd, and none where nothing was matched."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.evidence.stereo.refine import PATCH_SD_PX, Shifts, refined
from bite.evidence.stereo.search import searched
from bite.evidence.stereo.sigma import (
    ASSUMED_FLOOR_PX,
    ASSUMED_MISFIT,
    Parts,
    Scatter,
    scatter_of,
    sigma_parts,
)
from bite.evidence.stereo.support import centred, distinct, textured
from bite.geometry.rigid import Array

MOST_SIGMA_PX = 0.5
"""A vaguer match is none (our choice)."""
MOST_MOVED_PX = 1.5
"""A patch that moves further from where the search put it follows something else."""
LEAST_ISLAND = 2.0 * 2.0 * np.pi * PATCH_SD_PX**2
"""Islands smaller than this many pixels, two patches, are dropped: nothing around bears them out."""
_ISLAND_STEP_PX = 1.0
"""Disparities that differ by more than a pixel from their neighbours are another surface."""


@dataclass(frozen=True, slots=True)
class Matched:
    """Disparity map of the left picture, shape (h, w).

    Parameters
    ----------
    disparity_px, sigma_px : NaN where nothing was matched
    noise_level : float, grey levels, sd of the difference of two matched patches; NaN without any
    scatter : Scatter, what the map's own scatter says beyond noise
    """

    disparity_px: Array
    sigma_px: Array
    noise_level: float
    scatter: Scatter


def match(left: Array, right: Array, most_px: float) -> Matched:
    """Match two rectified pictures.

    Parameters
    ----------
    left, right : arrays, shape (h, w), grey levels 0 to 255, NaN for nothing seen
    most_px : float, disparities from 0 to this are searched

    Examples
    --------
    >>> rng = np.random.default_rng(3)
    >>> from scipy.ndimage import gaussian_filter
    >>> scene = 128.0 + 60.0 * gaussian_filter(rng.normal(size=(90, 200)), 1.2)
    >>> found = match(scene[:, 20:180], scene[:, 27:187], 16.0)
    >>> float(np.nanmedian(found.disparity_px).round(2))
    7.0
    """
    assumed = Scatter(ASSUMED_MISFIT, ASSUMED_FLOOR_PX, False)
    nothing = np.full(left.shape, np.nan)
    if not (np.isfinite(left).any() and np.isfinite(right).any()):
        return Matched(nothing, nothing, float("nan"), assumed)
    start = searched(left, right, most_px)
    if not np.isfinite(start).any():
        return Matched(nothing, nothing, float("nan"), assumed)
    shifts = refined(left, right, start)
    if not shifts.known.any():
        return Matched(nothing, nothing, float("nan"), assumed)
    parts = sigma_parts(shifts)
    kept = _borne_out(left, right, start, shifts, parts)
    first = kept & (assumed.sigma_px(parts) < MOST_SIGMA_PX)
    scatter = scatter_of(np.where(first, shifts.disparity_px, np.nan), parts)
    sigma = scatter.sigma_px(parts)
    kept &= (sigma < MOST_SIGMA_PX) & (shifts.disparity_px >= 0) & (shifts.disparity_px <= most_px)
    kept = _without_islands(np.where(kept, shifts.disparity_px, np.nan))
    return Matched(
        np.where(kept, shifts.disparity_px, np.nan), np.where(kept, sigma, np.nan), parts.noise_level, scatter
    )


def _borne_out(left: Array, right: Array, start: Array, shifts: Shifts, parts: Parts) -> NDArray[np.bool_]:
    with np.errstate(invalid="ignore"):
        stayed = np.abs(shifts.disparity_px - start) < MOST_MOVED_PX
    return textured(shifts, parts) & centred(shifts) & distinct(left, right, shifts) & stayed


def _without_islands(disparity_px: Array) -> NDArray[np.bool_]:
    import cv2

    # sixteenths of a pixel, since OpenCV takes whole numbers here; 0 stands for none
    fixed = np.where(np.isfinite(disparity_px), 16.0 * disparity_px + 16.0, 0.0).astype(np.int16)
    cv2.filterSpeckles(fixed, 0, int(LEAST_ISLAND), int(16 * _ISLAND_STEP_PX))
    return np.asarray(fixed > 0)
