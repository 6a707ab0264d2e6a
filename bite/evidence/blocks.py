"""Which evidence a frame holds for an offset, and what is missing where it holds none."""

from __future__ import annotations

from dataclasses import dataclass

from bite.evidence.clicks.for_fit import corner_block, views_with_position
from bite.evidence.crowns import crowns_of
from bite.evidence.depth.for_fit import FARTHEST_MM, depth_block, profile_block
from bite.evidence.lips.line import lip_block
from bite.evidence.model.head import SolvedHead
from bite.evidence.priors import prior_of
from bite.files.bundle import BiteFrame
from bite.fit.block import Block
from bite.fit.corner_block import CornerBlock
from bite.fit.lip_block import LipBlock
from bite.fit.parameters import Prior

ONE_VIEW = (
    "corners of one view never fix the offset: at 300 mm and 0.5 px the distance from two known crown "
    "widths is "
    "uncertain by 2.7 mm, and by 20 mm with the population's spread of widths"
)
"""Reckoned with ``geometry.triangulate.known_width_depth_sd_mm``; spread from reference/crown_widths.toml."""
NEEDED = (
    "a depth map, a depth profile with region and solved_depth_mm, or a second calibrated view with its "
    "corners"
)


@dataclass(frozen=True, slots=True)
class OffsetEvidence:
    """What goes into the fit.

    Parameters
    ----------
    depth : Block or None, the depth map, else the profile
    corners : CornerBlock or None
    prior : Prior
    priors_used : tuple of str, one sentence each
    missing : str, why these cannot fix an offset; empty where they can
    settle : str, which evidence would; empty where none is missing
    lips : LipBlock or None, the lip line in the picture
    """

    depth: Block | None
    corners: CornerBlock | None
    prior: Prior
    priors_used: tuple[str, ...]
    missing: str = ""
    settle: str = ""
    lips: LipBlock | None = None

    @property
    def blocks(self) -> tuple[Block, ...]:
        """Blocks for the fit."""
        return tuple(block for block in (self.depth, self.corners, self.lips) if block is not None)

    @property
    def two_views(self) -> bool:
        """Whether the corners alone fix the teeth in space."""
        return views_with_position(self.corners) >= 2


def offset_evidence(
    frame: BiteFrame, solved: SolvedHead, *, use_lower: bool = True, use_lips: bool = True
) -> OffsetEvidence:
    """Gather the evidence of a frame beside its solved model.

    Parameters
    ----------
    frame : BiteFrame
    solved : SolvedHead
    use_lower, use_lips : bool, whether lower corners and the lip line count

    Raises
    ------
    InputError
        When depth and solved model contradict each other outright.
    """
    prior, told = prior_of(
        frame.device,
        posed_by_landmarks=solved.posed_by_landmarks,
        matched=frame.stereo,
    )
    mapped = depth_block(frame, solved.head, limit_mm=None if solved.posed_by_landmarks else FARTHEST_MM)
    depth: Block | None = mapped if mapped is not None else profile_block(frame, solved.head)
    lips = None
    # a head posed by clicks may stand farther off than a lip is looked for
    if use_lips and mapped is not None and not solved.posed_by_landmarks:
        lips = lip_block(frame.views[0], solved.head, mapped)
    corners = corner_block(frame, solved.head, use_lower=use_lower)
    told += crowns_of(frame.rig).told(faces=mapped is not None, corners=corners is not None)
    found = OffsetEvidence(depth, corners, prior, told, lips=lips)
    if depth is not None or found.two_views:
        return found
    missing, settle = _missing(frame, found)
    return OffsetEvidence(None, found.corners, prior, told, missing, settle)


def _missing(frame: BiteFrame, found: OffsetEvidence) -> tuple[str, str]:
    if frame.depth_map is not None:
        return (
            "a depth map can only be held against a solved mesh, and [solved] gives corner positions alone",
            "give the solved mesh with its rig, or the depth as a profile with region and solved_depth_mm",
        )
    if frame.profile is not None:
        lacks = [
            name
            for name, column in (
                ("region", frame.profile.region),
                ("solved_depth_mm", frame.profile.solved_depth_mm),
            )
            if column is None
        ]
        if lacks:
            return (
                f"{frame.profile.path.name} has no column {' and '.join(lacks)}, so its teeth cannot be held "
                "against the solved ones",
                f"write the column {' and '.join(lacks)} into the profile",
            )
        return (
            f"{frame.profile.path.name} has no row with both a measured and a solved depth on enamel",
            "export the line across the incisors, with region upper or lower where it runs over enamel",
        )
    if found.corners is None:
        if len(frame.views) > 1:
            return (
                "no corner is clicked and there is no depth map",
                "click the corners in two views, or give depth",
            )
        return "there is no depth, and no corner is clicked", NEEDED
    if len(frame.views) > 1:
        return f"corners are seen in one view only, and {ONE_VIEW}", "click the same corners in a second view"
    return ONE_VIEW, NEEDED
