"""How the enamel is lit in the picture: clipped bright, too dark, how bright, how even."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bite.evidence.picture.effective_count import effective_count
from bite.evidence.picture.luminance import Mask, Picture, box_around, check_picture, luminance

OVER_FROM, OVER_TO, UNDER_FROM, UNDER_TO = 247, 255, 0, 25
"""Source: ISO/IEC 29794-5 reference implementation, OverExposurePrevention and UnderExposurePrevention."""


@dataclass(frozen=True, slots=True)
class Share:
    """A share of pixels with its sd; ``effective_count`` is the number of independent pixels behind it."""

    value: float
    sd: float
    effective_count: float


@dataclass(frozen=True, slots=True)
class Exposure:
    """Exposure of one region; luminance from 0 to 255.

    ``largest_clipped_share`` is the largest connected over-exposed blob, as a share of the region, and
    ``largest_clipped_mm2`` its area when the scale was given: one glint is worse than nothing, but small.
    """

    pixels: int
    over: Share
    under: Share
    largest_clipped_share: float
    largest_clipped_mm2: float | None
    median_luminance: float
    median_sd: float


def exposure_of(
    picture: Picture,
    mask: Mask,
    *,
    mm_per_px: float | None = None,
) -> Exposure:
    """Measure how a region of enamel is lit.

    Parameters
    ----------
    picture : array, shape (h, w, 3), uint8, RGB
    mask : array, shape (h, w), bool
        Enamel pixels: rendered from the solved model, or built from the clicked corners.
    mm_per_px : float, optional

    Raises
    ------
    ValueError
        When the mask is empty or does not fit the picture.

    Notes
    -----
    sd of a share p: sqrt(q (1 - q) / (n + 1)) with q = (p n + 1/2) / (n + 1) and n the effective count, so
    that a share of 0 still has a sd. The overlap of two sparse histograms is biased low by about its own sd.
    Source: luminance bins and histogram overlap as in the ISO/IEC 29794-5 reference implementation; bins of 8
    levels instead of 1, because a tooth holds fewer pixels than a face.
    """
    check_picture(picture, mask)
    box = box_around(mask)
    light, inside = luminance(picture[box]), mask[box]
    # bins are whole levels: 246.6 is shown as 247
    level = np.floor(light + 0.5)
    over = inside & (level >= OVER_FROM) & (level <= OVER_TO)
    under = inside & (level >= UNDER_FROM) & (level <= UNDER_TO)
    values = light[inside]
    independent = effective_count(light, inside)
    largest = _largest_blob(over)
    spread = float(1.4826 * np.median(np.abs(values - np.median(values))))
    return Exposure(
        pixels=int(inside.sum()),
        over=_share(over, inside),
        under=_share(under, inside),
        largest_clipped_share=largest / int(inside.sum()),
        largest_clipped_mm2=None if mm_per_px is None else largest * mm_per_px**2,
        median_luminance=float(np.median(values)),
        # 1.2533: the median's sd over the mean's for Gaussian values; half a level is the storage step
        median_sd=float(np.hypot(1.2533 * spread / np.sqrt(independent), 1 / np.sqrt(12))),
    )


def _share(chosen: Mask, inside: Mask) -> Share:
    share = float(chosen.sum() / inside.sum())
    count = effective_count(chosen.astype(float), inside)
    softened = (share * count + 0.5) / (count + 1)
    return Share(share, float(np.sqrt(softened * (1 - softened) / (count + 1))), count)


def _largest_blob(chosen: Mask) -> int:
    if not chosen.any():
        return 0
    from scipy import ndimage

    labels, found = ndimage.label(chosen, structure=np.ones((3, 3), int))
    return int(np.bincount(labels.ravel(), minlength=found + 1)[1:].max())
