"""The check of one frame as text for a terminal or a log: plain, at most 100 columns, worst first."""

from __future__ import annotations

import re
from collections.abc import Iterator
from textwrap import fill

from bite.check.assessment import Assessment, BiteMeasures
from bite.check.decision import Verdict, way
from bite.check.finding import Finding, Severity
from bite.check.words import (
    CAUTION,
    dial_before,
    dial_stands,
    dial_told,
    headline,
    interval_told,
    measured_told,
    reason,
    rounded_pair,
    step_of,
    told,
)
from bite.fit.offset import OffsetFit
from bite.stats.estimate import Estimate

WIDTH = 100
"""Letters of a terminal's line."""
_INDENT = 2
"""Letters."""
_LABEL = 20
"""Letters of the column of labels."""
_HELD = re.compile(r"(?<=\d) (?=(?:%|mm|px|\+-)(?:\W|$))|(?<=\+-) (?=\d)")


def one_line(assessment: Assessment) -> str:
    """Give the verdict, the instruction and the offset on one line, however long."""
    line = headline(assessment)
    if assessment.decision.verdict in (Verdict.MOVE, Verdict.BEYOND):
        return line  # which tells the offset with its sd
    offset = "" if assessment.fit is None else f"offset {told(assessment.fit.offset, 'mm', sign=True)}"
    added = reason(assessment)
    # a sentence that tells the offset itself is not followed by it once more
    said = [added] if "offset" in added else [part for part in (added, offset) if part]
    if said:
        line += f" ({'; '.join(said)})"
    return line


def summary(assessment: Assessment) -> str:
    """Give the whole check as text.

    Returns
    -------
    str : lines of at most 100 columns, ending in a line end
    """
    parts = [wrapped(headline(assessment), 0, 4)]
    if added := reason(assessment):
        parts.append(wrapped(added, _INDENT))
    if assessment.findings:
        parts += ["", "Findings, worst first", *_findings(assessment.findings)]
    if numbers := list(_numbers(assessment)):
        parts += ["", "Numbers (forward, right, up are positive)", *numbers]
    if assessment.priors_used:
        parts += ["", "Assumed beforehand"]
        parts += [wrapped(f"- {prior}", _INDENT, _INDENT + 2) for prior in assessment.priors_used]
    parts += ["", wrapped(CAUTION, 0)]
    return "\n".join(parts) + "\n"


def wrapped(text: str, indent: int, hanging: int | None = None) -> str:
    """Break a text into lines of at most 100 columns, never between a number and its sd or unit."""
    after = " " * (indent if hanging is None else hanging)
    # a number is not parted from its sd and unit at the end of a line
    held = _HELD.sub("\u00a0", text)
    return fill(held, WIDTH, initial_indent=" " * indent, subsequent_indent=after).replace("\u00a0", " ")


def _findings(findings: tuple[Finding, ...]) -> Iterator[str]:
    wide = max(len(finding.code) for finding in findings) + 2
    hanging = _INDENT + 6 + wide
    for finding in findings:
        if finding.severity is Severity.OK:
            continue
        word = finding.severity.upper() if finding.severity is not Severity.NOTE else "note"
        yield wrapped(f"{word:<6}{finding.code:<{wide}}{finding.text}", _INDENT, hanging)
        if numbers := measured_told(finding):
            yield wrapped(numbers, hanging)
        if finding.todo:
            yield wrapped(f"To do: {finding.todo}", hanging, hanging + 7)
    passed = [finding.code for finding in findings if finding.severity is Severity.OK]
    if passed:
        yield wrapped(f"{'ok':<6}{', '.join(passed)}", _INDENT, _INDENT + 6)


def _row(label: str, text: str) -> str:
    return wrapped(f"{label:<{_LABEL}}{text}", _INDENT, _INDENT + _LABEL)


def _numbers(assessment: Assessment) -> Iterator[str]:
    if assessment.fit is not None:
        yield from _offset_rows(assessment.fit)
    elif assessment.why_no_offset:
        yield _row("offset", f"none: {assessment.why_no_offset}")
    yield from _dial_rows(assessment)
    yield from _measure_rows(assessment.measures)
    if assessment.px_per_mm is not None:
        yield _row("picture", f"{assessment.px_per_mm:.2f} px per mm on the teeth")
    if assessment.fit is not None:
        yield from _fit_rows(assessment.fit)
    if assessment.fit is not None or assessment.frame.file.solved is not None:
        yield _row("tolerance", f"{assessment.decision.tolerance_mm:g} mm")


