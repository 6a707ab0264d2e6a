"""All blocks and priors about one place: what they say there, as one linear system."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bite.errors import DegenerateGeometryError
from bite.fit.block import Block
from bite.fit.linear import Linear
from bite.fit.parameters import COUNT, P, Prior
from bite.geometry.rigid import Array


@dataclass(frozen=True, slots=True)
class LinearisedFit:
    """What all blocks say where the parameters are: predictions, residuals and slopes, and the priors."""

    blocks: tuple[Block, ...]
    seen: tuple[Any, ...]
    linears: tuple[Linear, ...]
    columns: tuple[NDArray[np.int64], ...]
    precision: Array
    mean: Array
    cost: float
    mean_cost: float

    def gathered(self, matrices: Sequence[Array]) -> Array:
        """Add up one matrix a block in the places of its unknowns."""
        total = np.zeros((len(self.mean), len(self.mean)))
        for columns, matrix in zip(self.columns, matrices, strict=True):
            total[np.ix_(columns, columns)] += matrix
        return total


def look_at(
    blocks: Sequence[Block], here: Array, prior: Prior, covariance: Array | None, *, learn: bool
) -> LinearisedFit:
    """Ask every block what it says where the parameters are.

    Parameters
    ----------
    blocks : sequence of Block
    here : array, shape (14 + j,), the named parameters and the blocks' own
    prior : Prior
    covariance : array or None, shape (14 + j, 14 + j), of the last step
    learn : bool, whether blocks learn their noise from how things stand
    """
    columns = _places(blocks)
    place = COUNT + sum(len(block.extra_precision) for block in blocks)
    seen = [block.predict(here[c]) for block, c in zip(blocks, columns, strict=True)]
    if learn:
        blocks = [
            block.with_noise_from(view, here[c], None if covariance is None else covariance[np.ix_(c, c)])
            for block, view, c in zip(blocks, seen, columns, strict=True)
        ]
    linears = [block.linear_of(view) for block, view in zip(blocks, seen, strict=True)]
    precision = np.concatenate([prior.precision, *(block.extra_precision for block in blocks)])
    mean = np.concatenate([prior.mean, np.zeros(place - COUNT)])
    pull = float(0.5 * precision @ (here - mean) ** 2)
    # pixels come and go as surfaces move, so that only costs per unit of weight compare
    total = sum(float(linear.weight.sum()) for linear in linears)
    cost = sum(linear.cost for linear in linears) + pull
    mean_cost = cost / max(total, 1e-300)
    return LinearisedFit(
        tuple(blocks), tuple(seen), tuple(linears), tuple(columns), precision, mean, cost, mean_cost
    )


def _places(blocks: Sequence[Block]) -> list[NDArray[np.int64]]:
    """Give for each block the places of its unknowns: the named ones, those it shares, its own."""
    own: dict[str, NDArray[np.int64]] = {"": np.arange(0)}
    columns, place = [], COUNT
    for block in blocks:
        count = len(block.extra_precision)
        own[block.name] = np.arange(place, place + count)
        columns.append(np.concatenate([np.arange(COUNT), own[block.shares_with], own[block.name]]))
        place += count
    return columns


def inverted(matrix: Array) -> Array:
    """Invert after scaling the diagonal to one: millimetres, radians and pixels differ by powers of ten."""
    scale = np.sqrt(np.diag(matrix))
    if not scale[P.FORWARD_MM] > 0:
        raise DegenerateGeometryError("no evidence says anything of where the teeth stand along forward")
    unknown = scale <= 0
    scale = np.where(unknown, 1.0, scale)
    scaled = matrix / np.outer(scale, scale)
    scaled[unknown, unknown] = 1.0
    try:
        inverse = np.linalg.inv(scaled)
    except np.linalg.LinAlgError as error:
        raise DegenerateGeometryError("the evidence leaves a combination of unknowns open") from error
    inverse[unknown] = 0.0
    inverse[:, unknown] = 0.0
    return np.asarray(inverse / np.outer(scale, scale))
