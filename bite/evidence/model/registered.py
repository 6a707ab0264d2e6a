"""Whether the mouth in the picture stands where the model, as depth holds it, shows it.

The outline of the mouth's opening is the strongest line of a face with bared teeth: skin ends there before
enamel or the dark. It is taken from the model as the fit left it on the depth map, and laid over the
picture's own steps of colour, shifted and resized until most of it lies on edges. Clicks take no part.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.evidence.model.teeth_in_view import TeethInView
from bite.evidence.picture.luminance import cie_lab
from bite.geometry.rigid import Array
from bite.geometry.teeth import SKIN

REACH_MM = 8.0
"""Shifts that are tried: farther ones lay the upper lip's outline on the lower one's (our choice)."""
STEP_MM, FINE_MM = 0.8, 0.2
"""Coarse and fine steps of the shift: half and an eighth of the limit of the check (our choice)."""
SIZES = (0.9, 0.925, 0.95, 0.975, 1.0, 1.025, 1.05, 1.075, 1.1)
"""A lens of 5 % shows two steps off; beyond 10 % pictures differ in more than size (our choice)."""
BLUR_MM = 0.35
"""A solved lip is off by some tenths of a millimetre, so that finer edges say nothing (our choice)."""
STRONG = 0.9
"""A gradient above this quantile of the piece counts as this: one glint must not decide (our choice)."""
SECTORS = 12
"""Pieces of the outline whose gains are compared, for the standard error (our choice)."""
LEAST_POINTS, LEAST_SECTORS, MOST_POINTS = 60, 6, 160
"""Half of the way round and a point each millimetre or so; more points cost time alone (our choice)."""
LEAST_OPENING_MM2 = 30.0
"""A smaller opening is a closed mouth, whose outline fits any line (our choice)."""


@dataclass(frozen=True, slots=True)
class Registration:
    """Where the outline fits the picture best.

    Parameters
    ----------
    right_mm, down_mm : float, how far the picture's mouth stands from the model's, along the picture
    size : float, the picture's mouth over the model's
    here, best : float, mean edge strength under the outline as it stands, and where it fits best, 0 to 1
    gain_sd : float, the gain over its own standard error, from pieces of the outline
    """

    right_mm: float
    down_mm: float
    size: float
    here: float
    best: float
    gain_sd: float

    @property
    def shift_mm(self) -> float:
        """Length of the shift."""
        return float(np.hypot(self.right_mm, self.down_mm))


def registration(seen: TeethInView) -> Registration | None:
    """Lay the outline of the model's mouth over the picture.

    Parameters
    ----------
    seen : TeethInView, the model as the fit placed it

    Returns
    -------
    Registration or None, where the outline is too short or cut by the piece's end
    """
    from scipy.ndimage import gaussian_filter

    mm_per_px = seen.mm_per_px * seen.piece.binned
    outline = _outline(seen.part, mm_per_px)
    if outline is None:
        return None
    at, normal = (each[:: max(1, len(each) // MOST_POINTS)] for each in outline)
    blur = BLUR_MM / mm_per_px
    colours = gaussian_filter(cie_lab(seen.picture), (blur, blur, 0.0))
    slope = np.stack(np.gradient(colours, axis=(0, 1)))
    # squared steps of colour across any direction, from three maps
    squares = [(slope[i] * slope[j]).sum(-1) for i, j in ((0, 0), (0, 1), (1, 1))]
    strong = float(np.quantile(np.sqrt(squares[0] + squares[2]), STRONG))
    if not strong > 0:
        return None
    middle = 0.5 * (at.min(0) + at.max(0))
    sector = ((np.arctan2(*(at - middle).T) + np.pi) / (2 * np.pi) * SECTORS).astype(int) % SECTORS
    members = [sector == s for s in np.unique(sector)]
    if len(members) < LEAST_SECTORS:
        return None
    factors = (normal[:, 0] ** 2, 2.0 * normal[:, 0] * normal[:, 1], normal[:, 1] ** 2)
    last = np.array(squares[0].shape) - 1

    def strength(size: float, shifts: Array) -> Array:
        """Give the mean strength in each sector at each shift, shape (sectors, shifts)."""
        places = np.rint((middle + size * (at - middle))[None] + shifts[:, None]).astype(int)
        row, column = np.clip(places, 0, last).transpose(2, 0, 1)
        across = sum(square[row, column] * factor for square, factor in zip(squares, factors, strict=True))
        value = np.minimum(np.sqrt(np.maximum(across, 0.0)) / strong, 1.0)
        value[((places < 0) | (places > last)).any(-1)] = 0.0
        return np.stack([value[:, own].mean(1) for own in members])

    still = strength(1.0, np.zeros((1, 2)))[:, 0]
    size, shift, found = 1.0, np.zeros(2), still
    for reach, step in ((REACH_MM, STEP_MM), (STEP_MM, FINE_MM)):
        steps = np.arange(-round(reach / step), round(reach / step) + 1) * step / mm_per_px
        shifts = shift + np.stack(np.meshgrid(steps, steps, indexing="ij"), axis=-1).reshape(-1, 2)
        for tried in SIZES if step == STEP_MM else (size,):
            each = strength(tried, shifts)
            best = int(each.mean(0).argmax())
            if each[:, best].mean() > found.mean():
                size, shift, found = tried, shifts[best], each[:, best]
    gain = found - still
    error = float(gain.std(ddof=1) / np.sqrt(len(gain)))
    down, right = shift * mm_per_px
    return Registration(
        right_mm=float(right),
        down_mm=float(down),
        size=size,
        here=float(still.mean()),
        best=float(found.mean()),
        gain_sd=float(gain.mean() / error) if error > 0 else 0.0,
    )


def _outline(part: NDArray[np.int8], mm_per_px: float) -> tuple[Array, Array] | None:
    """Give rows and columns of the opening's outline, and unit normals there, shape (n, 2) each."""
    from scipy.ndimage import binary_fill_holes, gaussian_filter, label

    pieces, count = label(part != SKIN)
    if not count:
        return None
    teeth = (part >= 0) & (part != SKIN)
    sizes = np.bincount(pieces[teeth], minlength=count + 1)
    sizes[0] = 0
    opening = pieces == int(sizes.argmax())
    if not sizes.any() or float(opening.sum()) * mm_per_px**2 < LEAST_OPENING_MM2:
        return None
    opening = np.asarray(binary_fill_holes(opening))
    soft = gaussian_filter(opening.astype(float), 1.0 / max(mm_per_px, 1e-6) * 0.4)
    slope = np.stack(np.gradient(soft))
    rim = opening & ~_shrunk(opening)
    rim[[0, -1]] = rim[:, [0, -1]] = False
    length = np.hypot(*slope)
    rim &= length > 0
    at = np.argwhere(rim)
    if len(at) < LEAST_POINTS:
        return None
    return at.astype(float), (slope[:, rim] / length[rim]).T


def _shrunk(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    from scipy.ndimage import binary_erosion

    return np.asarray(binary_erosion(mask, border_value=1))
