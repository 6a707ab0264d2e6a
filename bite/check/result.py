"""The check of one frame as the content of a result file: every number that text and figures show."""

from __future__ import annotations

from collections.abc import Mapping
from math import isfinite
from typing import TypeAlias

from bite.check.assessment import Assessment, CornerMark
from bite.check.decision import stands_at
from bite.check.finding import Finding
from bite.check.words import dial_before, dial_stands, step_of
from bite.evidence.clicks.triangulated import TriangulatedCorner
from bite.files.device import Device
from bite.files.result import FORMAT
from bite.fit.offset import OffsetFit
from bite.fit.parameters import P
from bite.stats.estimate import Estimate

Json: TypeAlias = "str | int | float | bool | list[Json] | dict[str, Json] | None"
EVIDENCE = ("depth", "corners")
"""Kinds of evidence that always have a share in a result; null for one that the frame lacks."""


def result_mapping(assessment: Assessment) -> dict[str, Json]:
    """Give the content of a result file.

    The same assessment gives the same mapping, keys in the same order. What was not measured, or is not
    finite, is None.
    """
    frame, fit = assessment.frame, assessment.fit
    return {
        "format": FORMAT,
        "frame": frame.name,
        "performer": frame.file.performer,
        "device": frame.file.device,
        "offset": _offset(fit) if fit else None,
        "why_no_offset": assessment.why_no_offset,
        "decision": _decision(assessment),
        "findings": [
            finding_mapping(finding, {"needs_reshoot": finding.needs_reshoot})
            for finding in assessment.findings
        ],
        "measures": _measures(assessment),
        "fit": _fit(fit) if fit else None,
        "marks": [_mark(mark) for mark in assessment.marks],
        "triangulated": [_triangulated(corner) for corner in assessment.triangulated],
        "annotators": _annotators(assessment),
        "tolerance_mm": finite_number(assessment.decision.tolerance_mm),
        "settings": settings_mapping(
            tolerance_mm=assessment.decision.tolerance_mm,
            performance_device=assessment.performance_device,
            device=frame.device,
        ),
        "moved_mm": finite_number(assessment.moved_mm),
        "px_per_mm": finite_number(assessment.px_per_mm),
        "priors_used": list(assessment.priors_used),
        "inputs": {path: frame.hashes[path] for path in sorted(frame.hashes)},
        "version": assessment.version,
    }


def settings_mapping(
    *, tolerance_mm: float, performance_device: str | None, device: Device
) -> dict[str, Json]:
    """Give what a result depends on besides its inputs and the version."""
    return {
        "tolerance_mm": finite_number(tolerance_mm),
        "performance_device": performance_device,
        "device": {
            "source": device.source,
            "smoothing_px": finite_number(device.smoothing_px),
            "smoothing_sd_px": finite_number(device.smoothing_sd_px),
            "enamel_bias_mm": finite_number(device.enamel_bias_mm),
            "enamel_bias_sd_mm": finite_number(device.enamel_bias_sd_mm),
            "noise_mm": finite_number(device.noise_mm),
            "correlation_px": finite_number(device.correlation_px),
            "filter": device.filter,
        },
    }


def _annotators(assessment: Assessment) -> list[Json]:
    named = {view.corners.annotator for view in assessment.frame.views if view.corners is not None}
    return [*sorted(named - {""})]


def finite_number(value: float | None) -> float | None:
    """Give a number that JSON can hold, or None."""
    return float(value) if value is not None and isfinite(value) else None


def _value(estimate: Estimate | None) -> float | None:
    return finite_number(estimate.value) if estimate else None


def _sd(estimate: Estimate | None) -> float | None:
    return finite_number(estimate.sd) if estimate else None


def estimate_mapping(estimate: Estimate | None) -> Json:
    """Give a value with its sd, or None."""
    return {"value": finite_number(estimate.value), "sd": finite_number(estimate.sd)} if estimate else None


def _offset(fit: OffsetFit) -> dict[str, Json]:
    solution = fit.solution
    information: dict[str, Json] = dict.fromkeys(EVIDENCE)
    information |= {name: finite_number(share) for name, share in solution.evidence_share.items()}
    information["prior"] = finite_number(solution.prior_share)
    return {
        "t_mm": finite_number(fit.offset.value),
        "sd_mm": finite_number(fit.offset.sd),
        "sampling_sd_mm": finite_number(fit.sampling_sd_mm),
        "systematic_sd_mm": finite_number(fit.systematic_sd_mm),
        "interval_mm": [finite_number(end) for end in fit.offset.interval],
        "per_enamel_mm": finite_number(fit.forward_per_enamel),
        "lateral_right_mm": _value(fit.right),
        "lateral_right_sd_mm": _sd(fit.right),
        "lateral_up_mm": _value(fit.up),
        "lateral_up_sd_mm": _sd(fit.up),
        "smoothing_px": _value(fit.smoothing),
        "smoothing_sd_px": _sd(fit.smoothing),
        "rows_difference_mm": _value(fit.rows),
        "rows_difference_sd_mm": _sd(fit.rows),
        "converged": solution.converged,
        "stop_reason": solution.stop_reason,
        "information": information,
    }


