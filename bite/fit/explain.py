"""Which cause explains best what is seen: score tests beside a fit that knows of no difference at all.

Under no difference U' M^-1 U of a cause's scores (``scores``) follows chi-square with as many degrees of
freedom as the cause has unknowns. One render thus serves all causes, on equal terms. What the ranking finds
is then fitted for good (``refit``): with large differences the slopes at no difference give wrong values.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from bite.fit.cause_moves import with_cause
from bite.fit.causes import UNKNOWNS, Cause
from bite.fit.linear import Block
from bite.fit.parameters import Prior
from bite.fit.scores import CauseScores, fitted_without, prior_of_none, scores_of
from bite.geometry.rigid import Array, frozen

ALARM = 0.05
"""A difference is told where chance would show one of this size in fewer than this share of frames."""
ALIKE = 0.9
"""Two causes look the same where the best combinations of their scores correlate by more than this (our
choice)."""
REFITTED = 3
"""So many of the causes beyond chance are fitted for good."""
ROUNDS, SETTLED_SD = 5, 0.1
_BARELY = 1e-3
"""A direction that keeps less than this share of its own scatter beside all others says nothing."""


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
    left : float, statistic of what this cause leaves for the best other one
    refitted : bool, whether value and sd come from a fit of their own, and not from the slopes at no
        difference
    """

    cause: Cause
    value: Array
    sd: Array
    statistic: float
    chance: float
    weight: float
    gain: dict[str, float]
    alike: tuple[tuple[Cause, float], ...]
    left: float
    refitted: bool = False

    @property
    def unseen(self) -> bool:
        """Whether this evidence sees nothing of the cause."""
        return not bool(np.isfinite(self.sd).any())


@dataclass(frozen=True, slots=True)
class Explanations:
    """All causes, best first, and the weight of no difference at all."""

    causes: tuple[Explained, ...]
    weight_of_none: float

    @property
    def found(self) -> tuple[Explained, ...]:
        """Causes beyond chance, all of them looked at (Bonferroni), best first."""
        return tuple(e for e in self.causes if e.chance * len(self.causes) < ALARM)


def explain(blocks: Sequence[Block], prior: Prior) -> Explanations:
    """Rank the causes of whatever difference there is between a solved model and what was seen.

    Parameters
    ----------
    blocks : sequence of Block
    prior : Prior, of the frame

    Raises
    ------
    DegenerateGeometryError
        When the blocks say nothing at all of where the teeth stand.
    """
    none = prior_of_none(prior)
    ranked = ranking(scores_of(fitted_without(blocks, none), none))
    refitted = {e.cause: refit(blocks, none, e) for e in ranked.found[:REFITTED]}
    return replace(ranked, causes=tuple(refitted.get(e.cause, e) for e in ranked.causes))


def refit(blocks: Sequence[Block], none: Prior, found: Explained) -> Explained:
    """Fit one cause for good: move the model by its value, look again, until it stays.

    Each round fits all that is never known beside the moved model, so that hidden rims, noise and waves are
    those of the frame with the cause mended. A fit that does not settle gives the cause back as it was.
    """
    own = _places()[found.cause]
    value = np.array(found.value)
    for _ in range(ROUNDS):
        moved, prior = with_cause(blocks, none, found.cause, value)
        scores = scores_of(fitted_without(moved, prior), prior)
        step, sd = _estimate(scores, own)
        value = value + step
        if not np.isfinite(sd).all():
            return found
        if (np.abs(step) <= SETTLED_SD * sd).all():
            return replace(found, value=frozen(value), sd=frozen(sd), refitted=True)
    return found


def ranking(scores: CauseScores) -> Explanations:
    """Rank all causes by their scores at no difference."""
    from scipy.stats import chi2

    score, meat = scores.score, scores.meat
    place = _places()
    statistic = {c: _quadratic(score[s], meat[s, s]) for c, s in place.items()}
    bic = {
        c: value - len(UNKNOWNS[c]) * np.log(max(scores.count, 2.0)) for c, value in statistic.items()
    }
    top = max(0.0, *bic.values())
    total = np.exp(-0.5 * top) + sum(np.exp(0.5 * (b - top)) for b in bic.values())
    out = []
    for cause, own in place.items():
        alike, left = [], 0.0
        for other, theirs in place.items():
            if other is cause:
                continue
            shared = _correlation(meat[own, own], meat[own, theirs], meat[theirs, theirs])
            if shared > ALIKE:
                alike.append((other, shared))
            carried = meat[theirs, own] @ np.linalg.pinv(meat[own, own], hermitian=True)
            rest = score[theirs] - carried @ score[own]
            rest_meat = meat[theirs, theirs] - carried @ meat[own, theirs]
            left = max(left, _quadratic(rest, rest_meat, floor=np.diag(meat[theirs, theirs])))
        value, sd = _estimate(scores, own)
        out.append(
            Explained(
                cause,
                frozen(value),
                frozen(sd),
                statistic[cause],
                float(chi2.sf(statistic[cause], len(UNKNOWNS[cause]))),
                float(np.exp(0.5 * (bic[cause] - top)) / total),
                _gain(scores, own, value),
                tuple(sorted(alike, key=lambda pair: -pair[1])),
                left,
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


def _estimate(scores: CauseScores, own: slice) -> tuple[Array, Array]:
    """Give value and sd of a cause's unknowns by the slopes at hand; unseen ones stay 0 with infinite sd."""
    information, meat = scores.information[own, own], scores.meat[own, own]
    seen = np.flatnonzero(np.diag(information) > 1e-9)
    value, sd = np.zeros(len(information)), np.full(len(information), np.inf)
    if seen.size:
        inverse = np.linalg.pinv(information[np.ix_(seen, seen)], hermitian=True)
        value[seen] = inverse @ scores.score[own][seen]
        variance = np.diag(inverse @ meat[np.ix_(seen, seen)] @ inverse)
        sd[seen] = np.sqrt(np.maximum(variance, 0.0))
    return value, sd


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


def _quadratic(score: Array, meat: Array, floor: Array | None = None) -> float:
    """Give U' M^-1 U; directions that hold almost nothing of their own are left out."""
    scale = np.sqrt(np.maximum(np.diag(meat) if floor is None else floor, 1e-300))
    values, vectors = np.linalg.eigh(meat / np.outer(scale, scale))
    along = vectors.T @ (score / scale)
    kept = values > _BARELY
    return float((along[kept] ** 2 / values[kept]).sum())


def _correlation(own: Array, mixed: Array, other: Array) -> float:
    """Give the largest canonical correlation between two scores: 1 where one is part of the other."""
    first, second = np.linalg.pinv(own, hermitian=True), np.linalg.pinv(other, hermitian=True)
    values = np.linalg.eigvals(first @ mixed @ second @ mixed.T).real
    return float(np.sqrt(np.clip(values.max(), 0.0, 1.0)))
