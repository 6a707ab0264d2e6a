"""Skin that is off by whole patches for which the model has no unknown, and how much less it counts.

Hair that ends where no shape of the model ends, a cable, a plaster: over a few millimetres all pixels lie to
one side. Pixel by pixel that is within the noise, so that no clipping sees it, and the head's place follows:
a moustache between nose and lip drew it by 0.3 mm up the face and the offset by 0.2 mm. Residuals that are
averaged over a patch show it, and what is strange among those counts for less.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bite.geometry.rigid import Array

PATCH_MM = 2.5
"""Sd of the Gaussian over which residuals are averaged: wider than a sensor's filter, narrower than the waves
that the skin may have (our choice)."""
STRANGE = 1.5
"""Patches count whole up to so many of their own sds. At 2.5 a moustache that had drawn the head already was
no longer strange; at 1.5 it was, and bare faces kept their sd to 1 % (our choice, docs/measured.md)."""
_CLIPPED_SD = 4.0
"""A reading counts up to so many of its sds, so that one wild reading makes no strange patch (our choice)."""
_NEAR = 0.2
"""Nearness from which skin tells how patches scatter, 25 mm off the teeth (our choice)."""


def patch_trust(
    residual_mm: Array, skin: NDArray[np.bool_], nearness: Array, *, sd_mm: float, mm_per_px: float
) -> Array:
    """Give the share of its weight that each pixel keeps, shape (h, w): 1 where nothing is strange.

    How patches scatter is read from themselves (MAD), so that correlated noise and waves widen it.

    Parameters
    ----------
    residual_mm : array, shape (h, w)
    skin : array of bool, shape (h, w), readable pixels that hold no enamel
    nearness : array, shape (h, w), 1 on teeth and falling
    sd_mm : float, of one pixel
    mm_per_px : float
    """
    from scipy.ndimage import gaussian_filter

    near = skin & (nearness > _NEAR)
    if not near.any():
        return np.ones(skin.shape)
    clipped = np.where(skin, np.clip(residual_mm, -_CLIPPED_SD * sd_mm, _CLIPPED_SD * sd_mm), 0.0)
    px = PATCH_MM / mm_per_px
    held = gaussian_filter(skin.astype(np.float64), px, truncate=3.0)
    # a patch that is half off the skin averages half as many pixels
    patch = gaussian_filter(clipped, px, truncate=3.0) / np.sqrt(np.maximum(held, 0.05))
    scatter = 1.4826 * float(np.median(np.abs(patch[near])))
    if not scatter > 0:
        return np.ones(skin.shape)
    strange = np.abs(patch) / (STRANGE * scatter)
    return np.where(skin, np.maximum(strange, 1.0) ** -2, 1.0)
