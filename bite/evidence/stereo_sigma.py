"""The sd of each disparity, from the pair itself: what its patch leaves over, and how the map scatters.

The shift of a patch, sum(w g r) / sum(w g g), has the variance sum(w w g g) noise^2 / (sum(w g g))^2 under
noise that is white: it averages out over the patch. What a patch leaves beyond noise (shading that differs
between the views, sampling, a surface that is no plane) hangs together over the whole of it and does not: it
counts as residual over gradient, times a factor. That factor, and what no texture helps against, are read
from the map, over a lattice of patches that share no pixels. Second differences along both axes take away the
shape of the surface, and with it errors that run along an edge; along one axis at a time they keep those
errors, and the surface's bend. The truth lies between, and the geometric mean is taken.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.evidence.stereo_refine import PATCH_SD_PX, Shifts, blurred
from bite.fit.linear import MAD_TO_SD
from bite.geometry.rigid import Array

APART_SD = 6.0
"""Patches this many of their sd apart have no pixel in common."""
LEAST_NODES = 60
"""Fewer do not tell how they scatter (our choice)."""
NOISE_QUANTILE = 0.25
"""Share of patches that are taken to hold nothing but noise (our choice)."""
ASSUMED_MISFIT, ASSUMED_FLOOR_PX = 0.7, 0.05
"""Where too little was matched to tell: about what the open pair of tests/external shows."""
LEAST_FLOOR_PX = 0.03
"""No match is told to be better: calibration and interpolation leave that much (engineering estimate)."""
_CALM = 1.5
_LAGS = 2
_GROUPS = (6, 4)


@dataclass(frozen=True, slots=True)
class Parts:
    """What a disparity's variance is made of, before it is scaled: two maps, px, infinite without texture.

    Parameters
    ----------
    noise_px : sd from the pictures' own noise
    misfit_px : what the patch leaves beyond noise, over its gradient
    noise_level : float, grey levels, of the difference of two matched patches
    """

    noise_px: Array
    misfit_px: Array
    noise_level: float


@dataclass(frozen=True, slots=True)
class Scatter:
    """What a map's own scatter says beyond noise.

    Parameters
    ----------
    misfit_factor : float, on ``Parts.misfit_px``
    floor_px : float, sd that no texture helps against
    measured : bool, else assumed, since too little was matched
    """

    misfit_factor: float
    floor_px: float
    measured: bool

    def sigma_px(self, parts: Parts) -> Array:
        """Give the sd of disparities, px."""
        return np.sqrt(parts.noise_px**2 + (self.misfit_factor * parts.misfit_px) ** 2 + self.floor_px**2)


def sigma_parts(shifts: Shifts) -> Parts:
    """Give what the variance of each shift is made of."""
    known = shifts.known
    if not known.any():
        none = np.full(known.shape, np.inf)
        return Parts(none, none, float("nan"))
    own = blurred(shifts.residual**2) / np.maximum(blurred(known.astype(np.float64)), 1e-6)
    level = float(np.sqrt(np.quantile(own[known], NOISE_QUANTILE)))
    beyond = np.maximum(own - level**2, 0.0)
    calm = known & (own < _CALM * level**2)
    textured = known & (shifts.energy > 1e-9)
    with np.errstate(divide="ignore", invalid="ignore"):
        noise = level * _hang_together(shifts.residual, calm) * np.sqrt(shifts.spread_energy) / shifts.energy
        misfit = np.sqrt(beyond / shifts.energy)
    return Parts(np.where(textured, noise, np.inf), np.where(textured, misfit, np.inf), level)


def _hang_together(residual: Array, calm: NDArray[np.bool_]) -> float:
    """Give the factor on a patch's sd from how neighbours' noise hangs together: 1 for white noise."""
    value = np.where(calm, residual, 0.0)
    total, own = 0.0, float((value**2).mean())
    if not own > 0:
        return 1.0
    for down in range(-_LAGS, _LAGS + 1):
        for right in range(-_LAGS, _LAGS + 1):
            moved, there = (np.roll(image, (down, right), (0, 1)) for image in (value, calm))
            share = float((calm & there).mean())
            if share > 0:
                rho = float((value * moved).mean()) / share / (own / float(calm.mean()))
                total += rho * float(np.exp(-(down**2 + right**2) / (4.0 * PATCH_SD_PX**2)))
    return float(np.sqrt(max(total, 1.0)))


def scatter_of(disparity_px: Array, parts: Parts) -> Scatter:
    """Measure how a map scatters, beside what its parts say.

    Parameters
    ----------
    disparity_px : array, shape (h, w), NaN where nothing was matched
    parts : Parts

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> y, x = np.mgrid[:900, :900]
    >>> parts = Parts(np.where(x < 450, 0.05, 0.2), np.where(y < 450, 0.0, 0.3), 1.0)
    >>> noisy = rng.normal(0.0, np.sqrt(parts.noise_px**2 + (0.5 * parts.misfit_px) ** 2 + 0.01))
    >>> found = scatter_of(20.0 + 0.05 * x + 0.0004 * y * y + noisy, parts)
    >>> round(found.misfit_factor, 1), round(found.floor_px, 1), found.measured
    (0.5, 0.1, True)
    """
    step = max(1, round(APART_SD * PATCH_SD_PX))
    known = np.isfinite(disparity_px)
    squares = (np.where(known, part, np.nan) ** 2 for part in (parts.noise_px, parts.misfit_px))
    maps = np.stack([disparity_px, *squares])
    starts = [(top, left) for top in range(0, step, 3) for left in range(0, step, 3)]
    lattices = [maps[:, top::step, left::step] for top, left in starts]
    accounts = []
    for differences in (_along_both, _along_one):
        total, noise, misfit = np.concatenate([differences(lattice) for lattice in lattices], axis=1)
        if total.size < LEAST_NODES:
            return Scatter(ASSUMED_MISFIT, ASSUMED_FLOOR_PX, False)
        accounts.append(_fitted(total, noise, misfit))
    misfit_factor, floor = np.exp(np.mean(np.log(accounts), axis=0))
    return Scatter(float(misfit_factor), max(float(floor), LEAST_FLOOR_PX), True)


def _along_both(maps: Array) -> Array:
    """Give, over 3 x 3 nodes, the double second difference of unit gain and its variance by each part."""
    if min(maps.shape[1:]) < 3:
        return np.zeros((3, 0))
    return _known(_differenced(_differenced(maps, 1), 2))


def _along_one(maps: Array) -> Array:
    """Give second differences of unit gain, along rows and along columns, and their variance by each part."""
    found = [_known(_differenced(maps, axis)) for axis in (1, 2) if maps.shape[axis] >= 3]
    return np.concatenate(found, axis=1) if found else np.zeros((3, 0))


def _differenced(maps: Array, axis: int) -> Array:
    count = maps.shape[axis] - 2
    first, middle, last = (np.take(maps, np.arange(k, k + count), axis=axis) for k in range(3))
    total = (first[:1] - 2.0 * middle[:1] + last[:1]) / np.sqrt(6.0)
    spread = (first[1:] + 4.0 * middle[1:] + last[1:]) / 6.0
    return np.concatenate([total, spread])


def _known(maps: Array) -> Array:
    flat = maps.reshape(3, -1)
    return np.asarray(flat[:, np.isfinite(flat).all(0)])


def _fitted(total: Array, noise: Array, misfit: Array) -> tuple[float, float]:
    """Fit the scatter of groups of nodes by their parts: factor on the misfit, and floor, px."""
    from scipy.optimize import least_squares

    points = []
    for coarse in np.array_split(np.argsort(misfit), _GROUPS[0]):
        for group in np.array_split(coarse[np.argsort(noise[coarse])], _GROUPS[1]):
            if group.size >= 8:
                scatter = MAD_TO_SD * float(np.median(np.abs(total[group])))
                points.append((float(np.median(noise[group])), float(np.median(misfit[group])), scatter**2))
    by_noise, by_misfit, found = np.array(points).T

    def off(log_factors: Array) -> Array:
        misfit_squared, floor_squared = np.exp(2.0 * log_factors)
        told = by_noise + misfit_squared * by_misfit + floor_squared
        return np.asarray(np.log(told) - np.log(np.maximum(found, 1e-12)))

    # ratios, since each group is known to a share of its size; robust, since some groups hold a rim
    start = np.log([ASSUMED_MISFIT, ASSUMED_FLOOR_PX])
    best = least_squares(off, start, loss="soft_l1", f_scale=0.1, bounds=(-5.0, 3.0)).x
    return float(np.exp(best[0])), float(np.exp(best[1]))
