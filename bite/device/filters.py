"""Forward models: the step of a straight edge, integrated over each pixel's area, through four filters.

A depth pixel is an area: its reading is the mean over a unit square, which seen along the edge's normal is a
box of width |n_x| convolved with one of width |n_y|. A box filter of w x w pixels makes the square w times as
large, exactly. A Gaussian is convolved on top. All profiles run from 0 (card) to 1 (wall).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from bite.geometry.rigid import Array

Normal = tuple[float, float]
Profile = Callable[[Array], Array]
_LEAST_WIDTH_PX = 0.01
"""A window seen end on still has some width, or its profile would divide by 0."""
_LATTICE_ROWS = 64
"""Rows of a computed edge: every fraction of a pixel is met at these turns."""
_BINS_PER_PX = 8
"""Steps of a computed profile, straight lines between them: fine beside any map's noise (our choice)."""


def step_profile(
    distance_px: Array, normal: Normal, *, gauss_px: float = 0.0, window_px: float = 1.0
) -> Array:
    """Give the share of the wall in a pixel at a signed distance from the edge, 0 to 1.

    The double box is a second difference of the twofold integral of the Gaussian's distribution function, so
    that the profile is exact for every slope, and without a Gaussian a piecewise parabola.

    Parameters
    ----------
    distance_px : array, px, from the edge to the pixel's centre, positive on the wall
    normal : (float, float), the edge's unit normal, x right, y down
    gauss_px : float, sd of a Gaussian filter, px
    window_px : float, side of a box filter, px; 1 is the pixel itself

    Examples
    --------
    >>> step_profile(np.array([-1.0, 0.0, 1.0]), (0.995, 0.0998), gauss_px=1.5).round(3).tolist()
    [0.256, 0.5, 0.744]
    """
    wide, narrow = (max(abs(n) * window_px, _LEAST_WIDTH_PX) / 2 for n in normal)
    x = np.asarray(distance_px, dtype=np.float64)
    inside = np.clip(x, -(wide + narrow + 9 * gauss_px), wide + narrow + 9 * gauss_px)
    total = (
        _twofold(inside + wide + narrow, gauss_px)
        - _twofold(inside + wide - narrow, gauss_px)
        - _twofold(inside - wide + narrow, gauss_px)
        + _twofold(inside - wide - narrow, gauss_px)
    )
    return np.clip(total / (4 * wide * narrow), 0.0, 1.0)


def _twofold(x: Array, sd: float) -> Array:
    """Integrate the normal distribution function twice; without a Gaussian the step itself."""
    from scipy.special import ndtr

    if sd < 1e-6:
        return np.asarray(0.5 * np.maximum(x, 0.0) ** 2)
    z = x / sd
    density = np.exp(-0.5 * z**2) / np.sqrt(2 * np.pi)
    return np.asarray(0.5 * ((x**2 + sd**2) * ndtr(z) + sd * x * density))


def window_of(smoothing_px: float) -> float:
    """Give the side of the window whose taps have this sd, px: s^2 = (w^2 - 1) / 12."""
    return float(np.sqrt(12 * smoothing_px**2 + 1))


def smoothing_of(window_px: float) -> float:
    """Give the sd of a window's taps, px.

    Examples
    --------
    >>> [round(smoothing_of(w), 3) for w in (3, 5, 7)]
    [0.816, 1.414, 2.0]
    """
    return float(np.sqrt((window_px**2 - 1) / 12))


def median_profile(
    distance_px: Array, normal: Normal, *, window_px: float, noise: tuple[float, float]
) -> Array:
    """Give the mean profile behind a median filter of w x w pixels.

    A median passes a straight edge unchanged: the window is symmetric about its centre and the step rises
    steadily, so the middle reading is the centre's own. What changes is the mean of noisy readings: with the
    other side's readings in the window, the middle one of all is an outer one of its own side, and is pulled
    towards the other.

    Parameters
    ----------
    distance_px, normal : see `step_profile`
    window_px : float, side of the window, px
    noise : (float, float), noise sd behind the filter on card and wall, as shares of the step

    Source
    ------
    Expected order statistics: Blom 1958, Phi^-1((i - 3/8) / (n + 1/4)) (from memory). Sd of a median of n:
    sqrt(pi / (2 n + pi - 2)), which is 1 at n = 1 and tends to the textbook sqrt(pi / 2n).
    """
    from scipy.special import ndtri

    count = window_px**2
    raw = np.sqrt((2 * count + np.pi - 2) / np.pi)
    share = step_profile(distance_px, normal)
    rank = (count + 1) / 2
    pulls = []
    for side in (-1.0, 1.0):
        # readings that the edge cuts lie between both sides and count for neither
        away = side * np.asarray(distance_px) - 0.5
        own = count * step_profile(away, normal, window_px=window_px)
        pull = ndtri((rank - 0.375) / (np.maximum(own, rank) + 0.25))
        pulls.append(np.where(own >= rank - 0.5, np.maximum(pull, 0.0), 0.0))
    return np.asarray(share + raw * noise[0] * pulls[0] - raw * noise[1] * pulls[1])


def edge_preserving_profile(normal: Normal, *, reach_px: float, range_share: float) -> Profile:
    """Make the profile behind a bilateral filter, the plainest that keeps steps.

    Computed on a lattice of covered pixels without noise: a mean weighted by a Gaussian of the distance in
    pixels and one of the difference in depth. Readings half on the edge are drawn to the nearer side, so the
    profile is steeper than any linear filter's, and than the pixel's own.

    Parameters
    ----------
    normal : (float, float), the edge's unit normal
    reach_px : float, sd of the spatial Gaussian, px
    range_share : float, sd of the Gaussian of depth differences, as a share of the step

    Source
    ------
    Tomasi & Manduchi 1998, "Bilateral filtering for gray and color images" (from memory).
    """
    half = max(2, round(2.5 * reach_px))
    across = 2 * half + 3
    main, other = sorted(map(abs, normal), reverse=True)
    rows = np.arange(-half, _LATTICE_ROWS + half)
    reach = across + half + int(np.ceil(rows[-1] * other / main))
    columns = np.arange(-reach, reach + 1)
    distance = main * columns[None, :] + other * rows[:, None]
    step = step_profile(distance, (main, other))
    middle = step[half:-half]
    beside = np.pad(step, ((0, 0), (half, half)), mode="edge")
    value, weight = np.zeros_like(middle), np.zeros_like(middle)
    for dy in range(-half, half + 1):
        for dx in range(-half, half + 1):
            near = beside[half + dy : half + dy + len(middle), half + dx : half + dx + len(columns)]
            apart = (dx**2 + dy**2) / reach_px**2 + ((near - middle) / range_share) ** 2
            trust = np.exp(-0.5 * apart)
            value += trust * near
            weight += trust
    at, found = distance[half:-half].ravel(), (value / weight).ravel()
    bins = np.round(at[np.abs(at) <= across] * _BINS_PER_PX).astype(int)
    bins -= bins.min()
    counts = np.maximum(np.bincount(bins), 1)
    filled = np.bincount(bins) > 0
    mean_at = (np.bincount(bins, at[np.abs(at) <= across]) / counts)[filled]
    mean = (np.bincount(bins, found[np.abs(at) <= across]) / counts)[filled]

    def profile(distance_px: Array) -> Array:
        return np.asarray(np.interp(distance_px, mean_at, mean, left=0.0, right=1.0))

    return profile
