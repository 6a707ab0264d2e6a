"""The sd of each disparity, from the pair itself: what its patch leaves over, and how the map scatters.

The shift of a patch, sum(w g r) / sum(w g h) for the gradients g and h of both pictures, has the variance
sum(w w g g) noise^2 / (sum(w g h))^2 under noise that is white: it averages out over the patch. What a patch
leaves beyond noise (shading that differs between the views, sampling, a surface that is no plane) hangs
together over the whole of it and does not: it counts as residual over gradient, times a factor. That factor,
and what no texture helps against, are read from the map: over a lattice of patches that share no pixels,
second differences along both axes take away every surface up to the second order, and what is left is
scatter.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.evidence.stereo.refine import PATCH_SD_PX, Shifts, blurred
from bite.fit.linear import MAD_TO_SD
from bite.geometry.rigid import Array

APART_SD = 6.0
"""Patches this many of their sd apart have no pixel in common."""
LEAST_NODES = 300
"""Fewer do not tell how they scatter (our choice)."""
NOISE_QUANTILE = 0.25
"""Share of patches that are taken to hold nothing but noise (our choice)."""
ASSUMED_MISFIT, ASSUMED_FLOOR_PX = 0.5, 0.08
"""Where too little was matched to tell: about what the open pair of tests/external shows."""
LEAST_FLOOR_PX = 0.05
"""No match is told to be better: calibration and interpolation leave that much (engineering estimate)."""
_CALM = 1.5
"""Readings whose own misfit is below this share of the level are used to learn the scatter."""
_LAGS = 2
"""Neighbours up to two pixels off carry what patches share."""
_GROUPS = (6, 4)
"""Groups by misfit and by noise, each large enough for a scatter (our choice)."""


@dataclass(frozen=True, slots=True)
class Parts:
    """What a disparity's variance is made of, before it is scaled: two maps, px, infinite without texture.

    Parameters
    ----------
    noise_px : sd from the pictures' own noise
    misfit_px : what the patch leaves beyond noise, over its gradient
    gradient : along the row, root mean square over the patch and without its own noise, grey levels per px
    noise_level : float, grey levels, of the difference of two matched patches
    """

    noise_px: Array
    misfit_px: Array
    gradient: Array
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
        return Parts(none, none, np.zeros(known.shape), float("nan"))
    own = blurred(shifts.weight * shifts.residual**2) / np.maximum(blurred(shifts.weight), 1e-9)
    level = float(np.sqrt(np.quantile(own[known], NOISE_QUANTILE)))
    beyond = np.maximum(own - level**2, 0.0)
    calm = known & (own < _CALM * level**2)
    energy = np.maximum(shifts.energy, 0.0)
    textured = known & (energy > 1e-9)
    with np.errstate(divide="ignore", invalid="ignore"):
        noise = level * _hang_together(shifts.residual, calm) * np.sqrt(shifts.spread_energy) / energy
        misfit = np.sqrt(beyond / energy)
    return Parts(
        np.where(textured, noise, np.inf),
        np.where(textured, misfit, np.inf),
        np.where(textured, np.sqrt(energy), 0.0),
        level,
    )


def _hang_together(residual: Array, calm: NDArray[np.bool_]) -> float:
    """Give the factor on a patch's sd from how neighbours' noise hangs together: 1 for white noise."""
    value = np.where(calm, residual, 0.0)
    total, own = 0.0, float((value**2).mean())
    if not own > 0:
        return 1.0
    # a lag and its opposite say the same
    lags = [(down, right) for down in range(_LAGS + 1) for right in range(-_LAGS, _LAGS + 1)]
    for down, right in lags[_LAGS:]:
        moved, there = (np.roll(image, (down, right), (0, 1)) for image in (value, calm))
        share = float((calm & there).mean())
        if share > 0:
            rho = float((value * moved).mean()) / share / (own / float(calm.mean()))
            times = 1.0 if down == right == 0 else 2.0
            total += times * rho * float(np.exp(-(down**2 + right**2) / (4.0 * PATCH_SD_PX**2)))
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
    >>> parts = Parts(np.where(x < 450, 0.05, 0.2), np.where(y < 450, 0.0, 0.3), np.ones((900, 900)), 1.0)
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
    total, noise, misfit = np.concatenate([_second_differences(lattice) for lattice in lattices], axis=1)
    if total.size < LEAST_NODES:
        return Scatter(ASSUMED_MISFIT, ASSUMED_FLOOR_PX, False)
    return _fitted(total, noise, misfit)


def _second_differences(maps: Array) -> Array:
    """Give, over 3 x 3 nodes, the double second difference of unit gain and its variance by each part."""
    if min(maps.shape[1:]) < 3:
        return np.zeros((3, 0))
    flat = _differenced(_differenced(maps, 1), 2).reshape(3, -1)
    return np.asarray(flat[:, np.isfinite(flat).all(0)])


def _differenced(maps: Array, axis: int) -> Array:
    count = maps.shape[axis] - 2
    first, middle, last = (np.take(maps, np.arange(k, k + count), axis=axis) for k in range(3))
    total = (first[:1] - 2.0 * middle[:1] + last[:1]) / np.sqrt(6.0)
    spread = (first[1:] + 4.0 * middle[1:] + last[1:]) / 6.0
    return np.concatenate([total, spread])


def _fitted(total: Array, noise: Array, misfit: Array) -> Scatter:
    """Fit the scatter of groups of nodes by their parts."""
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
    return Scatter(float(np.exp(best[0])), max(float(np.exp(best[1])), LEAST_FLOOR_PX), True)
