r"""The sd that an offset can be expected to have, from how much enamel a depth map would show.

A fit has not been made yet, so its information is counted instead. Moving the teeth by t changes the map by
:math:`a = G_s * m`: the mask m of bare enamel, blurred as the sensor blurs (Gaussian G of sd s). Unknown
beside t are the head (one offset, two slopes), the blur itself, whose change moves the map by
:math:`D s \nabla^2 a` with the lips D in front of the teeth, and the lips' edges, which a solved skin has
wrong by some tenths of a millimetre: columns :math:`D (G_s * m' - a)` with the mask m' wider by a pixel above
and below, and shifted up by one. With noise of sd :math:`\sigma` that a Gaussian of sd :math:`\rho` made
smooth (:math:`4 \pi \rho^2` pixels count as one), slopes J and priors P,

.. math:: C = (J'J / (\sigma^2 \max(1, 4 \pi \rho^2)) + P)^{-1}, \quad sd(t)^2 = k^2 C_{tt} + f^2

The factor k and the floor f (what a wavy skin, and crowns that may not be the performer's, leave however much
enamel shows) were set on 10 simulated frames against the sd that the real fit states; `python -m
tests.coverage.choose --sd` holds them against others.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

LIP_STAND_MM = 7.0
"""Lips in front of the incisors: a round figure, no source."""
SKIN_RING_MM = 15.0
"""Skin that holds the head in the fit counts down within 20 mm of the teeth: about this much of it counts for
whole (our choice)."""
LIP_EDGE_MM = 0.2
"""How far off a solved lip's edge is: the order of the waves of a solved skin (our choice)."""
FACTOR, FLOOR_MM = 1.0, 0.12
"""Set on simulated takes beside the sd that the fit then stated (docs/decisions.md, "an expected sd is
counted, not fitted")."""
_WEAK = 1e-3
"""As good as no belief, without a matrix that cannot be inverted."""


@dataclass(frozen=True, slots=True)
class DepthQuality:
    """What a depth sensor makes of a mouth.

    Parameters
    ----------
    mm_per_px : float, of a depth pixel on the teeth
    noise_mm : float, sd of one pixel
    correlation_px : float, sd of the Gaussian filter that would make white noise so smooth, depth px
    smoothing_px, smoothing_sd_px : float, blur of the map, and how well it is known, depth px
    """

    mm_per_px: float
    noise_mm: float = 0.4
    correlation_px: float = 1.5
    smoothing_px: float = 2.0
    smoothing_sd_px: float = 0.7


def expected_sd_mm(
    enamel: NDArray[np.bool_],
    readings: NDArray[np.bool_] | None,
    quality: DepthQuality,
    *,
    mm_per_px: float,
) -> float | None:
    """Give the sampling sd that an offset could have, mm.

    Parameters
    ----------
    enamel : array of bool, shape (h, w)
        Bare enamel, in pixels of the picture.
    readings : array of bool, shape (h, w), or None
        Where the depth map has readings; None: everywhere.
    quality : DepthQuality
    mm_per_px : float, of ``enamel``

    Returns
    -------
    float, mm; None where no enamel shows

    Examples
    --------
    >>> teeth = np.zeros((120, 160), bool)
    >>> teeth[50:70, 30:130] = True
    >>> wide = expected_sd_mm(teeth, None, DepthQuality(0.5), mm_per_px=0.5)
    >>> teeth[58:70] = False
    >>> thin = expected_sd_mm(teeth, None, DepthQuality(0.5), mm_per_px=0.5)
    >>> wide < thin
    True
    """
    from scipy import ndimage

    if not enamel.any():
        return None
    shrink = mm_per_px / quality.mm_per_px
    pad = int(np.ceil(SKIN_RING_MM / mm_per_px))
    cut = _cut(enamel, pad)
    sharp = _resized(np.pad(enamel[cut].astype(np.float64), _missing(enamel, pad)), shrink)
    seen = np.ones_like(sharp)
    if readings is not None:
        seen = _resized(np.pad(readings[cut].astype(np.float64), _missing(enamel, pad), mode="edge"), shrink)
    blurred = ndimage.gaussian_filter(sharp, quality.smoothing_px)
    ring = ndimage.distance_transform_edt(sharp < 0.5) * quality.mm_per_px <= SKIN_RING_MM
    used = ring & (seen > 0.5)
    if not (used & (blurred > 0.5)).any():
        return None
    y, x = np.mgrid[0 : sharp.shape[0], 0 : sharp.shape[1]]
    wider = ndimage.grey_dilation(sharp, footprint=np.ones((3, 1)))
    edges = [ndimage.gaussian_filter(other, quality.smoothing_px) - blurred for other in (wider, _up(sharp))]
    columns = [
        blurred,
        np.ones_like(sharp),
        (x - x.mean()) / 30.0,
        (y - y.mean()) / 30.0,
        LIP_STAND_MM * quality.smoothing_px * ndimage.laplace(blurred),
        *(LIP_STAND_MM * edge for edge in edges),
    ]
    slopes = np.stack([column[used] for column in columns], axis=1)
    count = max(1.0, 4 * np.pi * quality.correlation_px**2)
    edge_px = LIP_EDGE_MM / quality.mm_per_px
    prior = np.array([0, 0, 0, 0, 1 / quality.smoothing_sd_px**2, 1 / edge_px**2, 1 / edge_px**2]) + _WEAK
    information = slopes.T @ slopes / (quality.noise_mm**2 * count) + np.diag(prior)
    variance = float(np.linalg.inv(information)[0, 0])
    return float(np.sqrt(FACTOR**2 * variance + FLOOR_MM**2))


def _up(mask: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.concatenate([mask[1:], mask[-1:]])


def _cut(mask: NDArray[np.bool_], pad: int) -> tuple[slice, slice]:
    rows, columns = np.flatnonzero(mask.any(1)), np.flatnonzero(mask.any(0))
    return (
        slice(max(0, int(rows[0]) - pad), int(rows[-1]) + pad + 1),
        slice(max(0, int(columns[0]) - pad), int(columns[-1]) + pad + 1),
    )


def _missing(mask: NDArray[np.bool_], pad: int) -> tuple[tuple[int, int], tuple[int, int]]:
    """Give how many rows and columns of the ring lie outside the picture, before and after."""
    rows, columns = np.flatnonzero(mask.any(1)), np.flatnonzero(mask.any(0))
    return (
        (max(0, pad - int(rows[0])), max(0, int(rows[-1]) + pad + 1 - mask.shape[0])),
        (max(0, pad - int(columns[0])), max(0, int(columns[-1]) + pad + 1 - mask.shape[1])),
    )


def _resized(plane: NDArray[np.float64], factor: float) -> NDArray[np.float64]:
    """Bring a plane onto the depth map's grid, averaging where it gets smaller."""
    import cv2

    size = (max(1, round(plane.shape[1] * factor)), max(1, round(plane.shape[0] * factor)))
    way = cv2.INTER_AREA if factor < 1 else cv2.INTER_LINEAR
    return np.asarray(cv2.resize(plane, size, interpolation=way), dtype=np.float64)
