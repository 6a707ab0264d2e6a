"""Equal neighbours on a flat: averaging makes none beyond chance, a median many, as far as it reaches."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from bite.device.filters import smoothing_of
from bite.geometry.rigid import Array

Mask = NDArray[np.bool_]
WINDOWS = (3, 5, 7, 9)
"""Windows that depth sensors are known to use, from memory; larger ones lose any strip of teeth."""
_FARTHEST = 9
"""Windows of nine pixels share no reading farther apart."""
_FEWEST = 20
"""Counts below this make the logarithm of a count worthless."""
_FIELD_PX = 256
"""Side of the computed field: more pixels than a card's flats have (our choice)."""
_SEED = 20261127
"""Any; fixed, so that the same card gives the same table."""
_PERIODS = (2, 3, 4)
"""Maps are enlarged by two, three or four."""
_UNEVEN = 0.4
"""Equal neighbours whose share differs so from column to column are an enlarged map's (our choice)."""
_BEFORE_PX = (0.0, 0.5, 1.0, 1.5)
"""How correlated the noise may have been before the median."""
_TIES_SD, _LENGTH_SD_PX = 0.005, 0.1
"""How closely computed ties and lengths can be expected to match real ones (our choice)."""


@dataclass(frozen=True, slots=True)
class Ties:
    """Equal neighbours on the flats, which averaging does not make and a median does.

    Parameters
    ----------
    share : float, neighbours with the very same reading
    chance : float, the share that the other differences lead one to expect
    sd : float, of their difference
    told : bool, False where the storage step is too coarse to tell, or the map was enlarged
    repeated_px : int
        Number of pixels over which readings repeat in rows or columns, as in an enlarged map; 1 where not.
    """

    share: float
    chance: float
    sd: float
    told: bool
    repeated_px: int = 1

    @property
    def excess(self) -> float:
        """Share of ties beyond chance."""
        return self.share - self.chance


def ties_of(depth_mm: Array, flat: Mask, step_mm: float, lag: int = 1) -> Ties:
    """Count equal neighbours on a flat, beside what the numbers of differences of one and two steps tell.

    Differences of smooth noise follow a bell curve, whose logarithm is a parabola: the count at no difference
    follows from those at one and two steps, ln n0 = (4 ln n1 - ln n2) / 3.

    Parameters
    ----------
    depth_mm : array, shape (h, w), mm
    flat : array of bool
    step_mm : float, storage step there; 0 for none
    lag : int, px, how far apart the two of a pair are, along rows and columns
    """
    kept = np.where(flat, depth_mm, np.nan)
    repeated = _repeated(kept) if lag == 1 else 1
    if repeated > 1:
        return Ties(0.0, 0.0, 1.0, False, repeated)
    pairs = (kept[lag:] - kept[:-lag], kept[:, lag:] - kept[:, :-lag])
    difference = np.concatenate([pair[np.isfinite(pair)] for pair in pairs])
    total = len(difference)
    if total == 0:
        return Ties(0.0, 0.0, 1.0, False)
    if step_mm <= 0:
        share = float(np.mean(difference == 0))
        return Ties(share, 0.0, float(np.sqrt(max(share, 1 / total) / total)), True)
    steps = np.round(difference / step_mm).astype(int)
    count = {k: float((steps == k).sum()) for k in (-2, -1, 0, 1, 2)}
    if min(count[k] for k in (-2, -1, 1, 2)) < _FEWEST:
        return Ties(count[0] / total, count[0] / total, 1.0, False)
    one, two = (0.5 * (np.log(count[-k]) + np.log(count[k])) for k in (1, 2))
    expected = float(np.exp((4 * one - two) / 3))
    relative = (4 * (1 / count[-1] + 1 / count[1]) + 0.25 * (1 / count[-2] + 1 / count[2])) / 9
    # neighbours share readings: their counts scatter by about sqrt 2 more than independent ones
    sd = float(np.sqrt(2 * (count[0] + expected**2 * relative)) / total)
    return Ties(count[0] / total, expected / total, sd, True)


def _repeated(kept: Array) -> int:
    """Give the period in which equal neighbours come and go along rows or columns, px; 1 for none."""
    for period in _PERIODS:
        for values in (kept, kept.T):
            difference = values[:, 1:] - values[:, :-1]
            shares = []
            for phase in range(period):
                own = difference[:, phase::period]
                own = own[np.isfinite(own)]
                shares.append(float(np.mean(own == 0)) if own.size else 0.0)
            if max(shares) - min(shares) > _UNEVEN:
                return period
    return 1


def median_reach(
    depth_mm: Array, flat: Mask, step_mm: float, noise_mm: float, correlation_px: float
) -> tuple[float, float] | None:
    """Tell a median's window from how far apart readings still tie: sd of the window's taps and its sd, px.

    Two windows share readings up to one window's side apart, and ties fall off with it. What they fall to is
    computed: noise, white or correlated already, behind a median of each size, rounded as the map is (with a
    fixed seed), and held against the measured ties and the measured correlation.

    Parameters
    ----------
    depth_mm, flat, step_mm : see `ties_of`
    noise_mm, correlation_px : float, of the flat

    Returns
    -------
    (smoothing_px, sd_px), or None where the storage step hides the ties
    """
    found = [ties_of(depth_mm, flat, step_mm, lag) for lag in range(1, _FARTHEST + 1)]
    if not all(ties.told for ties in found):
        return None
    excess = np.array([ties.excess for ties in found])
    sd = np.array([max(ties.sd, _TIES_SD) for ties in found])
    rounding = round(step_mm / noise_mm, 2)
    misfits = np.empty((len(WINDOWS), len(_BEFORE_PX)))
    for k, window in enumerate(WINDOWS):
        for m, before_px in enumerate(_BEFORE_PX):
            falling, length = _falling(window, before_px, rounding)
            off = np.r_[(excess - falling) / sd, (correlation_px - length) / _LENGTH_SD_PX]
            misfits[k, m] = float((off**2).sum())
    misfit = misfits.min(axis=1)
    # none of the computed ones is the real one: the best misfit sets the scale
    likely = np.exp(-0.5 * (misfit - misfit.min()) / max(1.0, misfit.min() / _FARTHEST))
    sizes = np.array([smoothing_of(window) for window in WINDOWS])
    best = float(sizes[misfit.argmin()])
    return best, float(np.sqrt((likely * (sizes - best) ** 2).sum() / likely.sum()))


@cache
def _falling(window: int, before_px: float, rounding: float) -> tuple[Array, float]:
    """Give ties beyond chance at each lag, and the correlation length, of computed noise behind a median."""
    from scipy.ndimage import gaussian_filter, median_filter

    noise = np.random.default_rng(_SEED).standard_normal((_FIELD_PX, _FIELD_PX))
    if before_px:
        noise = gaussian_filter(noise, before_px)
    filtered = median_filter(noise, window)[window:-window, window:-window]
    filtered /= filtered.std()
    everywhere = np.ones(filtered.shape, dtype=bool)
    neighbour = float(np.mean(filtered[1:] * filtered[:-1] + filtered[:, 1:].T * filtered[:, :-1].T) / 2)
    if rounding > 0:
        filtered = np.round(filtered / rounding) * rounding
    excess = [ties_of(filtered, everywhere, rounding, lag).excess for lag in range(1, _FARTHEST + 1)]
    return np.array(excess), float(np.sqrt(-1 / (4 * np.log(min(max(neighbour, 0.01), 0.99)))))