def _offset_rows(fit: OffsetFit) -> Iterator[str]:
    offset = fit.offset
    yield _row("offset", f"{told(offset, 'mm', sign=True)}, 95 % interval {interval_told(offset, 'mm')}")
    sampling, systematic = (rounded_pair(sd, sd)[1] for sd in (fit.sampling_sd_mm, fit.systematic_sd_mm))
    yield _row("  sampling sd", f"{sampling} mm, from the scatter of the evidence")
    yield _row("  systematic sd", f"{systematic} mm, from assumptions that the data could not check")
    yield _row("  known from", shares_told(fit))
    yield _row("sideways (u)", f"{told(fit.right, 'mm', sign=True)}, right in the picture")
    yield _row("upwards (v)", told(fit.up, "mm", sign=True))
    if fit.smoothing is not None:
        yield _row("sensor smoothing", told(fit.smoothing, "depth px (Gaussian sd)"))
    if fit.rows is not None:
        yield _row("rows apart", f"{told(fit.rows, 'mm', sign=True)}, lower offset minus upper offset")


def shares_told(fit: OffsetFit) -> str:
    """Give each kind of evidence's share of what is known of the offset, and the priors' share."""
    shares = [*fit.solution.evidence_share.items(), ("priors", fit.solution.prior_share)]
    return ", ".join(f"{name} {100 * share:.0f} %" for name, share in shares)


def _dial_rows(assessment: Assessment) -> Iterator[str]:
    move, step = assessment.decision.move, step_of(assessment)
    if move is None:
        before = dial_before(assessment)
        if before is not None:
            yield _row("dial", f"solved at {dial_told(before, step)}; no new value can be given")
        return
    low, high = (dial_told(end, step) for end in move.interval)
    interval = (
        f"95 % interval {low} to {high}" if low != high else "the whole 95 % interval lies beyond its end"
    )
    rig = assessment.frame.rig
    limit = f", limits +-{rig.dial.limit:g}" if rig else ""
    what = f"{dial_told(move.before, step)} to {dial_told(move.after, step)}"
    stands = f"{way(move.stands_for_mm)}" if abs(move.stands_for_mm) >= 0.05 else "no move"
    beside = "" if dial_stands(assessment) else "NOT ADVISED, shown for the record: "
    yield _row("dial", f"{beside}{what}, which is {stands}; {interval}{limit}")
    if move.tells_left_over:
        where = "beyond the end of the dial" if move.saturated else "between two steps of the dial"
        yield _row("  left over", f"{way(move.left_over_mm)}, {where}")


def _measure_rows(measures: BiteMeasures) -> Iterator[str]:
    def opening(estimate: Estimate | None) -> str:
        return told(estimate, "mm") if estimate is not None else "not measured"

    if measures.gap is not None or measures.gap_picture is not None:
        yield _row(
            "gap",
            f"{opening(measures.gap)} from corners, {opening(measures.gap_picture)} from the picture "
            "(negative: the rows overlap)",
        )
    for label, measured, solved in (
        ("overjet", measures.overjet, measures.overjet_solved_mm),
        ("overbite", measures.overbite, measures.overbite_solved_mm),
    ):
        if measured is not None or solved is not None:
            beside = (
                f"{solved:.1f} mm in the solved model"
                if solved is not None
                else "not known in a solved model"
            )
            yield _row(
                label, f"{opening(measured)} measured, {beside}" if measured else f"not measured, {beside}"
            )


def _fit_rows(fit: OffsetFit) -> Iterator[str]:
    solution = fit.solution
    state = "converged" if solution.converged else "NOT CONVERGED"
    yield _row("fit", f"{state} after {solution.rounds} rounds: {solution.stop_reason}")
    for name, chi2 in solution.chi2_reduced.items():
        inliers = solution.inlier_share.get(name)
        beside = f", {100 * inliers:.0f} % within 3 sd" if inliers is not None else ""
        yield _row(f"  {name}", f"reduced chi-square {chi2:.2f}{beside}")
    yield _row("  observations", f"{solution.freedom} more than unknowns; condition {solution.condition:.1e}")
    if solution.at_bound:
        yield _row("  at its bound", ", ".join(solution.at_bound))