def _decision(assessment: Assessment) -> dict[str, Json]:
    decision, move = assessment.decision, assessment.decision.move
    return {
        "verdict": str(decision.verdict),
        "dial": finite_number(move.after) if move else None,
        "dial_before": finite_number(dial_before(assessment)),
        "dial_before_mm": _before_mm(assessment),
        "dial_step": finite_number(step_of(assessment)) if assessment.frame.rig else None,
        "left_over_mm": finite_number(move.left_over_mm) if move else None,
        "why": decision.why,
        "dial_advised": dial_stands(assessment),
        "dial_interval": [finite_number(end) for end in move.interval] if move else None,
        "stands_for_mm": finite_number(move.stands_for_mm) if move else None,
        "saturated": move.saturated if move else None,
    }


def _before_mm(assessment: Assessment) -> float | None:
    rig, before = assessment.frame.rig, dial_before(assessment)
    return finite_number(stands_at(rig.dial, before)) if rig is not None and before is not None else None


def finding_mapping(finding: Finding, also: Mapping[str, Json]) -> dict[str, Json]:
    """Give a finding, with what only one kind of file says of it before the source."""
    return {
        "code": finding.code,
        "severity": str(finding.severity),
        "measured": finite_number(finding.measured),
        "sd": finite_number(finding.sd),
        "limit": finite_number(finding.limit),
        "unit": finding.unit,
        "text": finding.text,
        "todo": finding.todo,
        **also,
        "source": finding.source,
    }


def _measures(assessment: Assessment) -> dict[str, Json]:
    measures = assessment.measures
    return {
        "gap_mm": estimate_mapping(measures.gap),
        "gap_picture_mm": estimate_mapping(measures.gap_picture),
        "overjet_mm": estimate_mapping(measures.overjet),
        "overjet_solved_mm": finite_number(measures.overjet_solved_mm),
        "overbite_mm": estimate_mapping(measures.overbite),
        "overbite_solved_mm": finite_number(measures.overbite_solved_mm),
    }


def _fit(fit: OffsetFit) -> dict[str, Json]:
    solution = fit.solution
    return {
        "converged": solution.converged,
        "stop_reason": solution.stop_reason,
        "rounds": solution.rounds,
        "first_cost": finite_number(solution.first_cost),
        "last_cost": finite_number(solution.last_cost),
        "degrees_of_freedom": solution.freedom,
        "reduced_chi_square": {name: finite_number(value) for name, value in solution.chi2_reduced.items()},
        "inlier_share": {name: finite_number(value) for name, value in solution.inlier_share.items()},
        "condition": finite_number(solution.condition),
        "at_bound": list(solution.at_bound),
        "prior_share": finite_number(solution.prior_share),
        "parameters": {
            p.name.lower(): {
                "value": finite_number(solution.parameters[p]),
                "sd": finite_number(solution.sd(p)),
            }
            for p in _free(fit)
        },
    }


def _free(fit: OffsetFit) -> tuple[P, ...]:
    """Give the parameters that stand for something: a profile's own only where there is one."""
    if fit.profile_block is not None:
        return tuple(P)
    return tuple(p for p in P if p not in (P.PROFILE_OFFSET_MM, P.PROFILE_SLOPE))


def _mark(mark: CornerMark) -> dict[str, Json]:
    return {
        "view": mark.view,
        "name": mark.name,
        "state": mark.state,
        "clicked_px": _pixel(mark.clicked_px),
        "before_px": _pixel(mark.before_px),
        "after_px": _pixel(mark.after_px),
    }


def _triangulated(corner: TriangulatedCorner) -> dict[str, Json]:
    return {
        "name": corner.name,
        "views": list(corner.views),
        "point_mm": [finite_number(value) for value in corner.point_mm],
        "covariance_mm2": [[finite_number(value) for value in row] for row in corner.covariance_mm2],
        "off_px": [[finite_number(value) for value in row] for row in corner.off_px],
        "chi_square": finite_number(corner.chi2),
        "degrees_of_freedom": corner.dof,
    }


def _pixel(pixel: tuple[float, float] | None) -> Json:
    return [finite_number(value) for value in pixel] if pixel is not None else None
