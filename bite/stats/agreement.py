"""How well repeated measurements agree: limits of agreement, method error and intraclass correlation."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from bite.errors import DegenerateGeometryError
from bite.geometry.rigid import Array

Interval = tuple[float, float]


@dataclass(frozen=True, slots=True)
class BlandAltman:
    """Bias between two sets of measurements and the limits that hold most differences, in their unit.

    ``lower_interval`` and ``upper_interval`` are confidence intervals of the limits themselves: with few
    pairs they are wide, and limits quoted without them say more than is known.
    """

    n: int
    bias: float
    sd: float
    lower: float
    upper: float
    bias_se: float
    limit_se: float
    bias_interval: Interval
    lower_interval: Interval
    upper_interval: Interval


def bland_altman(
    first: Array, second: Array, *, limit_factor: float = 1.96, confidence: float = 0.95
) -> BlandAltman:
    """Compare paired measurements by their differences, first minus second.

    Assumes differences whose size does not grow with what is measured, one pair a subject.

    Parameters
    ----------
    first, second : array, shape (n,), one unit, the same subjects in the same order
    limit_factor : float
        Limits are bias +- this many sd. The 1986 paper rounds it to 2.
    confidence : float
        Of the three intervals, by Student's t with n - 1 degrees of freedom.

    Raises
    ------
    DegenerateGeometryError
        With fewer than two pairs, unequal lengths or values that are not finite.

    Source: Bland & Altman 1986, with their approximation se(limit) = sqrt(3 / n) sd
    (reference/bland_altman_1986.toml).

    Examples
    --------
    >>> found = bland_altman(np.array([2.0, 3.0, 4.0]), np.array([1.0, 3.0, 5.0]))
    >>> found.bias, found.sd
    (0.0, 1.0)
    """
    from scipy.special import stdtrit

    difference = _differences(first, second, least=2)
    _check_confidence(confidence)
    n = len(difference)
    bias, sd = float(difference.mean()), float(difference.std(ddof=1))
    bias_se, limit_se = sd / np.sqrt(n), sd * np.sqrt(3.0 / n)
    t = float(stdtrit(n - 1, 0.5 + 0.5 * confidence))
    lower, upper = bias - limit_factor * sd, bias + limit_factor * sd
    return BlandAltman(
        n=n,
        bias=bias,
        sd=sd,
        lower=lower,
        upper=upper,
        bias_se=float(bias_se),
        limit_se=float(limit_se),
        bias_interval=_around(bias, t * bias_se),
        lower_interval=_around(lower, t * limit_se),
        upper_interval=_around(upper, t * limit_se),
    )


def dahlberg(first: Array, second: Array) -> float:
    """Give the method error of duplicate measurements, sqrt(sum d^2 / 2n), in the unit of the data.

    A steady shift between the two sittings is absorbed and passes for random error, so quote the bias beside
    it.

    Raises
    ------
    DegenerateGeometryError
        With no pairs, unequal lengths or values that are not finite.

    Source: Dahlberg 1940; Houston 1983 (reference/dahlberg.toml).

    Examples
    --------
    >>> round(dahlberg(np.array([8.51, 8.62, 8.33, 8.95, 8.70]), np.array([8.55, 8.58, 8.41, 8.90, 8.66])), 6)
    0.037014
    """
    difference = _differences(first, second, least=1)
    return float(np.sqrt((difference**2).sum() / (2 * len(difference))))


class IccForm(StrEnum):
    """Which judges, and whether one rating or the mean of k is meant."""

    ONE_WAY_SINGLE = "ICC(1,1)"
    """each target rated by judges of its own"""
    RANDOM_SINGLE = "ICC(2,1)"
    """the same judges rate all targets, and stand for others: absolute agreement"""
    FIXED_SINGLE = "ICC(3,1)"
    """the same judges rate all targets, and only they matter: consistency"""
    ONE_WAY_MEAN = "ICC(1,k)"
    RANDOM_MEAN = "ICC(2,k)"
    FIXED_MEAN = "ICC(3,k)"


@dataclass(frozen=True, slots=True)
class Icc:
    """One intraclass correlation with its confidence interval, and the F test of no correlation.

    The value may be negative: then targets differ less than judges do, and it means 'no agreement'.
    """

    form: IccForm
    value: float
    interval: Interval
    f: float
    f_dof: tuple[int, int]
    p: float


@dataclass(frozen=True, slots=True)
class MeanSquares:
    """Two-way analysis of variance of a table of targets (rows) by judges (columns), one rating each."""

    between: float
    within: float
    judges: float
    error: float
    targets_n: int
    judges_n: int


def mean_squares(ratings: Array) -> MeanSquares:
    """Split the variation of a table of ratings, shape (targets, judges).

    Raises
    ------
    DegenerateGeometryError
        With fewer than two targets or judges, or gaps: a table with gaps has no such split.
    """
    table = np.asarray(ratings, float)
    if table.ndim != 2 or min(table.shape) < 2 or not np.isfinite(table).all():
        raise DegenerateGeometryError(
            f"agreement: needed a full table of at least 2 targets by 2 judges, got shape {table.shape}"
        )
    n, k = table.shape
    grand, rows, columns = table.mean(), table.mean(1), table.mean(0)
    between = k * ((rows - grand) ** 2).sum() / (n - 1)
    judges = n * ((columns - grand) ** 2).sum() / (k - 1)
    within = ((table - rows[:, None]) ** 2).sum() / (n * (k - 1))
    error = ((table - rows[:, None] - columns + grand) ** 2).sum() / ((n - 1) * (k - 1))
    return MeanSquares(float(between), float(within), float(judges), float(error), n, k)


def icc(ratings: Array, *, confidence: float = 0.95) -> dict[IccForm, Icc]:
    """Give all six intraclass correlations of a table of ratings, shape (targets, judges).

    Raises
    ------
    DegenerateGeometryError
        As for `mean_squares`, and when all repeats agree exactly, where no F ratio exists.

    Source: Shrout & Fleiss 1979 (reference/shrout_fleiss_1979.toml); the intervals of forms 1 and 3 are exact
    for Gaussian ratings, that of form 2 rests on Satterthwaite's approximation.

    Examples
    --------
    >>> table = np.array([[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8],
    ...                   [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]])
    >>> [round(found.value, 3) for found in icc(table).values()]
    [0.166, 0.29, 0.715, 0.443, 0.62, 0.909]
    """
    from scipy.special import fdtrc

    _check_confidence(confidence)
    squares = mean_squares(ratings)
    n, k = squares.targets_n, squares.judges_n
    b, w, j, e = squares.between, squares.within, squares.judges, squares.error
    if not (w > 1e-24 * (b + w) and e > 1e-24 * (b + j + e)):
        raise DegenerateGeometryError(
            "agreement: the judges agree exactly (up to a constant); no interval exists"
        )
    tail = 0.5 + 0.5 * confidence
    one_way = _ratio_interval(b / w, n - 1, n * (k - 1), tail)
    fixed = _ratio_interval(b / e, n - 1, (n - 1) * (k - 1), tail)
    random_value = (b - e) / (b + (k - 1) * e + k * (j - e) / n)
    random = _random_interval(squares, random_value, tail)
    of_one = {
        IccForm.ONE_WAY_SINGLE: ((b - w) / (b + (k - 1) * w), tuple((f - 1) / (f + k - 1) for f in one_way)),
        IccForm.RANDOM_SINGLE: (random_value, random),
        IccForm.FIXED_SINGLE: ((b - e) / (b + (k - 1) * e), tuple((f - 1) / (f + k - 1) for f in fixed)),
    }
    of_mean = {
        IccForm.ONE_WAY_MEAN: ((b - w) / b, tuple(1 - 1 / f for f in one_way)),
        IccForm.RANDOM_MEAN: ((b - e) / (b + (j - e) / n), tuple(k * r / (1 + (k - 1) * r) for r in random)),
        IccForm.FIXED_MEAN: ((b - e) / b, tuple(1 - 1 / f for f in fixed)),
    }
    found = {}
    for form, (value, (low, high)) in (of_one | of_mean).items():
        one = form in (IccForm.ONE_WAY_SINGLE, IccForm.ONE_WAY_MEAN)
        f, dof = (b / w, (n - 1, n * (k - 1))) if one else (b / e, (n - 1, (n - 1) * (k - 1)))
        found[form] = Icc(form, float(value), (float(low), float(high)), float(f), dof, float(fdtrc(*dof, f)))
    return found


def _ratio_interval(f: float, dof_top: int, dof_low: int, tail: float) -> Interval:
    """Give the interval of the true variance ratio behind an observed F."""
    from scipy.special import fdtri

    return f / float(fdtri(dof_top, dof_low, tail)), f * float(fdtri(dof_low, dof_top, tail))


def _random_interval(squares: MeanSquares, value: float, tail: float) -> Interval:
    from scipy.special import fdtri

    n, k = squares.targets_n, squares.judges_n
    b, j, e = squares.between, squares.judges, squares.error
    judge_f, spread = j / e, n * (1 + (k - 1) * value) - k * value
    top = (k - 1) * (n - 1) * (k * value * judge_f + spread) ** 2
    low = (n - 1) * k**2 * value**2 * judge_f**2 + spread**2
    dof = top / low
    above, below = float(fdtri(n - 1, dof, tail)), float(fdtri(dof, n - 1, tail))
    noise = k * j + (k * n - k - n) * e
    return n * (b - above * e) / (above * noise + n * b), n * (below * b - e) / (noise + n * below * b)


def _differences(first: Array, second: Array, *, least: int) -> Array:
    a, b = np.asarray(first, float), np.asarray(second, float)
    if a.ndim != 1 or a.shape != b.shape or len(a) < least:
        raise DegenerateGeometryError(
            f"agreement: needed two lists of one length, {least} or more, got {a.shape} and {b.shape}"
        )
    if not (np.isfinite(a).all() and np.isfinite(b).all()):
        raise DegenerateGeometryError(
            "agreement: the measurements are not all finite; leave out those not made"
        )
    return np.asarray(a - b)


def _check_confidence(confidence: float) -> None:
    if not 0 < confidence < 1:
        raise ValueError(f"confidence: needed a share between 0 and 1, got {confidence}")


def _around(value: float, half: float) -> Interval:
    return float(value - half), float(value + half)
