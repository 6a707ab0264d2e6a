"""The words of several frames added up, for many possible spreads between the frames at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.errors import DegenerateGeometryError
from bite.geometry.rigid import Array
from bite.stats.spread import SpreadNodes
from bite.together.frame_information import FrameWord

_LEAST_PRECISION = 1e-4
"""Per mm^2: words that leave forward open by more than 100 mm leave it open."""
_OPEN = 1e-6


@dataclass(frozen=True, slots=True)
class Placed:
    """A word, and where its five unknowns stand among all shared ones (each device has its own bias)."""

    word: FrameWord
    places: NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Loose:
    """A placed word with a shift of the frame's own taken out, at each of g possible spreads.

    Parameters
    ----------
    placed : Placed
    information : array, shape (g, 5, 5)
    pull : array, shape (g, 5)
    log : array, shape (g,), what the spread alone does to the frame's likelihood
    """

    placed: Placed
    information: Array
    pull: Array
    log: Array


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


def loosen(placed: Placed, spreads: SpreadNodes) -> Loose:
    """Let a frame's teeth stand off the shared place by the spread."""
    return Loose(placed, *_loosened(placed.word, spreads.mm))


def add_words(loose: Sequence[Loose], shared: Shared, spreads: SpreadNodes) -> Added:
    """Add words up.

    Parameters
    ----------
    loose : sequence of Loose, at these spreads
    shared : Shared
    spreads : SpreadNodes

    Raises
    ------
    DegenerateGeometryError
        When the words leave the forward offset open.
    """
    matrix, pull, log_chance = _sums(loose, shared, len(spreads.mm))
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


def shares(loose: Sequence[Loose], added: Added) -> Array:
    """Give how much each frame's own forward offset moves the shared one at one spread, mm per mm.

    Parameters
    ----------
    loose : sequence of k Loose, at one spread
    added : Added, of these
    """
    row = added.covariance[0, 0]
    return np.array([row[one.placed.places] @ one.information[0, :, 0] for one in loose])


def apart_from(
    loose: Sequence[Loose], number: int, shared: Shared, spreads: SpreadNodes, which: Sequence[int]
) -> tuple[Array, Array]:
    """Hold one frame against the others: tell by how much its teeth stand elsewhere.

    The frame gets shifts of its own along some of forward (0), right (1), up (2), of which nothing is known;
    everything else stays shared.

    Returns
    -------
    shift : array, shape (g, d), mm
    covariance : array, shape (g, d, d), mm^2: of the shift about 0, the spread included
    """
    others = [one for k, one in enumerate(loose) if k != number]
    matrix, pull, _ = _sums(others, shared, len(spreads.mm))
    own, free = loose[number].placed, list(which)
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
    return shift, scatter


def _sums(loose: Sequence[Loose], shared: Shared, count: int) -> tuple[Array, Array, Array]:
    many = len(shared.mean)
    matrix = np.zeros((count, many, many)) + np.diag(shared.precision)
    pull = np.zeros((count, many)) + shared.precision * shared.mean
    log_chance = np.zeros(count)
    for one in loose:
        places = one.placed.places
        matrix[:, places[:, None], places] += one.information
        pull[:, places] += one.pull
        log_chance += one.log
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
