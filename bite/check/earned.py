"""Whether a frame without a solved model has earned `usable`: what matters measured, and passed."""

from __future__ import annotations

from collections.abc import Sequence

from bite.check.finding import Finding, Severity

NEEDED = ("on-enamel", "resolved", "enamel-lit", "sharp")
"""Measured and passed, all of them."""
GAP = "bite-gap"
CLOSED = "the teeth show, lit and sharp, and the lower row follows the upper edge"
CANNOT_TELL = "the teeth show, lit and sharp; whether the rows meet, this picture cannot tell"


def why_not_usable(findings: Sequence[Finding]) -> str:
    """Say what keeps a frame from being usable, with the one thing to do next; empty where nothing does.

    Parameters
    ----------
    findings : sequence of Finding, without a failed one
    """
    by_code = {finding.code: finding for finding in findings}
    for code in NEEDED:
        finding = by_code.get(code)
        if finding is None:
            return f"{code} was not measured"
        if finding.severity is not Severity.OK:
            return f"{finding.text}: {finding.todo}" if finding.todo else finding.text
    gap = by_code.get(GAP)
    if gap is None:
        return f"{GAP} was not measured"
    if gap.severity is Severity.WARN:
        return f"{gap.text}: {gap.todo}"
    return ""


def rows_seen_to_meet(findings: Sequence[Finding]) -> bool:
    """Tell whether the frame shows that the rows meet."""
    return any(finding.code == GAP and finding.severity is Severity.OK for finding in findings)
