"""How much a closed bite differs from frame to frame beyond each frame's own error: belief and quadrature.

With two or three frames the spread between them is hardly told by the frames. Student's t with k - 1 degrees
of freedom (Hartung & Knapp) is honest there but 12.7 and 4.3 sds wide, so that two frames would say less
than one. So a belief about the spread is put in, and told: half a Student's t with 4 degrees of freedom and
scale 0.3 mm (our choice; no published spread of repeated solves was found). Its median is 0.22 mm, a tenth
of it lies above 0.64 mm: a heavy tail, so that frames far apart still widen the interval. Many frames
outvote it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bite.geometry.rigid import Array

SCALE_MM = 0.3
TAIL = 4
"""Degrees of freedom of the belief: the fewer, the heavier its tail (our choice)."""
_NODES = 40
_SIDE_NODES = 16


@dataclass(frozen=True, slots=True)
class Spread:
    """The spread between frames along forward, mm: middle and 95 % interval of what is believed of it."""

    median_mm: float
    interval_mm: tuple[float, float]


def half_t_nodes(count: int, scale: float = SCALE_MM) -> Array:
    """Give values of equal weight that stand for the belief, shape (count,), mm, rising.

    Examples
    --------
    >>> [round(float(x), 2) for x in half_t_nodes(3)]
    [0.07, 0.22, 0.51]
    """
    from scipy.special import stdtrit

    return np.asarray(scale * stdtrit(TAIL, 0.5 + 0.5 * (np.arange(count) + 0.5) / count))


def spread_nodes() -> Array:
    """Give nodes of equal weight over spreads along forward, right and up, shape (n, 3), mm.

    Right and up share one spread, which has the same belief but is its own.
    """
    forward, aside = np.meshgrid(half_t_nodes(_NODES), half_t_nodes(_SIDE_NODES), indexing="ij")
    return np.column_stack([forward.ravel(), aside.ravel(), aside.ravel()])


def spread_told(nodes_mm: Array, chances: Array) -> Spread:
    """Sum up the forward spread from nodes and their chances.

    Parameters
    ----------
    nodes_mm : array, shape (n, 3)
    chances : array, shape (n,), sum 1
    """
    order = np.argsort(nodes_mm[:, 0], kind="stable")
    at, risen = nodes_mm[order, 0], np.cumsum(chances[order])
    values, last = np.unique(at, return_index=True)
    ends = np.append(last[1:] - 1, len(at) - 1)
    below = risen[ends]
    middle = below - 0.5 * np.diff(np.concatenate([[0.0], below]))
    low, median, high = np.interp([0.025, 0.5, 0.975], middle, values)
    return Spread(float(median), (float(low), float(high)))
