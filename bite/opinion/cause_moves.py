"""A cause made true: readings, model and priors as they would be if one cause had a given size."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from bite.fit.block import Block
from bite.fit.causes import Cause
from bite.fit.parameters import P, Prior
from bite.geometry.rigid import Array, frozen


def with_cause(
    blocks: Sequence[Block], prior: Prior, cause: Cause, values: Array
) -> tuple[tuple[Block, ...], Prior]:
    """Give blocks and prior of a frame whose solved model has one cause mended by the given values.

    Parameters
    ----------
    blocks : sequence of Block
    prior : Prior
    cause : Cause
    values : array, shape (k,), in the units of ``causes.UNKNOWNS``
    """
    if cause is Cause.ENAMEL:
        mean = prior.mean.copy()
        mean[P.ENAMEL_BIAS_MM] += values[0]
        return tuple(blocks), replace(prior, mean=frozen(mean))
    return tuple(block.with_cause(cause, values) for block in blocks), prior
