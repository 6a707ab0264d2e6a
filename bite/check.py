"""The check of one bite frame, in order: evidence, fit, measures, checks, decision, sections, marks."""

from __future__ import annotations

from bite import __version__
from bite.assessment import Assessment, BiteMeasures
from bite.checks.finding import Finding, worst_first
from bite.decision import TOLERANCE_MM, decide
from bite.errors import DegenerateGeometryError
from bite.evidence.blocks import OffsetEvidence, offset_evidence
from bite.evidence.head import SolvedHead, solved_head
from bite.files.bundle import BiteFrame
from bite.fit.offset import OffsetFit, fit_offset
from bite.fit.profile_block import ProfileBlock
from bite.fit.sections import Section, map_sections, profile_section
from bite.marks import marks_of
from bite.settle import what_would_settle


def check_frame(
    frame: BiteFrame, *, tolerance_mm: float = TOLERANCE_MM, performance_device: str | None = None
) -> Assessment:
    """Check one bite frame.

    Parameters
    ----------
    frame : BiteFrame
    tolerance_mm : float, mm
        Within this the teeth may stand off.
    performance_device : str, optional
        The device that the performances use, to hold the frame's own against.

    Raises
    ------
    InputError
        When the inputs contradict each other so that no comparison makes sense.
    """
    solved = solved_head(frame)
    evidence = None if solved is None else offset_evidence(frame, solved)
    fit, why = _fit(evidence)
    findings: list[Finding] = []
    settle = evidence.settle if evidence is not None else ""
    if solved is not None and evidence is not None and fit is not None:
        settle = what_would_settle(frame, solved, evidence, fit)
    decision = decide(
        solved=frame.file.solved is not None,
        offset=fit.offset if fit else None,
        findings=findings,
        dial=frame.rig.dial if frame.rig else None,
        dial_before=frame.file.solved.dial if frame.file.solved else None,
        tolerance_mm=tolerance_mm,
        settle=settle,
    )
    moved_mm = decision.move.stands_for_mm if decision.move else fit.offset.value if fit else 0.0
    return Assessment(
        frame=frame,
        solved=solved,
        fit=fit,
        why_no_offset=why,
        findings=tuple(worst_first(findings)),
        measures=BiteMeasures(None, None, None, None, None, None),
        decision=decision,
        marks=marks_of(frame, solved, fit.parameters if fit else None, moved_mm),
        sections=_sections(fit, moved_mm),
        moved_mm=moved_mm,
        px_per_mm=None,
        priors_used=evidence.priors_used if evidence else (),
        version=__version__,
    )


def _fit(evidence: OffsetEvidence | None) -> tuple[OffsetFit | None, str]:
    if evidence is None:
        return None, "there is no solved model to hold the frame against"
    if evidence.missing:
        return None, evidence.missing
    try:
        return fit_offset(evidence.blocks, evidence.prior), ""
    except DegenerateGeometryError as error:
        return None, str(error)


def _sections(fit: OffsetFit | None, moved_mm: float) -> tuple[Section, ...]:
    if fit is None:
        return ()
    if fit.depth_block is not None:
        return map_sections(fit.depth_block, fit.parameters, moved_mm)
    return tuple(
        profile_section(block, fit.parameters, moved_mm)
        for block in fit.solution.blocks
        if isinstance(block, ProfileBlock)
    )
