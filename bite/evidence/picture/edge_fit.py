"""Blurred steps fitted to many scan lines at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.geometry.rigid import Array

_ROUNDS = 40
"""Most steps of the damped fit; what needs more is told as not converged (our choice)."""
_WINDOW_ROUNDS = 8
"""So often the window follows the width found (our choice)."""
_STILL = 1e-4
"""px, levels and log sigma: a line that moved by less in eight rounds has settled."""
_WINDOW_SD = 3.0
"""Three sds to either side hold all but 0.3 % of a Gaussian's step."""
_SHORTEST_WINDOW_PX = 3.0
"""Fewer samples hold neither level (our choice)."""


@dataclass(frozen=True, slots=True)
class StepFits:
    """One fitted step a scan line, arrays of shape (n,).

    Parameters
    ----------
    place_px : distance of the step along its scan line
    sigma_px, sigma_sd_px : sd of the step's line spread (pixel aperture included), and the sd of that
    step : height, levels, positive where the line gets brighter
    residual : rms of what is left, levels
    explained : share of the variance within the window that the step explains, 0 to 1
    complete : the scan line reaches two sigma to both sides of the step
    """

    place_px: Array
    sigma_px: Array
    sigma_sd_px: Array
    step: Array
    residual: Array
    explained: Array
    complete: NDArray[np.bool_]


def fit_steps(values: Array, distances_px: Array) -> StepFits:
    """Fit an error-function step to each scan line, around its steepest place.

    Levenberg-Marquardt on all lines together: low level, height, place and log sigma. Only samples within
    three sigma of the step count, so that neighbouring structure does not; lines with NaN give NaN.

    Parameters
    ----------
    values : array, shape (n, k)
    distances_px : array, shape (k,), px, evenly spaced

    Notes
    -----
    Neighbouring samples share pixels, so residual degrees of freedom are counted in pixels, not in samples.
    """
    spacing = float(distances_px[1] - distances_px[0])
    finite = np.asarray(np.isfinite(values).all(1))
    data = np.where(finite[:, None], values, 0.0)
    line = np.stack(_start(data, distances_px), 1)
    damping = np.full(len(data), 1e-2)
    cost = np.full(len(data), np.inf)
    weight, rise = np.zeros_like(data), np.zeros_like(data)
    moving, laid = np.arange(len(data)), np.full_like(line, np.inf)
    for round_ in range(_ROUNDS):
        if round_ % _WINDOW_ROUNDS == 0:
            # the window follows the step; a line that stood still since it was last laid stays as it is
            moving = moving[np.abs(line - laid)[moving].max(1) > _STILL]
            if not moving.size:
                break
            laid = line.copy()
            weight[moving] = _window(distances_px, line[moving, 2], np.exp(line[moving, 3]))
            rise[moving] = _rise(distances_px, line[moving])
            cost[moving] = _cost(data[moving], weight[moving], rise[moving], line[moving])
        normal, gradient = _normal_equations(
            data[moving], weight[moving], rise[moving], distances_px, line[moving]
        )
        diagonal = np.einsum("nii->ni", normal)
        damped = normal + (damping[moving, None] * diagonal + 1e-9)[:, :, None] * np.eye(4)
        change = np.linalg.solve(damped, gradient[:, :, None])[:, :, 0]
        change[:, 2] = np.clip(change[:, 2], -2.0, 2.0)
        change[:, 3] = np.clip(change[:, 3], -0.5, 0.5)
        trial = line[moving] + change
        trial[:, 3] = np.clip(trial[:, 3], np.log(0.1), np.log(np.ptp(distances_px)))
        trial_rise = _rise(distances_px, trial)
        trial_cost = _cost(data[moving], weight[moving], trial_rise, trial)
        better = trial_cost <= cost[moving]
        line[moving] = np.where(better[:, None], trial, line[moving])
        rise[moving[better]] = trial_rise[better]
        cost[moving] = np.where(better, trial_cost, cost[moving])
        damping[moving] = np.clip(np.where(better, damping[moving] / 3, damping[moving] * 5), 1e-7, 1e7)
    weight = _window(distances_px, line[:, 2], np.exp(line[:, 3]))
    rise = _rise(distances_px, line)
    cost = _cost(data, weight, rise, line)
    normal, _ = _normal_equations(data, weight, rise, distances_px, line)
    height, place, sigma = line[:, 1], line[:, 2], np.exp(line[:, 3])
    freedom = np.maximum(weight.sum(1) * spacing - 4, 1.0)
    variance = cost * spacing / freedom
    inverse = np.linalg.pinv(normal * spacing, hermitian=True)
    mean = (weight * data).sum(1) / np.maximum(weight.sum(1), 1e-9)
    total = (weight * (data - mean[:, None]) ** 2).sum(1)
    blank = np.where(finite, 1.0, np.nan)
    reach = np.minimum(place - distances_px[0], distances_px[-1] - place)
    return StepFits(
        place_px=place * blank,
        sigma_px=sigma * blank,
        sigma_sd_px=sigma * np.sqrt(np.maximum(variance * inverse[:, 3, 3], 0.0)) * blank,
        step=height * blank,
        residual=np.sqrt(variance) * blank,
        explained=(1 - cost / np.maximum(total, 1e-9)) * blank,
        complete=finite & (reach >= 2 * sigma),
    )


