"""What a fit hands on: parameters, how well they are known, and enough to ask further questions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bite.fit.block import Block
from bite.fit.parameters import P
from bite.geometry.rigid import Array


@dataclass(frozen=True, slots=True)
class Solution:
    """Where the fit ended, and how well that is known.

    Parameters
    ----------
    parameters : array, shape (n,): the 14 named ones, then each block's own unknowns
    bread : array, shape (n, n): inverse of the full information (evidence and priors)
    sampling : array, shape (14, 14): covariance from the scatter of the evidence
    systematic : array, shape (14, 14): covariance from priors that the data could not beat
    evidence_share, prior_share : share of what is known of the forward offset, at a given enamel bias, by
    kind
    blocks, seen : the blocks as last used and what they predicted, for further questions
    columns : for each block, the places of its unknowns among all
    converged, stop_reason, rounds, first_cost, last_cost, freedom, chi2_reduced, inlier_share, condition :
    fit status
    at_bound : names of parameters that ended on a bound
    """

    parameters: Array
    bread: Array
    sampling: Array
    systematic: Array
    evidence_share: dict[str, float]
    prior_share: float
    blocks: tuple[Block, ...]
    seen: tuple[Any, ...]
    columns: tuple[NDArray[np.int64], ...]
    converged: bool
    stop_reason: str
    rounds: int
    first_cost: float
    last_cost: float
    freedom: int
    chi2_reduced: dict[str, float]
    inlier_share: dict[str, float]
    condition: float
    at_bound: tuple[str, ...]

    @property
    def covariance(self) -> Array:
        """Sampling and systematic covariance together, shape (14, 14)."""
        return np.asarray(self.sampling + self.systematic)

    def number_of(self, block: Block) -> int:
        """Give which of the blocks one is."""
        return next(k for k, other in enumerate(self.blocks) if other is block)

    def unknowns_of(self, block: Block) -> Array:
        """Give the named parameters and what the block shares and brings itself, in its own order."""
        return self.parameters[self.columns[self.number_of(block)]]

    def sd(self, parameter: P) -> float:
        """Total sd of one parameter."""
        return float(np.sqrt(self.covariance[parameter, parameter]))
