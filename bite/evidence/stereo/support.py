"""Does a match rest on something? Texture along the row, and a cost curve with one distinct minimum.

Semi-global matching gives a disparity to smooth enamel too, from its surroundings: without these two tests
the teeth would come out as a sheet between the lips.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bite.evidence.stereo.refine import Shifts, blurred, box_of
from bite.evidence.stereo.row_spline import sample_values
from bite.evidence.stereo.sigma import Parts
from bite.geometry.rigid import Array

TEXTURE_OVER_NOISE = 0.8
"""Gradient along the row, root mean square over the patch, over the noise of two matched patches' difference
(our choice): at 1, noise alone puts the shift of a patch off by a tenth of a pixel."""
MOST_ASIDE_PX = 1.25
"""The gradient's own centre may lie this far from the patch's (our choice): a strong edge at the rim of a
patch measures the edge, and would give its depth to the enamel beside it."""
ASIDE_PX = (-6.0, -4.0, -2.0, 2.0, 4.0, 6.0)
"""A cost curve is looked at 2 to 6 pixels aside of its minimum: nearer it is the minimum itself."""
DISTINCT = 2.0
"""Elsewhere along the row the patch must fit this many times worse, in squares (our choice)."""


def textured(shifts: Shifts, parts: Parts) -> NDArray[np.bool_]:
    """Tell which patches have enough gradient along the row, shape (h, w)."""
    return np.asarray(shifts.known & (parts.gradient > TEXTURE_OVER_NOISE * parts.noise_level))


def centred(shifts: Shifts) -> NDArray[np.bool_]:
    """Tell whose gradient lies around the patch's own middle and not at its rim, shape (h, w)."""
    height, width = shifts.known.shape
    rows, columns = np.mgrid[:height, :width].astype(np.float64)
    squared = shifts.weight * shifts.gradient**2
    total = np.maximum(blurred(squared), 1e-9)
    aside = np.hypot(blurred(squared * rows) / total - rows, blurred(squared * columns) / total - columns)
    return np.asarray(shifts.known & (aside < MOST_ASIDE_PX))


def distinct(left: Array, right: Array, shifts: Shifts) -> NDArray[np.bool_]:
    """Tell which patches fit better where they were matched than 2 to 6 px aside, shape (h, w).

    Parameters
    ----------
    left, right : arrays, shape (h, w), grey levels, NaN for nothing seen
    shifts : Shifts
    """
    from scipy.ndimage import spline_filter1d

    # nothing outside of what is known enters any sum
    box = box_of(shifts.known)
    known, plane, residual = (part[box] for part in (shifts.known, shifts.plane_px, shifts.residual))
    filled = [np.where(np.isfinite(p), p, np.nanmedian(p))[box[0]] for p in (left, right)]
    rows = spline_filter1d(filled[1], 3, axis=1, mode="mirror")
    columns = np.arange(left.shape[1], dtype=np.float64)[None, box[1]]
    total = np.maximum(blurred(known.astype(np.float64)), 1e-6)

    def cost(aside_px: float) -> Array:
        moved = sample_values(rows, columns - np.nan_to_num(plane) - aside_px)
        difference = np.where(known, filled[0][:, box[1]] - moved, 0.0)
        return np.asarray(blurred(difference**2) / total - (blurred(difference) / total) ** 2)

    own = blurred(np.square(residual)) / total
    best = np.minimum.reduce([cost(aside) for aside in ASIDE_PX])
    out = np.zeros(shifts.known.shape, dtype=np.bool_)
    out[box] = known & (best > DISTINCT * own)
    return out
