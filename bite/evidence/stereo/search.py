"""Where to look: semi-global matching of a rectified pair, done both ways, kept where the two agree.

What comes out is coarse, and places without texture are filled by smoothness alone: it is a starting value
and no measurement.
Source: Hirschmueller 2008, Stereo processing by semiglobal matching and mutual information, as OpenCV has
it (from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bite.geometry.rigid import Array

BOTH_WAYS_PX = 1.0
"""Matches there and back must meet within a pixel (common practice, no source)."""
_BLOCK_PX = 5
"""A small block: the search says where to look, and the value comes from elsewhere."""
_UNIQUE_PER_CENT = 3
"""The best match need lead by little only: two ways must agree as well."""
_SPECKLE_PX = 100
"""Islands of fewer pixels are wrong matches more often than surfaces (our choice)."""
_LEVELS = (2.0, 253.0)
"""Grey levels used, clear of both ends, which OpenCV's matcher treats as bounds."""


def searched(left: Array, right: Array, most_px: float) -> Array:
    """Give coarse disparities of the left picture, NaN where both ways do not agree, shape (h, w).

    Parameters
    ----------
    left, right : arrays, shape (h, w), grey levels 0 to 255, NaN for nothing seen
    most_px : float, disparities from 0 to this are searched
    """
    forth = _one_way(left, right, most_px)
    back = _one_way(right[:, ::-1], left[:, ::-1], most_px)[:, ::-1]
    return np.where(_agree(forth, back) & np.isfinite(left), forth, np.nan)


def stretched(left: Array, right: Array) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """Give both pictures in 8 bits and one brightness and contrast: two cameras never agree in them."""
    out = []
    for picture in (left, right):
        low, high = np.nanquantile(picture, (0.01, 0.99)) if np.isfinite(picture).any() else (0.0, 1.0)
        scaled = (picture - low) / max(float(high - low), 1.0) * (_LEVELS[1] - _LEVELS[0]) + _LEVELS[0]
        out.append(np.clip(np.nan_to_num(np.rint(scaled)), 0, 255).astype(np.uint8))
    return out[0], out[1]


def _one_way(left: Array, right: Array, most_px: float) -> Array:
    import cv2

    area = _BLOCK_PX * _BLOCK_PX
    matcher = cv2.StereoSGBM.create(
        minDisparity=0,
        numDisparities=16 * int(np.ceil((most_px + 1.0) / 16.0)),
        blockSize=_BLOCK_PX,
        P1=8 * area,
        P2=32 * area,
        disp12MaxDiff=-1,
        preFilterCap=31,
        uniquenessRatio=_UNIQUE_PER_CENT,
        mode=cv2.STEREO_SGBM_MODE_SGBM_3WAY,
    )
    a, b = (np.ascontiguousarray(picture) for picture in stretched(left, right))
    sixteenths = matcher.compute(a, b)
    cv2.filterSpeckles(sixteenths, -16, _SPECKLE_PX, 16)
    # single pixels that stick out would pass for steps between two surfaces
    found = cv2.medianBlur(sixteenths, 5).astype(np.float64) / 16.0
    found[(sixteenths < 0) | (found < 0) | (found > most_px + 1.0)] = np.nan
    return np.asarray(found)


def _agree(forth: Array, back: Array) -> NDArray[np.bool_]:
    rows, columns = np.mgrid[: forth.shape[0], : forth.shape[1]]
    there = np.rint(columns - np.nan_to_num(forth)).astype(int)
    inside = np.isfinite(forth) & (there >= 0) & (there < forth.shape[1])
    other = back[rows, np.clip(there, 0, forth.shape[1] - 1)]
    with np.errstate(invalid="ignore"):
        return np.asarray(inside & (np.abs(forth - other) <= BOTH_WAYS_PX))
