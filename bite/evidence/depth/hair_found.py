"""How far hair, or what else sets in at some distance from the lips, stands before the solved skin, mm."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bite.fit.offset import OffsetFit
from bite.fit.parameters import COUNT, P
from bite.fit.skin_moves import HAIR_STEPS_MM
from bite.stats.estimate import Estimate

SURE_SD = 3.0
"""As the check of hair: 1 in 370 by chance (our choice)."""


@dataclass(frozen=True, slots=True)
class HairFound:
    """What stands before the skin, on the side of the mouth where it is thickest for its sd.

    Parameters
    ----------
    above : bool, above the mouth or below it
    from_mm : float, distance from bare teeth where most of it sets in
    thickness : Estimate, mm, out of the skin positive
    without_sd_mm : float, the sd that the offset would have if the skin were known to be bare
    """

    above: bool
    from_mm: float
    thickness: Estimate
    without_sd_mm: float


def lips_beside_hair(lips: Estimate | None, hair: HairFound | None) -> Estimate | None:
    """Take from the lips what hair farther out explains: skin under hair reads too near.

    Parameters
    ----------
    lips : Estimate or None, mm, how far the solved lips stand before the measured ones, against farther skin
    hair : HairFound or None
    """
    if lips is None or hair is None or not hair.thickness.value > SURE_SD * hair.thickness.sd:
        return lips
    left = max(lips.value - hair.thickness.value, 0.0) if lips.value > 0 else lips.value
    return Estimate(left, float(np.hypot(lips.sd, hair.thickness.sd)))


def hair_found(fit: OffsetFit) -> HairFound | None:
    """Read the hair's unknowns of a fit; None without a depth map, or where no bare teeth were seen.

    Parameters
    ----------
    fit : OffsetFit
    """
    block = fit.depth_block
    if block is None or block.skin.mouth is None:
        return None
    solution = fit.solution
    places = solution.columns[solution.number_of(block)][COUNT + block.skin.hair.start :]
    count = len(HAIR_STEPS_MM)
    found = []
    for above, own in ((True, places[:count]), (False, places[count : 2 * count])):
        steps, covariance = solution.parameters[own], solution.bread[np.ix_(own, own)]
        # steps stay: what stands beyond the k-th is the sum of the first k
        for k in range(1, count + 1):
            sd = float(np.sqrt(max(covariance[:k, :k].sum(), 1e-12)))
            thickness = Estimate(float(steps[:k].sum()), sd)
            start = HAIR_STEPS_MM[int(np.argmax(np.abs(steps[:k])))][0]
            found.append((above, start, thickness))
    above, start, thickness = max(found, key=lambda one: abs(one[2].value) / one[2].sd)
    return HairFound(above, start, thickness, _sd_without(fit, places[: 2 * count]))


def _sd_without(fit: OffsetFit, places: np.ndarray) -> float:
    """Give the offset's sd for known hair: what the hair's unknowns bring is taken out of it."""
    bread, t = fit.solution.bread, P.FORWARD_MM
    mixed = bread[t, places]
    taken = float(mixed @ np.linalg.solve(bread[np.ix_(places, places)], mixed))
    share = max(1.0 - taken / float(bread[t, t]), 0.0)
    return float(fit.offset.sd * np.sqrt(share))
