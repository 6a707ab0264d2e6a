"""All that is known of one bite frame after the check: what reports, windows and casts read."""

from __future__ import annotations

from dataclasses import dataclass

from bite.check.decision import Decision
from bite.check.finding import Finding
from bite.check.sections import Section
from bite.evidence.clicks.triangulated import TriangulatedCorner
from bite.evidence.model.head import SolvedHead
from bite.evidence.mouth.rows import BiteMeasures as BiteMeasures
from bite.files.bundle import BiteFrame
from bite.fit.offset import OffsetFit


@dataclass(frozen=True, slots=True)
class CornerMark:
    """Where a corner or landmark was clicked in one view and where the model has it, px; None: unknown.

    ``state`` is the click's state ("seen", "unsure", "covered", "hidden", "landmark").
    """

    view: str
    name: str
    state: str
    clicked_px: tuple[float, float] | None
    before_px: tuple[float, float] | None
    after_px: tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class Assessment:
    """The check of one frame, whole.

    Parameters
    ----------
    frame : BiteFrame
    solved : SolvedHead or None
    fit : OffsetFit or None
    why_no_offset : str, empty when there is one
    findings : tuple of Finding, worst first
    measures : BiteMeasures
    decision : Decision
    marks : tuple of CornerMark
    sections : tuple of Section, empty without depth beside a solved model
    moved_mm : float, the move that "after" stands for: the dial's where there is one, else the offset
    px_per_mm : float or None, on the teeth in the reference picture
    priors_used : tuple of str, one sentence each: which priors were used and where they came from
    version : str
    performance_device : str or None, the device that the frame's own was compared with
    triangulated : tuple of TriangulatedCorner, of corners seen in two views or more
    """

    frame: BiteFrame
    solved: SolvedHead | None
    fit: OffsetFit | None
    why_no_offset: str
    findings: tuple[Finding, ...]
    measures: BiteMeasures
    decision: Decision
    marks: tuple[CornerMark, ...]
    sections: tuple[Section, ...]
    moved_mm: float
    px_per_mm: float | None
    priors_used: tuple[str, ...]
    version: str
    performance_device: str | None = None
    triangulated: tuple[TriangulatedCorner, ...] = ()
