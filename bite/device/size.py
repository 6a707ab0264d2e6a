"""How far the filter reaches: the smoothing of each card, for the filter that all show, and of all."""

from __future__ import annotations

import numpy as np

from bite.device.edge_profile import FilterFit
from bite.device.flat_noise import FlatNoise, Mask
from bite.device.ties import median_reach
from bite.device.which_filter import CardEvidence, Verdict
from bite.geometry.rigid import Array

LEAST_SD_PX = 0.01
"""Nobody knows a blur better than this: kernels are sampled, and edges are cut no straighter (our choice)."""
_LEAST_MEDIAN_SD_PX, _UNKNOWN_MEDIAN_SD_PX = 0.1, 0.5
"""A median's window is an odd number of pixels: known nearly, or hardly where ties do not tell it."""
_SHAPE_UNSURE = 2.0
"""A shape that is off by some part of the way from Gaussian to box leaves twice that part of the difference
of their sizes open (our choice: two boxes of 3 px in a row pass for a Gaussian that is 5 % too wide)."""
_REACH_UNSURE, _REACH_UNKNOWN, _PROFILE_REACH_UNSURE = 0.2, 0.6, 0.3
"""Shares of an edge-preserving filter's reach that are left open by noise that passed it, by noise that may
not have, and by its profile (our choice, from simulated bilateral filters; see `tests.coverage.device`)."""
_SEEN_SD = 2.0
"""A swell beyond two sds is seen (95 %)."""


def smoothing_of_card(
    evidence: CardEvidence,
    verdict: Verdict,
    card: FlatNoise,
    wall: FlatNoise,
    ties: tuple[Array, Mask, float],
) -> tuple[float, float]:
    """Give one card's smoothing and its sd, px: the sd of the filter's window.

    Where Gaussian and box explain the edge alike, it is the mean of both, and their difference is in the sd.
    Where the step is sharp and nothing can be told, the sd reaches as far as the noise is correlated:
    whatever smoothed the noise may reach so far.

    Parameters
    ----------
    evidence : CardEvidence
    verdict : Verdict, of all cards
    card, wall : FlatNoise
    ties : (array, array of bool, float), depth map, the card's flat and the storage step, for `median_reach`
    """
    gauss, box = evidence.fits["gauss"], evidence.fits["box"]
    correlation = evidence.correlation_px
    if verdict.filter in ("gauss", "box"):
        size_px, own_sd = _with_sd(evidence.fits[verdict.filter])
        shape_sd = _SHAPE_UNSURE * verdict.off_share * abs(gauss.smoothing_px - box.smoothing_px)
        return size_px, float(np.hypot(own_sd, shape_sd))
    if verdict.filter == "median":
        reach = median_reach(*ties, card.noise_mm, card.correlation_px)
        if reach is None:
            return evidence.fits["median"].smoothing_px, _UNKNOWN_MEDIAN_SD_PX
        return reach[0], max(reach[1], _LEAST_MEDIAN_SD_PX)
    if verdict.filter == "edge-preserving" and not verdict.sharp:
        reach_px = evidence.fits["edge-preserving"].smoothing_px
        return reach_px, _PROFILE_REACH_UNSURE * reach_px
    if verdict.filter == "edge-preserving":
        # noise that passed the filter swells beside the edge; other noise says nothing of the filter's reach
        passed = evidence.swell - 1 > _SEEN_SD * evidence.swell_sd
        share = _REACH_UNSURE if passed else _REACH_UNKNOWN
        unsure = max(card.correlation_sd_px, wall.correlation_sd_px)
        return correlation, float(np.hypot(max(share * correlation, 0.1), unsure))
    value, sd = _with_sd(gauss)
    if verdict.sharp:
        return value, float(np.hypot(sd, correlation))
    other = _with_sd(box)[0]
    return 0.5 * (value + other), float(np.hypot(sd, 0.5 * (value - other)))


def _with_sd(fit: FilterFit) -> tuple[float, float]:
    """Give a blur and its sd from those of its variance, which stay of use where the blur comes near 0."""
    value = fit.smoothing_px
    sd = float(np.sqrt(value**2 + fit.variance_sd)) - value
    if value**2 > 2 * fit.variance_sd:
        sd = fit.variance_sd / (2 * value)
    return value, max(sd, LEAST_SD_PX)


def pooled(values: list[float], sds: list[float]) -> tuple[float, float, bool]:
    """Give the weighted mean, its sd and whether the values scatter by more than their sds.

    Where they do, the sd is widened by the root of the reduced chi-square (Birge 1932; from memory).
    """
    weight = 1 / np.square(sds)
    mean = float(np.average(values, weights=weight))
    sd = float(1 / np.sqrt(weight.sum()))
    if len(values) == 1:
        return mean, sd, False
    ratio = float(np.sqrt((weight * np.square(np.array(values) - mean)).sum() / (len(values) - 1)))
    return mean, sd * max(1.0, ratio), ratio > 2
