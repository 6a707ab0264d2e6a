"""Pool several takes of one performer: a mean, and how much the takes differ beyond their own errors.

One frame cannot show how much a bite varies from take to take; with a single take that spread is unknown,
never zero.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from bite.errors import DegenerateGeometryError, NotConvergedError
from bite.geometry.rigid import Array, frozen

Interval = tuple[float, float]


class Spread(StrEnum):
    """How the variance between takes is found."""

    FIXED = "fixed"
    """taken as zero: one true value, the takes differ by their own errors alone"""
    DERSIMONIAN_LAIRD = "DerSimonian-Laird"
    PAULE_MANDEL = "Paule-Mandel"


@dataclass(frozen=True, slots=True)
class Pooled:
    """A pooled value, in the unit of the data.

    ``tau`` is the sd between takes. ``tau``, ``q_p``, ``i2`` and ``h2`` are None with one take: not measured.
    ``prediction`` is where the next take's true value is to be expected; it needs three takes. ``i2`` is a
    share, 0 to 1.
    """

    spread: Spread
    k: int
    mean: float
    se: float
    interval: Interval
    tau: float | None
    q: float
    dof: int
    q_p: float | None
    i2: float | None
    h2: float | None
    prediction: Interval | None
    weights: Array
    """normalised to sum 1, shape (k,), read-only"""


def pool(
    values: Array,
    sds: Array,
    *,
    spread: Spread = Spread.PAULE_MANDEL,
    hartung_knapp: bool = False,
    confidence: float = 0.95,
) -> Pooled:
    """Pool values with known sampling sds.

    Parameters
    ----------
    values, sds : array, shape (k,), one unit, sds above 0
    spread : Spread
    hartung_knapp : bool
        Take the se from the weighted scatter and the interval from Student's t with k - 1 degrees of freedom.
        Prefer it with few takes. On 4000 simulated casts of 3, 5 and 10 takes (tau 0.3, sds 0.1 to 0.2) the
        Gaussian 95 % interval held the truth in 84, 88 and 92 %, this one in 94, 94 and 95 %. Needs
        two takes. The scatter is used as it is found, also where it makes the interval shorter.
    confidence : float

    Raises
    ------
    DegenerateGeometryError
        With no values, unequal lengths, sds not above 0, or Hartung-Knapp on a single take.

    Source: DerSimonian & Laird 1986; Paule & Mandel 1982; Hartung & Knapp 2001; prediction by Higgins,
    Thompson & Spiegelhalter 2009 (citations from memory); figures checked against reference/kacker_2004.toml
    and reference/bcg.toml.

    Examples
    --------
    >>> found = pool(np.array([3.0, 2.0]), np.array([1.0, 0.5]), spread=Spread.FIXED)
    >>> round(found.mean, 6), round(found.se, 6)
    (2.2, 0.447214)
    >>> pool(np.array([1.4]), np.array([0.1])).tau is None
    True
    """
    from scipy.special import chdtrc, ndtri, stdtrit

    y, v = _checked(values, sds)
    if not 0 < confidence < 1:
        raise ValueError(f"confidence: needed a share between 0 and 1, got {confidence}")
    k, tail = len(y), 0.5 + 0.5 * confidence
    if hartung_knapp and k < 2:
        raise DegenerateGeometryError("pooling: Hartung-Knapp needs two takes or more, got 1")
    q = _scatter(y, v, 0.0)
    tau2 = _tau2(y, v, spread)
    weights = 1.0 / (v + tau2)
    mean = float((weights * y).sum() / weights.sum())
    if hartung_knapp:
        se = float(np.sqrt(_scatter(y, v, tau2) / ((k - 1) * weights.sum())))
        factor = float(stdtrit(k - 1, tail))
    else:
        se, factor = float(1.0 / np.sqrt(weights.sum())), float(ndtri(tail))
    prediction = None
    if k >= 3:
        reach = float(stdtrit(k - 2, tail)) * float(np.sqrt(tau2 + se**2))
        prediction = (mean - reach, mean + reach)
    several = k > 1
    return Pooled(
        spread=spread,
        k=k,
        mean=mean,
        se=se,
        interval=(mean - factor * se, mean + factor * se),
        tau=float(np.sqrt(tau2)) if several else None,
        q=q,
        dof=k - 1,
        q_p=float(chdtrc(k - 1, q)) if several else None,
        i2=max(0.0, 1.0 - (k - 1) / q) if several and q > 0 else (0.0 if several else None),
        h2=q / (k - 1) if several else None,
        prediction=prediction,
        weights=frozen(weights / weights.sum()),
    )


def _tau2(y: Array, v: Array, spread: Spread) -> float:
    """Give the variance between takes; 0 for a single take, where no estimate exists."""
    k = len(y)
    if k < 2 or spread is Spread.FIXED:
        return 0.0
    if spread is Spread.DERSIMONIAN_LAIRD:
        w = 1.0 / v
        excess = _scatter(y, v, 0.0) - (k - 1)
        return max(0.0, float(excess / (w.sum() - (w**2).sum() / w.sum())))
    return _paule_mandel(y, v)


def _paule_mandel(y: Array, v: Array) -> float:
    """Find the tau^2 at which the weighted scatter equals its expectation k - 1; 0 where it starts below."""
    excess = _scatter(y, v, 0.0) - (len(y) - 1)
    tau2 = 0.0
    if excess <= 0:
        return 0.0
    # the scatter falls and is convex in tau^2, so Newton from 0 climbs to the root without passing it
    for _ in range(200):
        w = 1.0 / (v + tau2)
        mean = (w * y).sum() / w.sum()
        excess = float((w * (y - mean) ** 2).sum()) - (len(y) - 1)
        step = excess / float((w**2 * (y - mean) ** 2).sum())
        tau2 += step
        if abs(step) <= 1e-14 * tau2:
            return tau2
    if abs(excess) <= 1e-9 * len(y):
        return tau2
    raise NotConvergedError(f"Paule-Mandel: 200 steps did not settle, scatter still {excess:.1e} off")


def _scatter(y: Array, v: Array, tau2: float) -> float:
    w = 1.0 / (v + tau2)
    return float((w * (y - (w * y).sum() / w.sum()) ** 2).sum())


def _checked(values: Array, sds: Array) -> tuple[Array, Array]:
    y, sd = np.asarray(values, float), np.asarray(sds, float)
    if y.ndim != 1 or y.shape != sd.shape or not len(y):
        raise DegenerateGeometryError(
            f"pooling: needed values and sds of one length, got {y.shape} and {sd.shape}"
        )
    if not (np.isfinite(y).all() and np.isfinite(sd).all() and (sd > 0).all()):
        raise DegenerateGeometryError("pooling: needed finite values, and sds above 0")
    return y, sd**2