def _start(data: Array, distances_px: Array) -> tuple[Array, Array, Array, Array]:
    """Guess from the steepest place of the lightly smoothed line; the range around it sets the levels."""
    from scipy import ndimage

    spacing = float(distances_px[1] - distances_px[0])
    slope = ndimage.gaussian_filter1d(data, 1.0 / spacing, axis=1, order=1, mode="nearest") / spacing
    best = np.abs(slope).argmax(1)
    steepest = slope[np.arange(len(data)), best]
    place = distances_px[best]
    near = np.abs(distances_px - place[:, None]) <= 6.0
    top = np.where(near, data, -np.inf).max(1)
    bottom = np.where(near, data, np.inf).min(1)
    height = (top - bottom) * np.sign(steepest)
    sigma = np.abs(height) / (np.sqrt(2 * np.pi) * np.maximum(np.abs(steepest), 1e-6))
    low = np.where(height >= 0, bottom, top)
    return low, height, place, np.log(np.clip(sigma, 0.3, 8.0))


def _window(distances_px: Array, place: Array, sigma: Array) -> Array:
    half = np.maximum(_WINDOW_SD * sigma, _SHORTEST_WINDOW_PX)
    return (np.abs(distances_px - place[:, None]) <= half[:, None]).astype(float)


def _rise(distances_px: Array, line: Array) -> Array:
    """Give the share of its height that each line's step has reached at each distance, shape (n, k)."""
    from scipy import special

    return np.asarray(special.ndtr((distances_px - line[:, 2, None]) / np.exp(line[:, 3, None])))


def _normal_equations(
    data: Array, weight: Array, rise: Array, distances_px: Array, line: Array
) -> tuple[Array, Array]:
    """Give J' W J, shape (n, 4, 4), and J' W r, shape (n, 4), by low level, height, place and log sigma."""
    low, height, place = (line[:, k, None] for k in range(3))
    sigma = np.exp(line[:, 3, None])
    z = (distances_px - place) / sigma
    slope = height * np.exp(-0.5 * z * z) / np.sqrt(2 * np.pi)
    jacobian = np.stack([np.ones_like(z), rise, -slope / sigma, -slope * z], 2)
    weighted = (jacobian * weight[:, :, None]).transpose(0, 2, 1)
    return weighted @ jacobian, (weighted @ (data - low - height * rise)[:, :, None])[:, :, 0]


def _cost(data: Array, weight: Array, rise: Array, line: Array) -> Array:
    misfit = data - line[:, 0, None] - line[:, 1, None] * rise
    return np.asarray((weight * misfit**2).sum(1))
