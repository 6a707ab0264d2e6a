"""The words of several frames added up, for many possible spreads between the frames at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.errors import DegenerateGeometryError
from bite.fit.frame_word import FrameWord
from bite.fit.spread import SpreadNodes
from bite.geometry.rigid import Array

_LEAST_PRECISION = 1e-4
"""Per mm^2: words that leave forward open by more than 100 mm leave it open."""
_OPEN = 1e-6


@dataclass(frozen=True, slots=True)
class Placed:
    """A word, and where its five unknowns stand among all shared ones (each device has its own bias)."""

    word: FrameWord
    places: NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Shared:
    """Independent normal priors of all shared unknowns, shape (m,); precision 0 for none."""

    mean: Array
    precision: Array


@dataclass(frozen=True, slots=True)
class Added:
    """What the words say together at each of g possible spreads.

    Parameters
    ----------
    chance : array, shape (g,), how likely each spread is, sum 1
    mean : array, shape (g, m)
    covariance : array, shape (g, m, m)
    """

    chance: Array
    mean: Array
    covariance: Array

    @property
    def average(self) -> Array:
        """Mean over the spreads, shape (m,)."""
        return np.asarray(self.chance @ self.mean)


def add_words(placed: Sequence[Placed], shared: Shared, spreads: SpreadNodes) -> Added:
    """Add words up; each frame's teeth may stand off the shared place by the spread.

    Parameters
    ----------
    placed : sequence of Placed
    shared : Shared
    spreads : SpreadNodes

    Raises
    ------
    DegenerateGeometryError
        When the words leave the forward offset open.
    """
    matrix, pull, log_chance = _sums(placed, shared, spreads.mm)
    scale = np.sqrt(np.maximum(np.diagonal(matrix, axis1=1, axis2=2), 1e-300))
    scaled = matrix / (scale[:, :, None] * scale[:, None, :])
    if not (np.linalg.eigvalsh(scaled)[:, 0] > 1e-13).all():
        raise DegenerateGeometryError("these frames together leave open where the teeth stand along forward")
    covariance = np.linalg.inv(scaled) / (scale[:, :, None] * scale[:, None, :])
    if not (covariance[:, 0, 0] < 1.0 / _LEAST_PRECISION).all():
        raise DegenerateGeometryError("these frames together leave open where the teeth stand along forward")
    mean = np.einsum("gij,gj->gi", covariance, pull)
    log_chance = log_chance + 0.5 * (np.einsum("gi,gi->g", pull, mean) - np.linalg.slogdet(matrix)[1])
    chance = spreads.weight * np.exp(log_chance - log_chance.max())
    return Added(chance / chance.sum(), mean, covariance)


def shares(placed: Sequence[Placed], added: Added, spread_mm: Array) -> Array:
    """Give how much each frame's own forward offset moves the shared one at one spread, mm per mm.

    Parameters
    ----------
    placed : sequence of k Placed
    added : Added, at that spread alone
    spread_mm : array, shape (3,)
    """
    row = added.covariance[0, 0]
    loose = [_loosened(p.word, spread_mm[None]) for p in placed]
    return np.array(
        [row[p.places] @ information[0, :, 0] for p, (information, _, _) in zip(placed, loose, strict=True)]
    )


def apart_from(
    placed: Sequence[Placed], number: int, shared: Shared, spreads: SpreadNodes, which: Sequence[int]
) -> tuple[Array, Array, Array]:
    """Hold one frame against the others: tell by how much its teeth stand elsewhere.

    The frame gets shifts of its own along some of forward (0), right (1), up (2), of which nothing is known;
    everything else stays shared. The chances of the spreads come from the other frames alone.

    Returns
    -------
    chance : array, shape (g,)
    shift : array, shape (g, d), mm
    covariance : array, shape (g, d, d), mm^2: of the shift about 0, the spread included
    """
    others = [p for k, p in enumerate(placed) if k != number]
    chance = add_words(others, shared, spreads).chance
    matrix, pull, _ = _sums(others, shared, spreads.mm)
    own, free = placed[number], list(which)
    held = spreads.mm.copy()
    held[:, free] = 0.0
    information, own_pull, _ = _loosened(own.word, held)
    many, extra = matrix.shape[1], len(free)
    whole = np.zeros((len(held), many + extra, many + extra))
    right = np.zeros((len(held), many + extra))
    whole[:, :many, :many], right[:, :many] = matrix, pull
    places = np.concatenate([own.places, many + np.arange(extra)])
    onto = np.vstack([np.eye(5), np.eye(5)[free]])
    whole[np.ix_(np.arange(len(whole)), places, places)] += onto @ information @ onto.T
    right[:, places] += own_pull @ onto.T
    index = many + np.arange(extra)
    whole[:, index, index] += _OPEN
    covariance = np.linalg.inv(whole)
    shift = np.einsum("gij,gj->gi", covariance, right)[:, many:]
    scatter = covariance[:, many:, many:].copy()
    scatter[:, np.arange(extra), np.arange(extra)] += spreads.mm[:, free] ** 2
    return chance, shift, scatter


def _sums(placed: Sequence[Placed], shared: Shared, spreads_mm: Array) -> tuple[Array, Array, Array]:
    count, many = len(spreads_mm), len(shared.mean)
    matrix = np.zeros((count, many, many)) + np.diag(shared.precision)
    pull = np.zeros((count, many)) + shared.precision * shared.mean
    log_chance = np.zeros(count)
    for one in placed:
        information, own, log = _loosened(one.word, spreads_mm)
        matrix[:, one.places[:, None], one.places] += information
        pull[:, one.places] += own
        log_chance += log
    return matrix, pull, log_chance


def _loosened(word: FrameWord, spreads_mm: Array) -> tuple[Array, Array, Array]:
    """Take a shift of the frame's own out of its word, given the spread; also the log of its likelihood."""
    aside = word.information[:, :3]
    held = aside[:3]
    # without dividing by the spread, which may be 0
    core = np.eye(3) + spreads_mm[:, :, None] * held * spreads_mm[:, None, :]
    middle = spreads_mm[:, :, None] * np.linalg.inv(core) * spreads_mm[:, None, :]
    pull = word.pull[:3]
    information = word.information - aside @ middle @ aside.T
    log = 0.5 * (np.einsum("i,gij,j->g", pull, middle, pull) - np.linalg.slogdet(core)[1])
    return information, word.pull - (aside @ (middle @ pull)[:, :, None])[:, :, 0], log
