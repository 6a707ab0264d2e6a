"""Which cause explains best what is seen: score tests beside a fit that knows of no difference at all.

Under no difference U' M^-1 U of a cause's scores (``scores``) follows chi-square with as many degrees of
freedom as the cause has unknowns. One render thus serves all causes, on equal terms. What the ranking finds
is then fitted for good (``refit``): with large differences the slopes at no difference give wrong values.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from bite.fit.block import Block
from bite.fit.causes import UNKNOWNS, Cause
from bite.fit.parameters import COUNT, Prior
from bite.fit.solution import Solution
from bite.geometry.rigid import Array, frozen
from bite.opinion.cause_moves import with_cause
from bite.opinion.scores import CauseScores, fitted_without, prior_of_none, scores_of

ALARM = 0.05
"""A difference is told where chance would show one of this size in fewer than this share of frames."""
ALIKE = 0.9
"""Two causes look the same where the best combinations of their scores correlate by more than this (our
choice)."""
REFITTED = 3
"""So many of the causes beyond chance are fitted for good."""
ROUNDS, SETTLED_SD = 5, 0.15
"""A value stays where a round moves it by less than so much of its sd (our choice: it adds 1 % to the sd)."""
SLIDE_MM = 2.0
"""Teeth off sideways or upwards are off by about this (sd), as in the fit of the offset: without it a hidden
lower row could be said to stand anywhere."""
TOO_LARGE = {Cause.ROWS: 1.115, Cause.SCALE: 1.10}
"""Mean over freedom of the raw statistics of 1,000 clean computed frames (``tests.coverage.opinion``, seeds
from 7000), where the first 66, measured again on 2026-11-28, still show one above 1 (1.03 and 1.11); dividing
by it brings a statistic back to chi-square. Source of the method: Bartlett 1937, Proc. R. Soc. Lond. A
160:268-282 (from memory). Means below 1 are not divided away: computed frames hold no hair, no lips that slid
and no crowns of another mouth, which a statistic must allow for."""
_BARELY = 1e-3
"""A direction that keeps less than this share of its own scatter beside all others says nothing."""


@dataclass(frozen=True, slots=True)
class Left:
    """What is left beside one cause: for which other one, its chi-square, and the chance of as much."""

    cause: Cause
    statistic: float
    chance: float

    @property
    def beyond_chance(self) -> bool:
        """Whether that is beyond chance, all other causes looked at (Bonferroni)."""
        return self.chance * (len(UNKNOWNS) - 1) < ALARM


@dataclass(frozen=True, slots=True)
class Explained:
    """How well one cause explains what is seen.

    Parameters
    ----------
    cause : Cause
    value, sd : array, shape (k,), best value of each unknown by itself and its sd, units in
        ``causes.UNKNOWNS``; an infinite sd where this evidence does not see it
    statistic : float, how much better the cause explains depth and clicks than no difference: chi-square(k)
    chance : float, probability of as much without any difference
    weight : float, share among all causes and none, by BIC
    gain : mapping from kind of evidence to its share of the gain in likelihood; they add up to 1, and a
        negative one speaks against the cause
    alike : tuple of (Cause, float), causes that look the same, with the correlation
    leaves : tuple of Left, what this cause leaves for each other one, the least by chance first
    placed : array, shape (14,), or None: where a fit of its own put everything else; None where value, sd and
        leaves come from the slopes at no difference
    unsettled : bool, a fit of its own was tried and did not settle: the sd then holds the value itself
    """

    cause: Cause
    value: Array
    sd: Array
    statistic: float
    chance: float
    weight: float
    gain: dict[str, float]
    alike: tuple[tuple[Cause, float], ...]
    leaves: tuple[Left, ...]
    placed: Array | None = None
    unsettled: bool = False

    @property
    def refitted(self) -> bool:
        """Whether value, sd and leaves come from a fit of their own."""
        return self.placed is not None

    @property
    def unseen(self) -> bool:
        """Whether this evidence sees nothing of the cause."""
        return not bool(np.isfinite(self.sd).any())

    @property
    def left(self) -> Left:
        """What is left for the other cause that has most to add."""
        return self.leaves[0]

    @property
    def suffices(self) -> bool:
        """Whether nothing beyond chance is left once this cause is mended."""
        return not self.left.beyond_chance

    def needs(self, other: Explained) -> bool:
        """Whether another cause still has something to add, beyond chance, once this one is mended."""
        return any(left.cause is other.cause and left.beyond_chance for left in self.leaves)


@dataclass(frozen=True, slots=True)
class Explanations:
    """All causes, best first, the weight of no difference at all, and where its fit put everything else."""

    causes: tuple[Explained, ...]
    weight_of_none: float
    placed: Array | None = None

    @property
    def found(self) -> tuple[Explained, ...]:
        """Causes beyond chance, all of them looked at (Bonferroni), best first."""
        return tuple(e for e in self.causes if e.chance * len(self.causes) < ALARM)


def explain(blocks: Sequence[Block], prior: Prior, *, refits: int = REFITTED) -> Explanations:
    """Rank the causes of whatever difference there is between a solved model and what was seen.

    Parameters
    ----------
    blocks : sequence of Block
    prior : Prior, of the frame
    refits : int, so many of the causes beyond chance are fitted for good

    Raises
    ------
    DegenerateGeometryError
        When the blocks say nothing at all of where the teeth stand.
    """
    none = prior_of_none(prior)
    fitted = fitted_without(blocks, none)
    ranked = ranking(scores_of(fitted, none))
    refitted = {e.cause: refit(blocks, none, e, fitted) for e in ranked.found[:refits]}
    causes = tuple(refitted.get(e.cause, e) for e in ranked.causes)
    return replace(ranked, causes=causes, placed=frozen(fitted.parameters[:COUNT]))


def refit(blocks: Sequence[Block], none: Prior, found: Explained, fitted: Solution) -> Explained:
    """Fit one cause for good: move the model by its value, look again, until it stays.

    Each round fits all that is never known beside the moved model, so that hidden rims, noise and waves are
    those of the frame with the cause mended. A fit that does not settle gives the cause back as unsettled,
    with an sd that holds its value and all that it moved: slopes at no difference told 6 degrees as 2.4, and
    -8 % as +3.5. ``fitted`` is the fit without any cause: each round starts where the one before it ended.
    """
    own = _places()[found.cause]
    value = np.array(found.value)
    for _ in range(ROUNDS):
        moved, prior = with_cause(blocks, none, found.cause, value)
        fitted = fitted_without(moved, prior, fitted)
        scores = scores_of(fitted, prior)
        step, sd = _estimate(scores, found.cause, own, value)
        value = value + step
        if not np.isfinite(sd).all():
            break
        if (np.abs(step) <= SETTLED_SD * sd).all():
            leaves = _leaves(scores, found.cause)
            placed = frozen(fitted.parameters[:COUNT])
            return replace(found, value=frozen(value), sd=frozen(sd), leaves=leaves, placed=placed)
    reach = np.maximum(np.abs(found.value), np.abs(value - found.value))
    wide = np.hypot(found.sd, np.where(np.isfinite(reach), reach, np.abs(found.value)))
    return replace(found, sd=frozen(wide), unsettled=True)


def ranking(scores: CauseScores) -> Explanations:
    """Rank all causes by their scores at no difference."""
    from scipy.special import chdtrc

    score, meat = scores.score, scores.meat
    place = _places()
    statistic = {c: _quadratic(score[s], meat[s, s])[0] / TOO_LARGE.get(c, 1.0) for c, s in place.items()}
    estimate = {c: _estimate(scores, c, s, np.zeros(len(UNKNOWNS[c]))) for c, s in place.items()}
    price = np.log(max(scores.count, 2.0))
    bic = {
        c: value - len(UNKNOWNS[c]) * price if np.isfinite(estimate[c][1]).any() else -np.inf
        for c, value in statistic.items()
    }
    top = max(0.0, *bic.values())
    total = np.exp(-0.5 * top) + sum(np.exp(0.5 * (b - top)) for b in bic.values())
    out = []
    for cause, own in place.items():
        alike = []
        for other, theirs in place.items():
            if other is cause:
                continue
            shared = _correlation(meat[own, own], meat[own, theirs], meat[theirs, theirs])
            if shared > ALIKE:
                alike.append((other, shared))
        value, sd = estimate[cause]
        out.append(
            Explained(
                cause,
                frozen(value),
                frozen(sd),
                statistic[cause],
                float(chdtrc(len(UNKNOWNS[cause]), statistic[cause])),
                float(np.exp(0.5 * (bic[cause] - top)) / total),
                _gain(scores, own, value),
                tuple(sorted(alike, key=lambda pair: -pair[1])),
                _leaves(scores, cause),
            )
        )
    out.sort(key=lambda e: -bic[e.cause])
    return Explanations(tuple(out), float(np.exp(-0.5 * top) / total))


def _places() -> dict[Cause, slice]:
    place: dict[Cause, slice] = {}
    start = 0
    for cause, names in UNKNOWNS.items():
        place[cause] = slice(start, start + len(names))
        start += len(names)
    return place


def _estimate(scores: CauseScores, cause: Cause, own: slice, at: Array) -> tuple[Array, Array]:
    """Give how far to go from a value of a cause's unknowns, and the sd of where that leads.

    Unseen unknowns stay where they are, with infinite sd.
    """
    information, meat = scores.information[own, own], scores.meat[own, own]
    names = UNKNOWNS[cause]
    slides = [cause is not Cause.HEAD and name.endswith(("right, mm", "up, mm")) for name in names]
    held = np.diag(np.array(slides) / SLIDE_MM**2)
    seen = np.flatnonzero(np.diag(information) > 1e-9)
    step, sd = np.zeros(len(names)), np.full(len(names), np.inf)
    if seen.size:
        places = np.ix_(seen, seen)
        inverse = np.linalg.pinv((information + held)[places], hermitian=True)
        step[seen] = inverse @ (scores.score[own] - held @ at)[seen]
        variance = np.diag(inverse @ (meat + held)[places] @ inverse)
        sd[seen] = np.sqrt(np.maximum(variance, 0.0))
    return step, sd


def _gain(scores: CauseScores, own: slice, value: Array) -> dict[str, float]:
    """Give each kind of evidence's share of the gain in likelihood at the best value.

    Of each reading the predicted change is known, with all else following: 2 v'U - v'I v of each kind.
    """
    gained = {
        name: float(2.0 * value @ score[own] - value @ information[own, own] @ value)
        for name, (score, information) in scores.parts.items()
    }
    whole = sum(gained.values())
    return {name: one / whole if whole > 0 else 0.0 for name, one in gained.items()}


def _leaves(scores: CauseScores, cause: Cause) -> tuple[Left, ...]:
    """Find what each other cause has to add once one is allowed for, the least by chance first."""
    from scipy.special import chdtrc

    score, meat, place = scores.score, scores.meat, _places()
    own = place.pop(cause)
    inverse = np.linalg.pinv(meat[own, own], hermitian=True)
    out = []
    for other, theirs in place.items():
        carried = meat[theirs, own] @ inverse
        rest = score[theirs] - carried @ score[own]
        rest_meat = meat[theirs, theirs] - carried @ meat[own, theirs]
        statistic, freedom = _quadratic(rest, rest_meat, floor=np.diag(meat[theirs, theirs]))
        out.append(Left(other, statistic, float(chdtrc(freedom, statistic)) if freedom else 1.0))
    return tuple(sorted(out, key=lambda one: one.chance))


def _quadratic(score: Array, meat: Array, floor: Array | None = None) -> tuple[float, int]:
    """Give U' M^-1 U and its directions; those that hold almost nothing of their own are left out."""
    scale = np.sqrt(np.maximum(np.diag(meat) if floor is None else floor, 1e-300))
    values, vectors = np.linalg.eigh(meat / np.outer(scale, scale))
    along = vectors.T @ (score / scale)
    kept = values > _BARELY
    return float((along[kept] ** 2 / values[kept]).sum()), int(kept.sum())


def _correlation(own: Array, mixed: Array, other: Array) -> float:
    """Give the largest canonical correlation between two scores: 1 where one is part of the other."""
    first, second = np.linalg.pinv(own, hermitian=True), np.linalg.pinv(other, hermitian=True)
    values = np.linalg.eigvals(first @ mixed @ second @ mixed.T).real
    return float(np.sqrt(np.clip(values.max(), 0.0, 1.0)))
