"""Several frames of one performer after they were checked together: what reports read."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from bite.check.assessment import Assessment, CornerMark
from bite.check.decision import Decision
from bite.check.finding import Finding
from bite.files.bundle import BiteFrame
from bite.stats.estimate import Estimate
from bite.together.joint import Joint
from bite.together.left_out import Without


class Role(StrEnum):
    """How a frame takes part."""

    OWN = "offset of its own"
    JOINT = "corners of one view, in the joint fit only"
    LEFT_OUT = "left out"


@dataclass(frozen=True, slots=True)
class Part:
    """One frame's part in the shared offset.

    Parameters
    ----------
    assessment : Assessment, the frame checked alone
    role : Role
    why_left_out : str, empty unless left out
    stands_mm : float, how far forward of the common zero its teeth were solved
    offset : Estimate or None, its own, from the common zero; the sd is the one that its check told
    own_sd_mm : float or None, the part of that sd that other frames do not share
    share : float or None, mm that the shared offset moves for each mm of this frame's
    without : Without or None, this frame held against the others
    marks : tuple of CornerMark, before and after the shared move
    """

    assessment: Assessment
    role: Role
    why_left_out: str
    stands_mm: float
    offset: Estimate | None
    own_sd_mm: float | None
    share: float | None
    without: Without | None
    marks: tuple[CornerMark, ...]


@dataclass(frozen=True, slots=True)
class Together:
    """Several frames of one performer, taken together.

    Parameters
    ----------
    performer : str
    parts : tuple of Part, in the order given
    joint : Joint or None, where two frames or more could be used
    offset : Estimate or None, mm forward of where the first frame used was solved
    zero : BiteFrame, that frame: offsets and the dial are told from its dial value
    paule_mandel_mm, dersimonian_laird_mm : float or None
        The spread between the frames' own offsets, found without any belief about it; two such offsets
        needed.
    findings : tuple of Finding, worst first
    decision : Decision
    moved_mm : float, the move that "after" stands for
    version : str
    """

    performer: str
    parts: tuple[Part, ...]
    joint: Joint | None
    offset: Estimate | None
    zero: BiteFrame
    paule_mandel_mm: float | None
    dersimonian_laird_mm: float | None
    findings: tuple[Finding, ...]
    decision: Decision
    moved_mm: float
    version: str
