"""The check of one bite frame, in order: evidence, fit, measures, checks, decision, sections, marks."""

from __future__ import annotations

from dataclasses import dataclass, replace

from bite import __version__
from bite.check.assessment import Assessment
from bite.check.checks.every import capture_findings, model_findings
from bite.check.decision import TOLERANCE_MM, Decision, Verdict, decide
from bite.check.finding import worst_first
from bite.check.lips_doubt import with_lips_doubt
from bite.check.marks import marks_of
from bite.check.sections import Section, map_sections, profile_section
from bite.check.settle import what_would_settle
from bite.errors import DegenerateGeometryError
from bite.evidence.blocks import OffsetEvidence, offset_evidence
from bite.evidence.clicks.click_residuals import click_residuals, rows_contradict_sd
from bite.evidence.clicks.corner_order import refuse_swapped_corners
from bite.evidence.depth.coarse_place import where_a_fit_starts
from bite.evidence.model.head import SolvedHead, solved_head
from bite.evidence.model.hidden_teeth import solved_teeth_in_view
from bite.evidence.mouth.named_for_another import refuse_names_of_others
from bite.evidence.observed import observe
from bite.evidence.stereo.depth import with_stereo_depth
from bite.files.bundle import BiteFrame
from bite.fit.offset import OffsetFit, fit_offset
from bite.geometry.teeth import is_upper
from bite.stats.estimate import with_sign

