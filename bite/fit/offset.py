"""How far the digital teeth must move along forward, from all evidence blocks of one frame."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bite.errors import DegenerateGeometryError
from bite.fit.block import Block, of_kind
from bite.fit.corner_block import CornerBlock
from bite.fit.depth_block import DepthBlock
from bite.fit.lip_block import LipBlock
from bite.fit.parameters import P, Prior
from bite.fit.profile_block import ProfileBlock
from bite.fit.solution import Solution
from bite.fit.solver import extra_parameter, solve
from bite.stats.estimate import Estimate


@dataclass(frozen=True, slots=True)
class OffsetFit:
    """The offset and all that came with it.

    Parameters
    ----------
    solution : Solution, the fit whole
    offset : Estimate, mm, forward positive; its sd holds sampling and systematic parts
    sampling_sd_mm, systematic_sd_mm : float, mm
    right, up : Estimate, mm, right in an unmirrored picture
    smoothing : Estimate, depth pixels, or None without depth
    rows : Estimate or None
        t of the lower teeth minus t of the upper teeth, mm; None where depth does not see both.
    """

    solution: Solution
    offset: Estimate
    sampling_sd_mm: float
    systematic_sd_mm: float
    right: Estimate
    up: Estimate
    smoothing: Estimate | None
    rows: Estimate | None

    @property
    def parameters(self) -> np.ndarray:
        """The named parameters, then what each block brings itself, shape (n,)."""
        return self.solution.parameters

    @property
    def forward_per_enamel(self) -> float:
        """How far the offset moves forward, mm, for each mm deeper that enamel is assumed to read.

        Near 1 where depth decides: the deeper a sensor is said to see enamel, the nearer its true surface. A
        sensor that sees it deeper than assumed therefore gives offsets too far back. Near 0 where corners
        of two views decide.
        """
        t, b = P.FORWARD_MM, P.ENAMEL_BIAS_MM
        held = self.solution.bread[b, b]
        return float(self.solution.bread[t, b] / held) if held > 0 else 0.0

    @property
    def depth_block(self) -> DepthBlock | None:
        """The depth map as last used, or None."""
        return of_kind(self.solution.blocks, DepthBlock)

    @property
    def profile_block(self) -> ProfileBlock | None:
        """The depth profile as last used, or None."""
        return of_kind(self.solution.blocks, ProfileBlock)

    @property
    def corner_block(self) -> CornerBlock | None:
        """The clicks that the fit was made with, or None."""
        return of_kind(self.solution.blocks, CornerBlock)

    @property
    def lip_block(self) -> LipBlock | None:
        """The lip line as last used, or None."""
        return of_kind(self.solution.blocks, LipBlock)


def fit_offset(blocks: Sequence[Block], prior: Prior) -> OffsetFit:
    """Fit the offset of the teeth.

    Parameters
    ----------
    blocks : sequence of Block
        Depth and corner evidence. Corners of one view alone never fix the offset and are refused.
    prior : Prior

    Raises
    ------
    DegenerateGeometryError
        Without depth and without corners in two views.
    """
    if not blocks:
        raise DegenerateGeometryError("no evidence: no depth, no clicks")
    start = np.where(np.isfinite(prior.sd), prior.mean, 0.0)
    found = solve(blocks, prior, start)
    t = P.FORWARD_MM
    sampling, systematic = (float(np.sqrt(c[t, t])) for c in (found.sampling, found.systematic))
    has_depth = any(block.name == "depth" for block in found.blocks)

    def estimate(index: P) -> Estimate:
        return Estimate(float(found.parameters[index]), found.sd(index))

    return OffsetFit(
        solution=found,
        offset=Estimate(float(found.parameters[t]), float(np.hypot(sampling, systematic))),
        sampling_sd_mm=sampling,
        systematic_sd_mm=systematic,
        right=estimate(P.RIGHT_MM),
        up=estimate(P.UP_MM),
        smoothing=estimate(P.SMOOTHING_PX) if has_depth else None,
        rows=_rows(found),
    )


def _rows(found: Solution) -> Estimate | None:
    """Ask the first block that sees both rows for an offset of the lower one of its own."""
    for index, block in enumerate(found.blocks):
        seen = found.seen[index]
        slopes = block.lower_forward(seen)
        if slopes is not None:
            value, sd = extra_parameter(found, index, slopes[0])
            return Estimate(value, sd) if np.isfinite(sd) and sd > 0 else None
    return None
