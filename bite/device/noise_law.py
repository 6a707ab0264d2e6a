"""How noise grows with distance: a + b z^2, where the distances are far enough apart to tell."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bite.device.flat_noise import FlatNoise

_LEAST_RATIO = 1.15
"""Distances nearer to each other than this ratio tell no law (our choice)."""
_SURE_SD = 2.0
"""Growth with distance is told from two sds on (95 %)."""


@dataclass(frozen=True, slots=True)
class NoiseLaw:
    """Noise = a + b z^2, mm, with z in metres.

    Parameters
    ----------
    a_mm, a_sd_mm : float
    b_mm_per_m2, b_sd_mm_per_m2 : float
    points : int, distances it was fitted to
    chi_square : float or None, reduced; None where as many numbers as distances leave nothing to check
    grows : bool, b is above 0 by 2 sds or more
    nearest_mm, farthest_mm : float, the distances between which it was seen
    """

    a_mm: float
    a_sd_mm: float
    b_mm_per_m2: float
    b_sd_mm_per_m2: float
    points: int
    chi_square: float | None
    grows: bool
    nearest_mm: float
    farthest_mm: float


def noise_law(flats: Sequence[FlatNoise]) -> NoiseLaw | None:
    """Fit the law to flats at several distances, neither part below 0; None where they are too alike.

    The square is the law of triangulating sensors, whose error in disparity is even (see
    `tests/external/test_stereo_law.py`); the constant holds what does not grow.

    Examples
    --------
    >>> def flat(z, s): return FlatNoise(z, s, 0.01, 0.0, 0.2, 0.0, 0.0, 1000, 0.0, 0.1)
    >>> law = noise_law([flat(400.0, 0.26), flat(800.0, 0.74)])
    >>> round(law.a_mm, 3), round(law.b_mm_per_m2, 3), law.chi_square
    (0.1, 1.0, None)
    """
    from scipy.optimize import nnls

    z = np.array([flat.distance_mm for flat in flats]) / 1000
    noise = np.array([flat.noise_mm for flat in flats])
    sd = np.array([max(flat.noise_sd_mm, 1e-4) for flat in flats])
    if len(flats) < 2 or z.max() < _LEAST_RATIO * z.min():
        return None
    design = np.column_stack((np.ones_like(z), z**2)) / sd[:, None]
    (a, b), _ = nnls(design, noise / sd)
    covariance = np.linalg.inv(design.T @ design)
    freedom = len(flats) - 2
    left = float((((noise - a - b * z**2) / sd) ** 2).sum())
    chi = left / freedom if freedom else None
    scale = np.sqrt(max(1.0, chi)) if chi is not None else 1.0
    a_sd, b_sd = scale * np.sqrt(np.diag(covariance))
    return NoiseLaw(
        float(a),
        float(a_sd),
        float(b),
        float(b_sd),
        len(flats),
        chi,
        bool(b > _SURE_SD * b_sd),
        float(1000 * z.min()),
        float(1000 * z.max()),
    )
