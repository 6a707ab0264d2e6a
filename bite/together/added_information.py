"""Information of several frames added up, for many possible spreads between the frames at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.errors import DegenerateGeometryError
from bite.geometry.rigid import Array
from bite.stats.spread import SpreadNodes
from bite.together.frame_information import FrameInformation

_LEAST_PRECISION = 1e-4
"""Per mm^2: frames that leave forward open by more than 100 mm leave it open."""
_OPEN = 1e-6
"""Per mm^2: the shift of a frame that is held against the others is believed to 1000 mm, as good as open."""


@dataclass(frozen=True, slots=True)
class Placed:
    """A frame's information, and where its unknowns stand among all shared ones (a bias for each device)."""

    frame: FrameInformation
    places: NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Marginal:
    """A frame's marginal likelihood, a shift of its own integrated out, at each of g possible spreads.

    Parameters
    ----------
    placed : Placed
    information : array, shape (g, 5, 5)
    vector : array, shape (g, 5), information vector
    log : array, shape (g,), what the spread alone does to the frame's likelihood
    """

    placed: Placed
    information: Array
    vector: Array
    log: Array


@dataclass(frozen=True, slots=True)
class Shared:
    """Independent normal priors of all shared unknowns, shape (m,); precision 0 for none."""

    mean: Array
    precision: Array


@dataclass(frozen=True, slots=True)
class Added:
    """What the frames say together at each of g possible spreads.

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


def marginal_of(placed: Placed, spreads: SpreadNodes) -> Marginal:
    """Let a frame's teeth stand off the shared place by the spread."""
    return Marginal(placed, *_integrated_out(placed.frame, spreads.mm))


def add_information(marginals: Sequence[Marginal], shared: Shared, spreads: SpreadNodes) -> Added:
    """Add up the information of frames and of the shared priors: the precision form of Bayes' rule.

    Parameters
    ----------
    marginals : sequence of Marginal, at these spreads
    shared : Shared
    spreads : SpreadNodes

    Raises
    ------
    DegenerateGeometryError
        When the frames leave the forward offset open.
    """
    matrix, vector, log_chance = _sums(marginals, shared, len(spreads.mm))
    scale = np.sqrt(np.maximum(np.diagonal(matrix, axis1=1, axis2=2), 1e-300))
    scaled = matrix / (scale[:, :, None] * scale[:, None, :])
    if not (np.linalg.eigvalsh(scaled)[:, 0] > 1e-13).all():
        raise DegenerateGeometryError("these frames together leave open where the teeth stand along forward")
    covariance = np.linalg.inv(scaled) / (scale[:, :, None] * scale[:, None, :])
    if not (covariance[:, 0, 0] < 1.0 / _LEAST_PRECISION).all():
        raise DegenerateGeometryError("these frames together leave open where the teeth stand along forward")
    mean = np.einsum("gij,gj->gi", covariance, vector)
    log_chance = log_chance + 0.5 * (np.einsum("gi,gi->g", vector, mean) - np.linalg.slogdet(matrix)[1])
    chance = spreads.weight * np.exp(log_chance - log_chance.max())
    return Added(chance / chance.sum(), mean, covariance)


def shares(marginals: Sequence[Marginal], added: Added) -> Array:
    """Give how much each frame's own forward offset moves the shared one at one spread, mm per mm.

    Parameters
    ----------
    marginals : sequence of k Marginal, at one spread
    added : Added, of these
    """
    row = added.covariance[0, 0]
    return np.array([row[one.placed.places] @ one.information[0, :, 0] for one in marginals])


def apart_from(
    marginals: Sequence[Marginal], number: int, shared: Shared, spreads: SpreadNodes, which: Sequence[int]
) -> tuple[Array, Array]:
    """Hold one frame against the others: tell by how much its teeth stand elsewhere.

    The frame gets shifts of its own along some of forward (0), right (1), up (2), of which nothing is known;
    everything else stays shared.

    Returns
    -------
    shift : array, shape (g, d), mm
    covariance : array, shape (g, d, d), mm^2: of the shift about 0, the spread included
    """
    others = [one for k, one in enumerate(marginals) if k != number]
    matrix, vector, _ = _sums(others, shared, len(spreads.mm))
    own, free = marginals[number].placed, list(which)
    held = spreads.mm.copy()
    held[:, free] = 0.0
    information, own_vector, _ = _integrated_out(own.frame, held)
    many, extra = matrix.shape[1], len(free)
    whole = np.zeros((len(held), many + extra, many + extra))
    right = np.zeros((len(held), many + extra))
    whole[:, :many, :many], right[:, :many] = matrix, vector
    places = np.concatenate([own.places, many + np.arange(extra)])
    onto = np.vstack([np.eye(5), np.eye(5)[free]])
    whole[np.ix_(np.arange(len(whole)), places, places)] += onto @ information @ onto.T
    right[:, places] += own_vector @ onto.T
    index = many + np.arange(extra)
    whole[:, index, index] += _OPEN
    covariance = np.linalg.inv(whole)
    shift = np.einsum("gij,gj->gi", covariance, right)[:, many:]
    scatter = covariance[:, many:, many:].copy()
    scatter[:, np.arange(extra), np.arange(extra)] += spreads.mm[:, free] ** 2
    return shift, scatter


def _sums(marginals: Sequence[Marginal], shared: Shared, count: int) -> tuple[Array, Array, Array]:
    many = len(shared.mean)
    matrix = np.zeros((count, many, many)) + np.diag(shared.precision)
    vector = np.zeros((count, many)) + shared.precision * shared.mean
    log_chance = np.zeros(count)
    for one in marginals:
        places = one.placed.places
        matrix[:, places[:, None], places] += one.information
        vector[:, places] += one.vector
        log_chance += one.log
    return matrix, vector, log_chance


def _integrated_out(frame: FrameInformation, spreads_mm: Array) -> tuple[Array, Array, Array]:
    """Integrate a shift of the frame's own out, given the spread; also the log of its likelihood."""
    aside = frame.information[:, :3]
    held = aside[:3]
    # without dividing by the spread, which may be 0
    core = np.eye(3) + spreads_mm[:, :, None] * held * spreads_mm[:, None, :]
    middle = spreads_mm[:, :, None] * np.linalg.inv(core) * spreads_mm[:, None, :]
    vector = frame.vector[:3]
    information = frame.information - aside @ middle @ aside.T
    log = 0.5 * (np.einsum("i,gij,j->g", vector, middle, vector) - np.linalg.slogdet(core)[1])
    return information, frame.vector - (aside @ (middle @ vector)[:, :, None])[:, :, 0], log
