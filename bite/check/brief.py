"""The check of one frame in a few lines: what to do, how sure, and what speaks against it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from bite.check.assessment import Assessment
from bite.check.decision import way
from bite.check.finding import Finding, Severity
from bite.check.text import shares_told, wrapped
from bite.check.words import CAUTION, dial_stands, dial_told, headline, interval_told, reason, step_of, told

MOST_LINES = 15
"""As many as a tired person reads at once (our choice)."""
MOST_REASON_LINES = 4
"""The offset, the dial and the worst finding must still find room (our choice)."""
_INDENT = 2
"""Letters, as in the full text."""


def brief(assessment: Assessment, picture: Path) -> str:
    """Give verdict, reason, offset, dial, and as many findings as fit, worst first.

    Parameters
    ----------
    assessment : Assessment
    picture : Path, where the before-and-after picture was written

    Returns
    -------
    str : at most `MOST_LINES` lines of at most 100 columns, ending in a line end
    """
    head = wrapped(headline(assessment), 0, 4).splitlines()
    if added := reason(assessment):
        head += _cut(wrapped(added, _INDENT).splitlines(), MOST_REASON_LINES)
    for line in _offset_and_dial(assessment):
        head += wrapped(line, _INDENT, _INDENT + 8).splitlines()
    told_of = [f for f in assessment.findings if f.severity is not Severity.OK]
    shown, left = _that_fit(told_of, "\n".join(head), MOST_LINES - len(head) - 3)
    fine = len(assessment.findings) - len(told_of)
    more = f"{left} more to know of, " if left else ""
    rest = f"{more}{fine} checks ok; --full tells all of it" if assessment.findings else "--full tells all"
    foot = [wrapped(rest, _INDENT), f"  picture {picture}", wrapped(CAUTION, 0)]
    return "\n".join([*head, *shown, *foot]) + "\n"


def _that_fit(findings: list[Finding], said: str, room: int) -> tuple[list[str], int]:
    """Give the lines of the worst findings that fit whole, and how many are left out.

    The worst one is shown whatever its length: a fault that is not told is a trap.
    """
    lines: list[str] = []
    for number, finding in enumerate(findings):
        told_lines = list(_finding_lines(finding, said))
        if number and len(lines) + len(told_lines) > room:
            return lines, len(findings) - number
        lines += _cut(told_lines, max(room, 2))
    return lines, 0


def _cut(lines: list[str], most: int) -> list[str]:
    return lines if len(lines) <= most else [*lines[: most - 1], f"{lines[most - 1][:96]} ..."]


def _finding_lines(finding: Finding, said: str) -> Iterator[str]:
    word = finding.severity.upper() if finding.severity is not Severity.NOTE else "note"
    is_said = " ".join(finding.text.split()) in " ".join(said.split())
    text = finding.code if is_said else f"{finding.code}: {finding.text}"
    yield from wrapped(f"{word:<6}{text}", _INDENT, _INDENT + 6).splitlines()
    if finding.todo:
        yield from wrapped(f"To do: {finding.todo}", _INDENT + 6, _INDENT + 13).splitlines()


def _offset_and_dial(assessment: Assessment) -> Iterator[str]:
    fit = assessment.fit
    if fit is not None:
        offset = told(fit.offset, "mm", sign=True)
        yield f"offset  {offset} (95 %: {interval_told(fit.offset, 'mm')}); known from {shares_told(fit)}"
    move = assessment.decision.move
    if move is None:
        return
    step = step_of(assessment)
    beside = "" if dial_stands(assessment) else "NOT ADVISED: "
    what = f"{dial_told(move.before, step)} to {dial_told(move.after, step)}"
    stands = way(move.stands_for_mm) if abs(move.stands_for_mm) >= 0.05 else "no move"
    low, high = (dial_told(end, step) for end in move.interval)
    interval = f"95 %: {low} to {high}" if low != high else "all of the interval lies beyond its end"
    yield f"dial    {beside}{what}, which is {stands} ({interval})"
