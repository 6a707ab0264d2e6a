"""One frame against all others: how far it stands apart from them, and what they say without it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bite.errors import DegenerateGeometryError
from bite.stats.estimate import Estimate
from bite.stats.spread import SpreadNodes
from bite.together.added_information import Marginal, Shared, add_information, apart_from
from bite.together.added_offset import likely_spread, offset_of, shares_at


@dataclass(frozen=True, slots=True)
class Without:
    """One frame held against all others.

    Parameters
    ----------
    apart : Estimate or None, mm forward that the frame's teeth stand ahead of the others'; None where the
    frame alone cannot tell
    chance : float, of as much by accident, along forward or across it
    offset : Estimate or None, the shared offset without this frame; None where the rest leaves it open
    """

    apart: Estimate | None
    chance: float
    offset: Estimate | None


def held_apart(
    fitted: bool,
    marginals: Sequence[Marginal],
    number: int,
    shared: Shared,
    nodes: SpreadNodes,
) -> Without:
    """Hold one frame against all others.

    Parameters
    ----------
    fitted : bool, whether the frame has an offset of its own
    marginals : sequence of Marginal, of all frames
    number : int, which frame
    shared : Shared
    nodes : SpreadNodes
    """
    from scipy.special import chdtrc, ndtr

    others = [one for k, one in enumerate(marginals) if k != number]
    placed = [one.placed for one in others]
    try:
        rest = add_information(others, shared, nodes)
    except DegenerateGeometryError:
        return Without(None, 1.0, None)
    chance = rest.chance
    left, _ = offset_of(placed, rest, shares_at(placed, shared, likely_spread(rest, nodes))[0])
    aside, scatter = apart_from(marginals, number, shared, nodes, (1, 2))
    far = np.einsum("gi,gij,gj->g", aside, np.linalg.inv(scatter), aside)
    across = float(chance @ chdtrc(2, far))
    if not fitted:
        return Without(None, across, left)
    shift, scatter = apart_from(marginals, number, shared, nodes, (0,))
    off, sd = shift[:, 0], np.sqrt(scatter[:, 0, 0])
    along = float(chance @ (2.0 * ndtr(-np.abs(off) / sd)))
    value = float(chance @ off)
    total = float(np.sqrt(chance @ (sd**2 + (off - value) ** 2)))
    return Without(Estimate(value, total), min(1.0, 2.0 * min(along, across)), left)
