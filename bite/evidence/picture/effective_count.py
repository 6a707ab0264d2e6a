"""How many independent pixels a region holds: neighbours repeat each other and must not count twice."""

from __future__ import annotations

import numpy as np

from bite.evidence.picture.luminance import Mask
from bite.geometry.rigid import Array


def effective_count(values: Array, mask: Mask) -> float:
    """Give the number of independent pixels among the masked ones, at least 1.

    The variance of a mean over n correlated pixels is sigma^2 / n times the sum of their autocorrelation.
    That sum is taken over the lags around zero, out to the ring where the mean correlation first falls below
    0.1; farther out it is noise.

    Parameters
    ----------
    values, mask : array, shape (h, w)
        Values outside the mask are ignored. Pass the box around the mask, not the whole picture.

    Returns
    -------
    float
        Between 1 and the number of masked pixels. Equal to that number where the values do not vary.

    Notes
    -----
    Source: Bayley & Hammersley 1946, J. R. Stat. Soc. Suppl. 8, 184 (effective number of independent
    observations in an autocorrelated series), from memory; carried over to two dimensions.

    Examples
    --------
    >>> rng = np.random.default_rng(0)
    >>> bool(effective_count(rng.normal(size=(40, 40)), np.ones((40, 40), bool)) > 1200)
    True
    """
    count = int(mask.sum())
    if count < 2:
        return float(max(count, 1))
    centred = np.where(mask, values - values[mask].mean(), 0.0)
    if not np.any(np.abs(centred) > 1e-9):
        return float(count)
    import cv2

    # scipy.fft knows the same numbers, but would be loaded for them alone; OpenCV came with the picture
    shape = tuple(cv2.getOptimalDFTSize(2 * n) for n in mask.shape)
    pairs = np.fft.irfft2(np.abs(np.fft.rfft2(mask.astype(float), shape)) ** 2, shape)
    products = np.fft.irfft2(np.abs(np.fft.rfft2(centred, shape)) ** 2, shape)
    correlation = np.where(pairs > 0.5, products / np.maximum(pairs, 0.5), 0.0)
    correlation /= correlation[0, 0]
    rows, columns = np.fft.fftfreq(shape[0], 1 / shape[0]), np.fft.fftfreq(shape[1], 1 / shape[1])
    ring = np.rint(np.hypot(rows[:, None], columns[None, :])).astype(int)
    weight = np.where(pairs > 0.5, pairs, 0.0)
    mean_by_ring = np.bincount(ring.ravel(), (weight * correlation).ravel()) / np.maximum(
        np.bincount(ring.ravel(), weight.ravel()), 1e-9
    )
    below = np.flatnonzero(mean_by_ring < 0.1)
    reach = int(below[0]) if below.size else len(mean_by_ring)
    area = float((correlation * weight)[ring < reach].sum() / weight[0, 0])
    return float(np.clip(count / max(area, 1.0), 1.0, count))
