"""Whether the picture shows enamel where a mended model says it would, and did not before.

Only the pixels that change sides are asked: enamel of the mended model and of nothing before, or the other
way round. What enamel and what lips and gums look like here is read from the pixels on which both agree.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.evidence.enamel.contrast import ring_around
from bite.evidence.picture.effective_count import effective_count
from bite.evidence.picture.luminance import Picture, cie_lab, is_gray
from bite.geometry.rigid import Array
from bite.geometry.teeth import LOWER, UPPER

ROUND_MM = 5.0
"""What lies this near to the teeth says how everything but enamel looks (our choice)."""
LEAST_MM2 = 2.0
"""Less than this on the face changing sides is within what a blurred outline hides (our choice)."""
LEAST_APART = 1.0
"""Enamel and the rest must differ by this many of their common sd for a pixel to be told (our choice)."""


@dataclass(frozen=True, slots=True)
class PictureVote:
    """What the pixels say that change sides.

    Parameters
    ----------
    area_mm2 : float, how much of the face changes sides
    share, sd : float, share of it that looks as the mended model says, 0.5 being a draw, and its sd by the
        number of pixels that count as independent
    """

    area_mm2: float
    share: float
    sd: float

    @property
    def speaks(self) -> str:
        """For, against, or neither beyond two sd."""
        away = self.share - 0.5
        if abs(away) <= 2.0 * self.sd:
            return "neither way"
        return "for it" if away > 0 else "against it"


def picture_vote(
    picture: Picture, before: NDArray[np.integer], after: NDArray[np.integer], mm_per_px: float
) -> PictureVote | None:
    """Ask the picture which of two renderings of the teeth it shows.

    Parameters
    ----------
    picture : array, shape (h, w, 3), uint8, RGB
    before, after : array, shape (h, w), part numbers of the model as it was and as mended, -1 for nothing
    mm_per_px : float

    Returns
    -------
    PictureVote or None
        None where too little changes sides, or enamel and its surroundings look alike here.
    """
    was, now = (np.asarray((part == UPPER) | (part == LOWER)) for part in (before, after))
    changed = was ^ now
    area = float(changed.sum()) * mm_per_px**2
    agreed, beside = was & now, ring_around(was | now, guard_px=1.0, width_px=ROUND_MM / mm_per_px)
    beside &= (before >= 0) & (after >= 0)
    if area < LEAST_MM2 or agreed.sum() < 10 or beside.sum() < 10:
        return None
    lab = cie_lab(picture)
    score = _standard(lab[..., 0], agreed, beside)
    if not is_gray(picture[agreed | beside][None]):
        score = score + _standard(-lab[..., 1], agreed, beside)
    enamel, rest = float(np.median(score[agreed])), float(np.median(score[beside]))
    if enamel - rest < LEAST_APART:
        return None
    looks = score > 0.5 * (enamel + rest)
    right = np.where(changed, looks == now, False).astype(float)
    count = effective_count(right, changed)
    share = float(right[changed].mean())
    # half a pixel on either side: a share of exactly 0 or 1 is not known exactly
    spread = (share * count + 0.5) / (count + 1.0)
    return PictureVote(area, share, float(np.sqrt(spread * (1.0 - spread) / count)))


def _standard(values: Array, inside: NDArray[np.bool_], outside: NDArray[np.bool_]) -> Array:
    spread = np.sqrt(0.5 * (values[inside].var() + values[outside].var()) + 0.25 / 12)
    return np.asarray(values / spread)
