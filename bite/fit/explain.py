"""Which cause explains best what is seen: score tests beside a fit that knows of no difference at all.

The fit that knows of none holds the teeth where they were solved and leaves free what is never known: the
sensor's
smoothing, its enamel bias and the place of the head within their priors, and the waves of the skin. The
score of every
cause is projected off those, and its covariance is the sandwich of the fit, so that under no difference
U' M^-1 U follows chi-square with as many degrees of freedom as the cause has unknowns.

Source: Rao's score test with a sandwich covariance (White 1982, Maximum likelihood estimation of
misspecified models,
Econometrica 50:1-25; from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from bite.errors import DegenerateGeometryError
from bite.fit.causes import UNKNOWNS, Cause, corner_slopes, depth_slopes, pinned_parameters
from bite.fit.corner_block import CornerBlock
from bite.fit.depth_block import DepthBlock
from bite.fit.linear import Block
from bite.fit.noise import correlated_meat
from bite.fit.parameters import COUNT, HEAD_SHIFT, HEAD_TURN, Prior
from bite.fit.solution import Solution
from bite.fit.solver import solve
from bite.geometry.rigid import Array, frozen

PINNED_SD = 1e-5
NEAR_MM, NEAR_DEG = 0.5, 0.5
"""A head within about this of its sensor is where it should be (our choice). One that was posed by landmarks
has a
wide prior of its own and keeps it."""
ALARM = 0.05
"""A difference is told where chance would show one of this size in fewer than this share of frames."""
ALIKE = 0.9
"""Two causes look the same where the best combinations of their scores correlate by more than this (our
choice)."""


@dataclass(frozen=True, slots=True)
class Explained:
    """How well one cause explains what is seen.

    Parameters
    ----------
    cause : Cause
    value, sd : array, shape (k,), best value of each unknown by itself and its sd, units in
    ``causes.UNKNOWNS``
    statistic : float, how much better the cause explains depth and clicks than no difference: chi-square(k)
    chance : float, probability of as much without any difference
    weight : float, share among all causes and none, by BIC
    by_block : mapping from kind of evidence to its share of the score, signed
    alike : tuple of (Cause, float), causes that look the same, with the correlation
    left : float, statistic of what this cause leaves for the best other one
    """

    cause: Cause
    value: Array
    sd: Array
    statistic: float
    chance: float
    weight: float
    by_block: dict[str, float]
    alike: tuple[tuple[Cause, float], ...]
    left: float


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
    blocks : sequence of Block, a depth map among them
    prior : Prior, of the frame

    Raises
    ------
    DegenerateGeometryError
        Without a depth map.
    """
    if not any(isinstance(block, DepthBlock) for block in blocks):
        raise DegenerateGeometryError("a second opinion needs a depth map beside a solved mesh")
    pinned = list(pinned_parameters())
    mean, sd = prior.mean.copy(), prior.sd.copy()
    mean[pinned], sd[pinned] = 0.0, PINNED_SD
    if (sd[HEAD_SHIFT] <= 1.0).all():
        sd[HEAD_SHIFT], sd[HEAD_TURN] = NEAR_MM, np.deg2rad(NEAR_DEG)
    none = replace(prior, mean=frozen(mean), sd=frozen(sd))
    solution = solve(blocks, none, np.where(np.isfinite(sd), mean, 0.0))
    return _ranked(*_scores(solution, none), _effective_count(solution))


def _effective_count(solution: Solution) -> float:
    return sum(
        float(block.linear_of(seen).weight.sum())
        for block, seen in zip(solution.blocks, solution.seen, strict=True)
    )


