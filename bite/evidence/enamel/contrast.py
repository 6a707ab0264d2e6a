"""How much a region looks like enamel beside what surrounds it: brighter, and less red than lips and skin."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from bite.evidence.picture.effective_count import effective_count
from bite.evidence.picture.luminance import Mask, Picture, box_around, check_picture, cie_lab, is_gray
from bite.geometry.rigid import Array


class ContrastBasis(StrEnum):
    """What the comparison could use."""

    COLOUR = "lightness and redness"
    LIGHTNESS = "lightness alone"


@dataclass(frozen=True, slots=True)
class EnamelContrast:
    """A region against its surroundings, positive where the region is the more tooth-like.

    Parameters
    ----------
    basis : ContrastBasis
    lighter, lighter_sd : float
        Difference of mean L* in pooled sd, and its sd.
    less_red, less_red_sd : float or None
        Mean a* of the surroundings minus that of the region, in pooled sd; None for a gray picture.
    separability, separability_sd : float
        Chance that a pixel of the region is more tooth-like than one of the surroundings (area under the ROC
        curve): 1 apart, 0.5 alike, below 0.5 the surroundings are the more tooth-like.
    region_pixels, surround_pixels : int
    """

    basis: ContrastBasis
    lighter: float
    lighter_sd: float
    less_red: float | None
    less_red_sd: float | None
    separability: float
    separability_sd: float
    region_pixels: int
    surround_pixels: int


def ring_around(mask: Mask, *, guard_px: float, width_px: float) -> Mask:
    """Give the pixels between ``guard_px`` and ``guard_px + width_px`` away from a mask.

    The guard keeps the mask's own blurred edge, and small errors of its place, out of the ring.
    """
    ring = np.zeros(mask.shape, bool)
    if not mask.any():
        return ring
    from scipy import ndimage

    box = box_around(mask, int(np.ceil(guard_px + width_px)) + 1)
    away = ndimage.distance_transform_edt(~mask[box])
    ring[box] = (away > guard_px) & (away <= guard_px + width_px)
    return ring


def enamel_contrast(picture: Picture, mask: Mask, surround: Mask) -> EnamelContrast:
    """Compare a region with its surroundings.

    The score is fixed beforehand: lightness and lack of redness, each over its own pooled sd, added. A
    direction fitted to the same pixels would always find the two apart.

    Parameters
    ----------
    picture : array, shape (h, w, 3), uint8, RGB
    mask, surround : array, shape (h, w), bool
        The region, and what it is held against, such as ``ring_around`` it without other teeth. Shared pixels
        count as region.

    Raises
    ------
    ValueError
        When either holds fewer than 10 pixels or does not fit the picture.

    Notes
    -----
    Source: Hanley & McNeil 1982, Radiology 143:29-36 (sd of the area under the ROC curve), from memory, with
    effective instead of full counts.
    """
    check_picture(picture, mask)
    check_picture(picture, surround)
    surround = surround & ~mask
    for name, pixels in (("region", int(mask.sum())), ("surroundings", int(surround.sum()))):
        if pixels < 10:
            raise ValueError(f"the {name} hold {pixels} pixels, needed 10 or more")
    box = box_around(mask | surround)
    cut, inside, outside = picture[box], mask[box], surround[box]
    lab = cie_lab(cut)
    gray = is_gray(cut[inside | outside])
    lighter, counts = lab[..., 0], _Counts.of(lab[..., 0], inside, outside)
    light_difference, light_sd = _difference(lighter, inside, outside, counts)
    score = lighter / _pooled_sd(lighter, inside, outside)
    less_red: float | None = None
    less_red_sd: float | None = None
    if not gray:
        paleness = -lab[..., 1]
        red_counts = _Counts.of(paleness, inside, outside)
        less_red, less_red_sd = _difference(paleness, inside, outside, red_counts)
        score = score + paleness / _pooled_sd(paleness, inside, outside)
        counts = _Counts.of(score, inside, outside)
    area = _roc_area(score[inside], score[outside])
    return EnamelContrast(
        basis=ContrastBasis.LIGHTNESS if gray else ContrastBasis.COLOUR,
        lighter=light_difference,
        lighter_sd=light_sd,
        less_red=less_red,
        less_red_sd=less_red_sd,
        separability=area,
        separability_sd=_roc_area_sd(area, counts),
        region_pixels=int(inside.sum()),
        surround_pixels=int(outside.sum()),
    )


@dataclass(frozen=True, slots=True)
class _Counts:
    region: float
    surround: float

    @classmethod
    def of(cls, values: Array, inside: Mask, outside: Mask) -> _Counts:
        return cls(effective_count(values, inside), effective_count(values, outside))


def _pooled_sd(values: Array, inside: Mask, outside: Mask) -> float:
    # half a level of storage noise keeps flat test pictures from dividing by zero
    return float(np.sqrt(0.5 * (values[inside].var() + values[outside].var()) + 0.25 / 12))


def _difference(values: Array, inside: Mask, outside: Mask, counts: _Counts) -> tuple[float, float]:
    """Give the standardised difference of means, and its sd (Hedges & Olkin, large samples, from memory)."""
    d = float((values[inside].mean() - values[outside].mean()) / _pooled_sd(values, inside, outside))
    total = counts.region + counts.surround
    variance = total / (counts.region * counts.surround) + d * d / (2 * total)
    return d, float(np.sqrt(variance))


def _roc_area(inside: Array, outside: Array) -> float:
    ordered = np.sort(outside)
    below = np.searchsorted(ordered, inside, "left")
    equal = np.searchsorted(ordered, inside, "right") - below
    return float((below + 0.5 * equal).mean() / len(outside))


def _roc_area_sd(area: float, counts: _Counts) -> float:
    n, m = counts.region, counts.surround
    # one half observation on the wrong side: an area of exactly 0 or 1 is not known exactly
    a = min(max(area, 0.5 / (n * m + 1)), 1 - 0.5 / (n * m + 1))
    q1, q2 = a / (2 - a), 2 * a * a / (1 + a)
    variance = (a * (1 - a) + max(n - 1, 0) * (q1 - a * a) + max(m - 1, 0) * (q2 - a * a)) / (n * m)
    return float(np.sqrt(max(variance, 0.0)))
