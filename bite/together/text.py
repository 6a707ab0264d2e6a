"""Several frames of one performer as text and as the content of a JSON file."""

from __future__ import annotations

from collections.abc import Iterator
from textwrap import fill

from bite.check.decision import Verdict, stands_at, way
from bite.check.finding import Finding, Severity
from bite.check.result import Json, estimate_mapping, finding_mapping, finite_number, settings_mapping
from bite.check.words import (
    CAUTION,
    dial_told,
    instruction,
    interval_told,
    measured_told,
    rounded_pair,
    signed,
    told,
)
from bite.stats.spread import ASIDE_SCALE_MM, SCALE_MM, TAIL
from bite.together.frames_agree import CODE
from bite.together.shared_offset import Part, Role, Together

FORMAT = "bite-together 1"
_WIDTH, _LABEL = 100, 20
"""Letters of a terminal's line, and of the column of labels."""
BELIEF = (
    f"spread between bites believed beforehand: half a Student t, {TAIL} degrees of freedom, scale "
    f"{SCALE_MM:g} mm along forward and {ASIDE_SCALE_MM:g} mm across it (our choice)"
)


def headline(found: Together) -> str:
    """Give performer, verdict and instruction in one line."""
    told_ = instruction(found.decision, found.offset, _step(found))
    return f"{found.performer}, {_count(found)}: {found.decision.verdict.upper()} - {told_}"


def reason(found: Together) -> str:
    """Give the decision's own sentence where it adds to the headline, else nothing."""
    return "" if found.decision.verdict in (Verdict.MOVE, Verdict.BEYOND) else found.decision.why


def together_line(found: Together) -> str:
    """Give the verdict, the instruction and the offset on one line, however long."""
    return f"{headline(found)} ({'; '.join(_what_differs(found))})"


def _what_differs(found: Together) -> Iterator[str]:
    """Give what the headline does not say: the offset where it has none, and how the frames differ."""
    added = reason(found)
    if found.offset is None or added:
        yield found.decision.why
    if found.offset is not None and added and "offset" not in added:
        yield f"offset {told(found.offset, 'mm', sign=True)}"
    used = [part for part in found.parts if part.role is not Role.LEFT_OUT]
    alone = sorted(part.offset.value for part in used if part.offset is not None)
    if len(alone) > 1:
        low, high = (signed(f"{value + 0.0:.2f}") for value in (alone[0], alone[-1]))
        yield f"alike alone at {low} mm" if low == high else f"alone from {low} to {high} mm"
    if left := [part.assessment.frame.name for part in found.parts if part.role is Role.LEFT_OUT]:
        yield f"left out: {', '.join(left)}"
    for finding in found.findings:
        told_already = finding.text in found.decision.why
        if finding.code == CODE and finding.severity is not Severity.OK and not told_already:
            yield finding.text


def together_text(found: Together) -> str:
    """Give the whole as text for a terminal: lines of at most 100 columns, ending in a line end."""
    lines = [fill(headline(found), _WIDTH, subsequent_indent="    ")]
    if added := reason(found):
        lines.append(fill(added, _WIDTH, initial_indent="  ", subsequent_indent="  "))
    lines += ["", *_findings(found.findings), "", "Frames (mm, forward is positive)"]
    lines += [line for part in found.parts for line in _frame_rows(part)]
    lines += ["", "Together", *_numbers(found), "", fill(f"Assumed: {BELIEF}", _WIDTH), "", CAUTION]
    return "\n".join(lines) + "\n"


def spread_told_in_words(found: Together) -> str:
    """Say how much a bite differs from frame to frame."""
    if found.joint is None:
        return "not measured"
    spread = found.joint.spread
    low, high = spread.interval_mm
    return f"{spread.median_mm:.2f} mm (95 %: {low:.2f} to {high:.2f} mm)"


def _count(found: Together) -> str:
    used = sum(part.role is not Role.LEFT_OUT for part in found.parts)
    return f"{used} frames together" if used == len(found.parts) else f"{used} of {len(found.parts)} frames"


def _step(found: Together) -> float:
    return found.zero.rig.dial.step if found.zero.rig else 0.01


def _row(label: str, text: str) -> str:
    return fill(
        f"{label:<{_LABEL}}{text}", _WIDTH, initial_indent="  ", subsequent_indent=" " * (_LABEL + 2)
    )


def _findings(findings: tuple[Finding, ...]) -> Iterator[str]:
    hanging = " " * 22
    for finding in findings:
        if finding.severity is Severity.OK:
            continue
        yield fill(
            f"  {finding.severity.upper():<6}{finding.code:<14}{finding.text}",
            _WIDTH,
            subsequent_indent=hanging,
        )
        if finding.todo:
            yield fill(f"To do: {finding.todo}", _WIDTH, initial_indent=hanging, subsequent_indent=hanging)
    for finding in findings:
        if finding.severity is Severity.OK:
            yield fill(f"  {'ok':<6}{finding.code:<14}{finding.text}", _WIDTH, subsequent_indent=hanging)


