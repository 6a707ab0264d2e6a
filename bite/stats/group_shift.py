"""The shift between the readings of two groups of performers, and whether it is more than chance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bite.geometry.rigid import Array
from bite.stats.pooling import Pooled, pool


@dataclass(frozen=True, slots=True)
class GroupShift:
    """Mean of the first group minus that of the second, its sd, and the chance of as much by accident."""

    difference: float
    sd: float
    chance: float


def group_shift(first: tuple[Array, Array], second: tuple[Array, Array]) -> GroupShift:
    """Compare two groups of independent values with sampling sds, in one unit.

    Each group is pooled with a variance of its own between its members and the Hartung-Knapp error; the
    difference is judged by Student's t with the degrees of freedom of the smaller group, which errs on the
    careful side.

    Parameters
    ----------
    first, second : (values, sds), each two arrays of one length, two members or more

    Raises
    ------
    DegenerateGeometryError
        As `pool`, and with one member in a group.

    Examples
    --------
    >>> low = (np.array([-0.5, -0.6, -0.4]), np.full(3, 0.1))
    >>> high = (np.array([0.4, 0.5, 0.6]), np.full(3, 0.1))
    >>> found = group_shift(low, high)
    >>> round(found.difference, 2), found.chance < 0.01
    (-1.0, True)
    """
    from scipy.special import stdtr

    one, two = pool(*first, hartung_knapp=True), pool(*second, hartung_knapp=True)
    # scatter smaller than the stated sds is luck: the error is not let below theirs
    sd = float(np.hypot(_error(one, first[1]), _error(two, second[1])))
    difference = one.mean - two.mean
    chance = 2.0 * float(stdtr(min(one.k, two.k) - 1, -abs(difference) / sd))
    return GroupShift(float(difference), sd, chance)


def _error(pooled: Pooled, sds: Array) -> float:
    return max(pooled.se, float(1.0 / np.sqrt((1.0 / np.asarray(sds) ** 2).sum())))
