"""How far edges are blurred along and across the tooth row, from how much more blur lowers their slope.

A fitted step needs edges that are clean steps, which a motion along the row leaves none of: the sides of
teeth are gone, and the incisal edges, along which it ran, stay as they were. Here the slope along one
direction is compared with the slope after a further, known blur, at the places where it is steepest: a
Gaussian edge of sd s loses the factor sqrt((s^2 + a^2) / s^2) by a blur of sd a. Thin dark lines lose more
and look sharper than they are; a box blur of length L reads as 0.15 to 0.25 L, less than its sd of 0.29 L.

Source: Zhuo & Sim 2011, Defocus map estimation from a single image, Pattern Recognition 44:1852-1858 (the
ratio of gradients; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bite.evidence.clicks.tooth_row import ToothRow
from bite.evidence.picture.luminance import Picture, check_picture, luminance
from bite.evidence.picture.scan_lines import sample_lines
from bite.geometry.rigid import Array

_PRE_PX, _ACROSS_PX = 0.7, 1.0
"""Noise is calmed by these before slopes are taken; the first is taken out again (our choice)."""
_MORE_MM, _LEAST_MORE_PX = 0.6, 1.5
"""The further blur: as much as what is asked for, and enough to change a sharp edge of pixels (our
choice)."""
_STRONGEST, _FEWEST = 120, 40
"""The steepest edges tell of the lens, the others of soft borders; fewer than the second are noise (our
choice)."""
_LEAST_SLOPE = 2.0
"""Levels a pixel: weaker edges are noise (our choice)."""
_ASIDE, _UP, _DOWN = 2.2, 1.9, 1.0
"""Crown widths around the middle of the clicked edge that are looked at."""
_SPREAD_SHARE = 0.15
"""The sd of a width: sharp and soft edges of one mouth differ, and half a picture's edges give as much (our
estimate)."""


@dataclass(frozen=True, slots=True)
class Blur:
    """Blur along the row and at right angles to it, sd, px; None where fewer than 40 edges run that way."""

    sideways_px: float | None
    up_down_px: float | None

    @property
    def worst_px(self) -> float | None:
        """The wider of the two; None unless both were measured."""
        if self.sideways_px is None or self.up_down_px is None:
            return None
        return max(self.sideways_px, self.up_down_px)

    @property
    def worst_sd_px(self) -> float | None:
        """Sd of the wider of the two."""
        return None if self.worst_px is None else _SPREAD_SHARE * self.worst_px


def blur_around(picture: Picture, row: ToothRow, *, mm_per_px: float) -> Blur:
    """Measure the blur of the edges around the upper incisors.

    Parameters
    ----------
    picture : array, shape (h, w, 3), uint8, RGB
    row : ToothRow
    mm_per_px : float
    """
    check_picture(picture)
    aside, up, down = (share * row.crown_width_px for share in (_ASIDE, _UP, _DOWN))
    middle = row.upper_edge_px.mean(0)
    along, below = np.arange(-aside, aside + 1.0), np.arange(-up, down + 1.0)
    left = middle + along[0] * row.across
    starts = left + below[:, None] * row.down
    level = sample_lines(luminance(picture), starts, np.tile(row.across, (len(starts), 1)), along - along[0])
    more = max(_LEAST_MORE_PX, _MORE_MM / mm_per_px)
    return Blur(_width(level, 1, more), _width(level, 0, more))


def _width(level: Array, axis: int, more_px: float) -> float | None:
    from scipy import ndimage

    known = np.isfinite(level)
    if min(level.shape) < 8 or known.mean() < 0.5:
        return None
    filled = np.where(known, level, np.nanmedian(level))
    clear = ndimage.binary_erosion(known, iterations=int(np.ceil(2 * more_px)), border_value=0)

    def slope(sd_px: float) -> Array:
        sds, order = [_ACROSS_PX, _ACROSS_PX], [0, 0]
        sds[axis], order[axis] = sd_px, 1
        return np.asarray(np.abs(ndimage.gaussian_filter(filled, sds, order=order)))

    first, second = slope(_PRE_PX), slope(float(np.hypot(_PRE_PX, more_px)))
    steepest = (first >= np.roll(first, 1, axis)) & (first > np.roll(first, -1, axis)) & clear
    steepest &= first >= _LEAST_SLOPE
    order = np.argsort(-first[steepest], kind="stable")[:_STRONGEST]
    if len(order) < _FEWEST:
        return None
    ratio = first[steepest][order] / np.maximum(second[steepest][order], 1e-6)
    square = more_px**2 / np.maximum(ratio**2 - 1.0, 1e-3) - _PRE_PX**2
    return float(np.median(np.sqrt(np.maximum(square, 0.29**2))))