def _frame_rows(part: Part) -> Iterator[str]:
    name = part.assessment.frame.name
    if part.role is Role.LEFT_OUT:
        yield _row(name, f"left out: {part.why_left_out}")
        return
    if part.offset is None or part.own_sd_mm is None:
        text = "corners of one view: no offset of its own, in the joint fit"
    else:
        own = rounded_pair(part.own_sd_mm, part.own_sd_mm)[1]
        text = f"{told(part.offset, 'mm', sign=True)}, of that its own {own} mm"
    if part.share is not None:
        text += f"; weighs {100 * part.share:.0f} %"
    if part.without is not None and part.without.offset is not None:
        text += f"; without it {told(part.without.offset, 'mm', sign=True)}"
    yield _row(name, text)


def _numbers(found: Together) -> Iterator[str]:
    joint, offset, move, step = found.joint, found.offset, found.decision.move, _step(found)
    solved = found.zero.file.solved
    if joint is None or offset is None:
        yield _row("offset", f"none: {found.decision.why}")
        return
    at = f", from dial {dial_told(solved.dial, step)}" if solved and solved.dial is not None else ""
    yield _row(
        "offset", f"{told(offset, 'mm', sign=True)}, 95 % interval {interval_told(offset, 'mm')}{at}"
    )
    common = rounded_pair(joint.common_sd_mm, joint.common_sd_mm)[1]
    yield _row("  common sd", f"{common} mm, which more frames alike do not shrink")
    yield _row("spread of bites", f"{spread_told_in_words(found)}, believed and seen")
    if found.paule_mandel_mm is not None and found.dersimonian_laird_mm is not None:
        yield _row(
            "  from frames alone",
            f"{found.paule_mandel_mm:.2f} mm (Paule-Mandel), {found.dersimonian_laird_mm:.2f} mm "
            "(DerSimonian-Laird)",
        )
    yield _row("sideways (u)", f"{told(joint.right, 'mm', sign=True)}, right in the picture")
    yield _row("upwards (v)", told(joint.up, "mm", sign=True))
    if move is not None:
        low, high = (dial_told(end, step) for end in move.interval)
        stands = found.decision.verdict in (Verdict.LEAVE, Verdict.MOVE, Verdict.BEYOND)
        beside = "" if stands else "NOT ADVISED, shown for the record: "
        does = way(move.stands_for_mm) if abs(move.stands_for_mm) >= 0.05 else "no move"
        yield _row(
            "dial",
            f"{beside}{dial_told(move.before, step)} to {dial_told(move.after, step)}, which is {does}; "
            f"95 % interval {low} to {high}",
        )
    yield _row("tolerance", f"{found.decision.tolerance_mm:g} mm")


def together_mapping(found: Together) -> dict[str, Json]:
    """Give the content of the JSON file: the same frames give the same content, keys in the same order."""
    joint, offset, decision, move = found.joint, found.offset, found.decision, found.decision.move
    solved, rig = found.zero.file.solved, found.zero.rig
    before = solved.dial if solved else None
    return {
        "format": FORMAT,
        "performer": found.performer,
        "offset": None
        if joint is None or offset is None
        else {
            "t_mm": offset.value,
            "sd_mm": offset.sd,
            "interval_mm": [*offset.interval],
            "common_sd_mm": joint.common_sd_mm,
            "lateral_right_mm": joint.right.value,
            "lateral_right_sd_mm": joint.right.sd,
            "lateral_up_mm": joint.up.value,
            "lateral_up_sd_mm": joint.up.sd,
            "converged": joint.converged,
            "rounds": joint.rounds,
        },
        "between_frames": None
        if joint is None
        else {
            "tau_mm": joint.spread.median_mm,
            "tau_interval_mm": [*joint.spread.interval_mm],
            "paule_mandel_mm": finite_number(found.paule_mandel_mm),
            "dersimonian_laird_mm": finite_number(found.dersimonian_laird_mm),
            "belief": BELIEF,
        },
        "decision": {
            "verdict": str(decision.verdict),
            "dial": move.after if move else None,
            "dial_before": before,
            "dial_before_mm": stands_at(rig.dial, before) if rig and before is not None else None,
            "dial_interval": [*move.interval] if move else None,
            "stands_for_mm": move.stands_for_mm if move else None,
            "left_over_mm": move.left_over_mm if move else None,
            "saturated": move.saturated if move else None,
            "dial_advised": move is not None
            and decision.verdict in (Verdict.LEAVE, Verdict.MOVE, Verdict.BEYOND),
            "why": decision.why,
        },
        "findings": [
            finding_mapping(finding, {"numbers": measured_told(finding)}) for finding in found.findings
        ],
        "frames": [_frame(part) for part in found.parts],
        "tolerance_mm": decision.tolerance_mm,
        "version": found.version,
    }


def _frame(part: Part) -> dict[str, Json]:
    look, held = part.assessment, part.without
    frame = look.frame
    return {
        "frame": frame.name,
        "device": frame.file.device,
        "role": str(part.role),
        "why_left_out": part.why_left_out,
        "verdict_alone": str(look.decision.verdict),
        "stands_mm": part.stands_mm,
        "offset_mm": estimate_mapping(part.offset),
        "own_sd_mm": finite_number(part.own_sd_mm),
        "share": finite_number(part.share),
        "apart_mm": estimate_mapping(held.apart) if held else None,
        "apart_chance": finite_number(held.chance) if held else None,
        "without_mm": estimate_mapping(held.offset) if held else None,
        "settings": settings_mapping(
            tolerance_mm=look.decision.tolerance_mm,
            performance_device=look.performance_device,
            device=frame.device,
        ),
        "inputs": {path: frame.hashes[path] for path in sorted(frame.hashes)},
    }
