"""The offset that frames add up to, and how far it follows each of them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from bite.geometry.rigid import Array
from bite.stats.estimate import Z95, Estimate
from bite.stats.spread import SpreadNodes, one_spread, spread_told
from bite.together.added_information import Added, Placed, Shared, add_information, marginal_of, shares


def likely_spread(added: Added, nodes: SpreadNodes) -> Array:
    """Give one spread that stands for all, shape (3,), mm: the middle, as the tail would rule the mean."""
    told = [spread_told(SpreadNodes(nodes.mm[:, [k, k, k]], nodes.weight), added.chance) for k in range(3)]
    return np.array([spread.median_mm for spread in told])


def shares_at(placed: Sequence[Placed], shared: Shared, likely: Array) -> tuple[Array, Added]:
    """Give how far the offset follows each frame where the spread is the likely one, and the sum there."""
    one = one_spread(likely)
    marginals = [marginal_of(p, one) for p in placed]
    added = add_information(marginals, shared, one)
    return shares(marginals, added), added


def offset_of(placed: Sequence[Placed], added: Added, share: Array) -> tuple[Estimate, float]:
    """Give the offset with the sd of its 95 % interval, and the variance that a common skin error adds."""
    by_skin = share * np.array([p.frame.skin_sd_mm for p in placed])
    # each frame counts its skin as its own already; one error in all frames would add up, not average out
    skin = float(max(by_skin.sum() ** 2 - (by_skin**2).sum(), 0.0))
    value = float(added.average[0])
    sds = np.sqrt(added.covariance[:, 0, 0] + skin)
    return Estimate(value, _half_width(added.chance, added.mean[:, 0] - value, sds) / Z95), skin


def _half_width(chance: Array, off: Array, sds: Array) -> float:
    """Find h with 95 % of a mixture of normals within h of zero."""
    from scipy.special import ndtr

    low, high = 0.0, float((np.abs(off) + 6.0 * sds).max())
    for _ in range(60):
        h = 0.5 * (low + high)
        inside = float(chance @ (ndtr((h - off) / sds) - ndtr((-h - off) / sds)))
        low, high = (h, high) if inside < 0.95 else (low, h)
    return 0.5 * (low + high)
