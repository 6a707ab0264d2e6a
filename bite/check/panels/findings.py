"""The findings of one frame in short, worst first, for the side of a figure."""

from __future__ import annotations

from textwrap import wrap
from typing import TYPE_CHECKING

from bite.check.assessment import Assessment
from bite.check.finding import Finding, Severity
from bite.check.words import measured_told
from bite.plots.style import INK, SMALL_PT, TEXT_PT, size_in

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_WORDS = {Severity.FAIL: "FAIL", Severity.WARN: "WARN", Severity.NOTE: "note", Severity.OK: "ok"}
_LINE_PT = 1.25


def draw_findings(axes: Axes, assessment: Assessment) -> None:
    """Write what was found and what to do; what does not fit is counted, never cut off in silence."""
    axes.set_axis_off()
    axes.set_title("Findings, worst first")
    findings = assessment.findings
    if not findings:
        axes.text(0.0, 0.97, "No checks were made.", va="top", color=INK, transform=axes.transAxes)
        return
    width_in, height_in = size_in(axes)
    columns = max(16, int(width_in * 72 / (0.56 * SMALL_PT)))
    room = int(height_in * 72 / (_LINE_PT * SMALL_PT))
    shown, passed = _blocks(findings, columns)
    tail = wrap(f"ok: {', '.join(passed)}", columns) if passed else []
    kept: list[tuple[str, list[str]]] = []
    used = len(tail) + 1.0
    for head, lines in shown:
        needed = len(lines) + 1.6
        if used + needed > room:
            break
        kept.append((head, lines))
        used += needed
    if len(kept) < len(shown):
        left = len(shown) - len(kept)
        tail = [*wrap(f"and {left} more, in the text report", columns), *tail]
    y, line = 0.98, _LINE_PT * SMALL_PT / 72 / height_in
    for head, lines in kept:
        axes.text(
            0.0, y, head, va="top", fontsize=TEXT_PT, fontweight="bold", color=INK, transform=axes.transAxes
        )
        y -= 1.15 * line
        y = _paragraph(axes, y, lines, line) - 0.45 * line
    _paragraph(axes, y, tail, line)


def _paragraph(axes: Axes, y: float, lines: list[str], line: float) -> float:
    if lines:
        text = "\n".join(lines)
        axes.text(
            0.0,
            y,
            text,
            va="top",
            fontsize=SMALL_PT,
            color=INK,
            linespacing=_LINE_PT,
            transform=axes.transAxes,
        )
    return y - len(lines) * line


def _blocks(findings: tuple[Finding, ...], columns: int) -> tuple[list[tuple[str, list[str]]], list[str]]:
    shown = []
    for finding in findings:
        if finding.severity is not Severity.OK:
            lines = wrap(finding.text, columns)
            if numbers := measured_told(finding, "±"):
                lines += wrap(numbers, columns)
            if finding.todo:
                lines += wrap(f"→ {finding.todo}", columns)
            shown.append((f"{_WORDS[finding.severity]}  {finding.code}", lines))
    return shown, [finding.code for finding in findings if finding.severity is Severity.OK]