ROWS_CONTRADICT_SD = 3.0
"""Lower clicks so far from where the upper ones put them are another bite, not scatter: 1 in 370 by chance
(our choice)."""
UPPER_FINE_SD = 3.0
"""The lower clicks are left out only where the upper ones then all lie within this of the model (our
choice)."""
NO_MODEL = "there is no solved model to hold the frame against"


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
        When the inputs contradict each other so that no comparison makes sense: mirrored or swapped
        corners, a wrong unit, a model out of the picture or with its teeth hidden.

    Examples
    --------
    >>> from pathlib import Path
    >>> from bite.files.bundle import load_frame
    >>> path = Path("demo_bite/whimbrel/whimbrel-a02.bite.toml")
    >>> str(check_frame(load_frame(path)).decision.verdict) if path.exists() else "usable"
    'usable'
    """
    solved = solved_head(frame)
    frame = with_stereo_depth(frame, None if solved is None else solved.head)
    as_given = None if solved is None else solved_teeth_in_view(frame, solved)
    refuse_swapped_corners(frame, None if solved is None else solved.head)
    solved, placed = where_a_fit_starts(frame, solved)
    refuse_names_of_others(frame, None if solved is None else solved.head)
    as_solved = None
    if solved is not None and placed is not None:
        as_solved, as_given = as_given, solved_teeth_in_view(frame, solved)
    fitted = _fitted(frame, solved)
    fit, evidence = fitted.fit, fitted.evidence
    corners = None if evidence is None else evidence.corners
    observed = observe(frame, solved, as_given, fit, corners, placed, as_solved)
    if fit is not None and observed.skin is not None:
        fit = with_lips_doubt(fit, observed.skin.lips)
    findings = capture_findings(
        observed,
        fit,
        device=frame.device,
        performance_device=performance_device,
        stereo=frame.stereo,
        held=None if frame.depth_map is None else frame.depth_map.held,
        two_views=len(observed.triangulated) >= 2 if evidence is None else evidence.two_views,
        lower_left_out=fitted.lower_left_out,
        rows_contradict_sd=fitted.rows_contradict_sd,
        solved=frame.file.solved is not None,
    )
    if solved is not None:
        findings += model_findings(observed, fit, solved, tolerance_mm=tolerance_mm)
    decision = decide(
        solved=frame.file.solved is not None,
        offset=fit.offset if fit else None,
        findings=worst_first(findings),
        dial=frame.rig.dial if frame.rig else None,
        dial_before=frame.file.solved.dial if frame.file.solved else None,
        tolerance_mm=tolerance_mm,
        settle=fitted.settle,
    )
    decision = _unsure_unless_settled(decision, fit)
    moved_mm = decision.move.stands_for_mm if decision.move else fit.offset.value if fit else 0.0
    return Assessment(
        frame=frame,
        solved=solved,
        fit=fit,
        why_no_offset=fitted.why_none,
        findings=tuple(worst_first(findings)),
        measures=observed.measures,
        decision=decision,
        marks=marks_of(frame, solved, fit.parameters if fit else None, moved_mm),
        sections=_sections(fit, moved_mm),
        moved_mm=moved_mm,
        px_per_mm=None if observed.mouth is None else 1.0 / observed.mouth.mm_per_px,
        priors_used=evidence.priors_used if evidence else (),
        version=__version__,
        performance_device=performance_device,
        triangulated=observed.triangulated,
    )


@dataclass(frozen=True, slots=True)
class _Fitted:
    fit: OffsetFit | None
    evidence: OffsetEvidence | None
    why_none: str
    settle: str
    lower_left_out: bool = False
    rows_contradict_sd: float = 0.0


def _fitted(frame: BiteFrame, solved: SolvedHead | None) -> _Fitted:
    """Fit, and once more without the lower clicks where these contradict the upper ones."""
    if solved is None:
        if frame.file.solved is None:
            return _Fitted(None, None, NO_MODEL, "")
        lacks = "[solved] has no forward, so that forward and back are not known"
        return _Fitted(None, None, lacks, "write forward, or a mesh with its rig, into [solved]")
    evidence = offset_evidence(frame, solved)
    if evidence.missing:
        return _Fitted(None, evidence, evidence.missing, evidence.settle)
    try:
        fit = fit_offset(evidence.blocks, evidence.prior)
        apart = 0.0
        left_out = False
        if evidence.corners is not None:
            apart = rows_contradict_sd(click_residuals(evidence.corners, fit.parameters))
            if apart > ROWS_CONTRADICT_SD:
                alone = _without_lower(frame, solved)
                left_out, fit = alone is not None, alone or fit
    except DegenerateGeometryError as error:
        return _Fitted(None, evidence, str(error), "depth readings on the teeth, or a second calibrated view")
    settle = what_would_settle(frame, solved, evidence, fit)
    return _Fitted(fit, evidence, "", settle, left_out, apart)


def _without_lower(frame: BiteFrame, solved: SolvedHead) -> OffsetFit | None:
    """Fit the upper clicks alone; None where that cannot be done or does not make them fine."""
    evidence = offset_evidence(frame, solved, use_lower=False)
    if evidence.missing or evidence.corners is None:
        return None
    fit = fit_offset(evidence.blocks, evidence.prior)
    upper = [
        r
        for r in click_residuals(evidence.corners, fit.parameters)
        if r.name[0].isdigit() and is_upper(r.name)
    ]
    return fit if upper and all(r.off_sd < UPPER_FINE_SD for r in upper) else None


def _unsure_unless_settled(decision: Decision, fit: OffsetFit | None) -> Decision:
    """Take back an answer whose fit did not settle, or ended at a bound of the offset."""
    if fit is None or decision.verdict in (Verdict.RESHOOT, Verdict.UNSURE):
        return decision
    if fit.solution.converged and "forward_mm" not in fit.solution.at_bound:
        return decision
    why = fit.solution.stop_reason if not fit.solution.converged else "it ended at its bound"
    told = f"{with_sign(fit.offset.value, 2)} +- {fit.offset.sd:.2f} mm"
    return replace(decision, verdict=Verdict.UNSURE, why=f"the fit did not settle ({why}; offset {told})")


def _sections(fit: OffsetFit | None, moved_mm: float) -> tuple[Section, ...]:
    if fit is None:
        return ()
    if fit.depth_block is not None:
        return map_sections(fit.depth_block, fit.solution.unknowns_of(fit.depth_block), moved_mm)
    line = fit.profile_block
    return () if line is None else (profile_section(line, fit.solution.unknowns_of(line), moved_mm),)