def _scores(solution: Solution, prior: Prior) -> tuple[Array, Array, Array, dict[str, Array]]:
    """Give score U, its covariance M and the information I of all unknowns of all causes, and U by block."""
    size = sum(len(names) for names in UNKNOWNS.values())
    count = len(solution.parameters)
    mixed, pull = np.zeros((count, size)), np.zeros(count)
    raw, information = np.zeros(size), np.zeros((size, size))
    extras: list[Array] = []
    by_block: dict[str, Array] = {}
    for block, seen, columns in zip(solution.blocks, solution.seen, solution.columns, strict=True):
        linear = block.linear_of(seen)
        if isinstance(block, DepthBlock):
            slopes = depth_slopes(block, seen, solution.parameters[columns])
            maps = np.concatenate([slopes[cause] for cause in UNKNOWNS])
            extras.append(np.where(seen.used, maps, 0.0))
            flat = maps[:, seen.used].T / block.sigma_mm(seen.teeth_share)[seen.used, None]
        elif isinstance(block, CornerBlock):
            by_cause = corner_slopes(block, solution.parameters[columns])
            flat = np.concatenate([by_cause[cause] for cause in UNKNOWNS], axis=1)
            extras.append(flat)
        else:
            raise DegenerateGeometryError(f"a second opinion cannot use a block of {block.name}")
        weighted = flat * linear.robust_weight[:, None]
        mixed[columns] += linear.slope.T @ weighted
        pull[columns] += linear.gradient
        part = weighted.T @ linear.residual
        raw += part
        by_block[block.name] = by_block.get(block.name, np.zeros(size)) + part
        information += flat.T @ weighted
    precision = np.concatenate([prior.precision, *(b.extra_precision for b in solution.blocks)])
    mean = np.concatenate([prior.mean, np.zeros(count - COUNT)])
    pull += precision * (mean - solution.parameters)
    toward = solution.bread @ mixed
    meat = (toward * precision[:, None]).T @ toward
    for block, seen, columns, extra in zip(
        solution.blocks, solution.seen, solution.columns, extras, strict=True
    ):
        meat += _scatter(block, seen, toward[columns], extra)
    return raw - toward.T @ pull, meat, information - mixed.T @ toward, by_block


def _scatter(block: Block, seen: object, toward: Array, extra: Array) -> Array:
    """Give the covariance of the projected scores that the scatter of one block brings, shape (k, k)."""
    if isinstance(block, DepthBlock):
        from bite.fit.depth_block import Prediction

        assert isinstance(seen, Prediction)
        linear = block.linear_of(seen)
        weight = np.zeros(seen.used.shape)
        weight[seen.used] = linear.robust_weight
        maps = extra - np.tensordot(toward.T, seen.all_slopes(), axes=1)
        return correlated_meat(maps * (weight / block.sigma_mm(seen.teeth_share)), block.noise)
    linear = block.linear_of(seen)
    projected = extra - linear.slope @ toward
    return np.asarray(projected.T @ (projected * linear.robust_weight[:, None]))


def _ranked(
    score: Array, meat: Array, information: Array, by_block: dict[str, Array], count: float
) -> Explanations:
    from scipy.stats import chi2

    place: dict[Cause, slice] = {}
    start = 0
    for cause, names in UNKNOWNS.items():
        place[cause] = slice(start, start + len(names))
        start += len(names)
    statistic = {c: _quadratic(score[s], meat[s, s]) for c, s in place.items()}
    bic = {c: value - len(UNKNOWNS[c]) * np.log(max(count, 2.0)) for c, value in statistic.items()}
    top = max(0.0, *bic.values())
    total = np.exp(-0.5 * top) + sum(np.exp(0.5 * (b - top)) for b in bic.values())
    out = []
    for cause, own in place.items():
        inverse = np.linalg.pinv(information[own, own], hermitian=True)
        variance = np.diag(inverse @ meat[own, own] @ inverse)
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
        shares = {name: float(abs(part[own]).sum()) for name, part in by_block.items()}
        whole = sum(shares.values())
        out.append(
            Explained(
                cause,
                frozen(inverse @ score[own]),
                frozen(np.sqrt(np.maximum(variance, 0.0))),
                statistic[cause],
                float(chi2.sf(statistic[cause], len(UNKNOWNS[cause]))),
                float(np.exp(0.5 * (bic[cause] - top)) / total),
                {name: share / whole if whole > 0 else 0.0 for name, share in shares.items()},
                tuple(sorted(alike, key=lambda pair: -pair[1])),
                left,
            )
        )
    out.sort(key=lambda e: -bic[e.cause])
    return Explanations(tuple(out), float(np.exp(-0.5 * top) / total))


def _quadratic(score: Array, meat: Array, floor: Array | None = None) -> float:
    """Give U' M^-1 U; directions that hold almost nothing of their own are left out."""
    scale = np.sqrt(np.maximum(np.diag(meat) if floor is None else floor, 1e-300))
    values, vectors = np.linalg.eigh(meat / np.outer(scale, scale))
    along = vectors.T @ (score / scale)
    kept = values > 1e-3
    return float((along[kept] ** 2 / values[kept]).sum())


def _correlation(own: Array, mixed: Array, other: Array) -> float:
    """Give the largest canonical correlation between two scores: 1 where one is part of the other."""
    first, second = np.linalg.pinv(own, hermitian=True), np.linalg.pinv(other, hermitian=True)
    values = np.linalg.eigvals(first @ mixed @ second @ mixed.T).real
    return float(np.sqrt(np.clip(values.max(), 0.0, 1.0)))
