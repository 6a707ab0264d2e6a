"""The findings of one frame in short, worst first, for the side of a figure."""

from __future__ import annotations

from textwrap import wrap
from typing import TYPE_CHECKING

from bite.check.assessment import Assessment
from bite.check.finding import Finding, Severity
from bite.check.words import measured_told
from bite.plots.style import INK, READ_PT, size_in

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_WORDS = {Severity.FAIL: "FAIL", Severity.WARN: "WARN", Severity.NOTE: "note", Severity.OK: "ok"}
_LINE_PT = 1.25


def draw_findings(axes: Axes, assessment: Assessment) -> None:
    """Write what was found and what to do; what does not fit is counted, never cut off in silence."""
    axes.set_axis_off()
    axes.set_title("Findings, worst first", fontsize=READ_PT + 0.5)
    findings = assessment.findings
    if not findings:
        axes.text(0.0, 0.97, "No checks were made.", va="top", color=INK, transform=axes.transAxes)
        return
    width_in, height_in = size_in(axes)
    columns = max(16, int(width_in * 72 / (0.56 * READ_PT)))
    room = int(height_in * 72 / (_LINE_PT * READ_PT))
    shown, passed = _blocks(findings, columns)
    tail = wrap(_passed(passed, bool(shown)), columns) if passed else []
    kept: list[tuple[str, list[str]]] = []
    used, shortened = len(tail) + 1.0, False
    for head, lines, text_lines in shown:
        spare = room - used - 1.6
        if len(lines) > spare and text_lines > spare:
            break
        # where not all of a finding fits, its sentence does
        shortened |= len(lines) > spare
        kept.append((head, lines if len(lines) <= spare else lines[:text_lines]))
        used += len(kept[-1][1]) + 1.6
    if len(kept) < len(shown):
        left = ", ".join(head.split()[-1] for head, *_ in shown[len(kept) :])
        tail = [*wrap(f"and {len(shown) - len(kept)} more, in the text report: {left}", columns), *tail]
    elif shortened:
        tail = [*wrap("what to do: see the text report", columns), *tail]
    y, line = 0.98, _LINE_PT * READ_PT / 72 / height_in
    for head, lines in kept:
        axes.text(
            0.0, y, head, va="top", fontsize=READ_PT + 0.5, fontweight="bold", color=INK,
            transform=axes.transAxes,
        )  # fmt: skip
        y -= 1.15 * line
        y = _paragraph(axes, y, lines, line) - 0.45 * line
    _paragraph(axes, y, tail, line)


def _passed(passed: list[str], others: bool) -> str:
    return f"The other {len(passed)} checks passed." if others else f"All {len(passed)} checks passed."


def _paragraph(axes: Axes, y: float, lines: list[str], line: float) -> float:
    if lines:
        text = "\n".join(lines)
        axes.text(
            0.0,
            y,
            text,
            va="top",
            fontsize=READ_PT,
            color=INK,
            linespacing=_LINE_PT,
            transform=axes.transAxes,
        )
    return y - len(lines) * line


def _blocks(
    findings: tuple[Finding, ...], columns: int
) -> tuple[list[tuple[str, list[str], int]], list[str]]:
    """Give heading, lines and how many of them are the sentence; and the codes of what passed."""
    shown = []
    for finding in findings:
        if finding.severity is not Severity.OK:
            lines = wrap(finding.text, columns)
            sentence = len(lines)
            if numbers := measured_told(finding, "±"):
                lines += wrap(numbers, columns)
            if finding.todo:
                lines += wrap(f"→ {finding.todo}", columns)
            shown.append((f"{_WORDS[finding.severity]}  {finding.code}", lines, sentence))
    return shown, [finding.code for finding in findings if finding.severity is Severity.OK]
