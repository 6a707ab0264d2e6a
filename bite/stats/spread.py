"""How much a closed bite differs from frame to frame beyond each frame's own error: belief and quadrature.

With two or three frames the spread between them is hardly told by the frames. Student's t with k - 1 degrees
of freedom (Hartung & Knapp) is honest there but 12.7 and 4.3 sds wide, so that two frames would say less
than one. So a belief about the spread is put in, and told: half a Student's t with 4 degrees of freedom and
scale 0.4 mm along forward (our choice; no published spread of repeated solves was found). Its median is 0.30
mm, a tenth of it lies above 0.85 mm: a heavy tail, so that frames far apart still widen the interval. Many
frames outvote it. Sideways and upwards the cusps guide a closed bite more narrowly: scale 0.1 mm (our
choice).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bite.geometry.rigid import Array

SCALE_MM, ASIDE_SCALE_MM = 0.4, 0.1
"""Scale of the half t with 4 degrees of freedom, along forward and across (our choice, with the trials behind
it in docs/decisions.md, "a belief about the spread between bites")."""
TAIL = 4
"""Degrees of freedom of the belief: the fewer, the heavier its tail (our choice)."""
_NODES = 40
"""Nodes of the quadrature over the spread forward (our choice)."""
_ASIDE_NODES = 16
"""Fewer across it, for each of right and up: the offset hardly hangs on them (our choice)."""


@dataclass(frozen=True, slots=True)
class Spread:
    """The spread between frames along forward, mm: middle and 95 % interval of what is believed of it."""

    median_mm: float
    interval_mm: tuple[float, float]


@dataclass(frozen=True, slots=True)
class SpreadNodes:
    """Possible spreads between frames, and how much each is believed beforehand.

    Parameters
    ----------
    mm : array, shape (g, 3): sd along forward, right, up
    weight : array, shape (g,), above 0
    """

    mm: Array
    weight: Array


def one_spread(mm: Array) -> SpreadNodes:
    """Give nodes that hold one spread, as if it were known."""
    return SpreadNodes(np.asarray(mm, float).reshape(1, 3), np.ones(1))


def half_t_nodes(count: int, scale: float) -> tuple[Array, Array]:
    """Give values, mm, rising and far into the tail, and weights of sum 1 that stand for the belief.

    Examples
    --------
    >>> values, weights = half_t_nodes(40, 0.3)
    >>> bool(abs(weights[values < 0.222].sum() - 0.5) < 0.02), bool(values[-1] > 3.0)
    (True, True)
    """
    from scipy.special import stdtrit

    edges = np.arange(count + 1) / count
    below, middle = 1.0 - (1.0 - edges) ** 3, 1.0 - (1.0 - edges[:-1] - 0.5 / count) ** 3
    return np.asarray(scale * stdtrit(TAIL, 0.5 + 0.5 * middle)), np.diff(below)


def believed_spreads() -> SpreadNodes:
    """Give the belief: forward has one spread, right and up share another."""
    forward, forward_weight = half_t_nodes(_NODES, SCALE_MM)
    aside, aside_weight = half_t_nodes(_ASIDE_NODES, ASIDE_SCALE_MM)
    one, two = (grid.ravel() for grid in np.meshgrid(forward, aside, indexing="ij"))
    return SpreadNodes(np.column_stack([one, two, two]), np.outer(forward_weight, aside_weight).ravel())


def spread_told(nodes: SpreadNodes, chance: Array) -> Spread:
    """Sum up the forward spread.

    Parameters
    ----------
    nodes : SpreadNodes
    chance : array, shape (g,), sum 1
    """
    values, number = np.unique(nodes.mm[:, 0], return_inverse=True)
    own = np.bincount(number.ravel(), weights=chance)
    low, median, high = np.interp([0.025, 0.5, 0.975], np.cumsum(own) - 0.5 * own, values)
    return Spread(float(median), (float(low), float(high)))
