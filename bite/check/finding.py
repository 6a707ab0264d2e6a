"""What a check says: one question, one number with its sd, the limit it was held against, what to do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum


class Severity(StrEnum):
    """How much a finding matters. ``fail`` means that the frame cannot register a bite until it is mended."""

    OK = "ok"
    NOTE = "note"
    WARN = "warn"
    FAIL = "fail"


WORST_FIRST = (Severity.FAIL, Severity.WARN, Severity.NOTE, Severity.OK)


@dataclass(frozen=True, slots=True)
class Finding:
    """One finding.

    Parameters
    ----------
    code : str, the check's name
    severity : Severity
    text : str, one sentence: what was found
    todo : str, what to do about it; empty when nothing
    measured, sd, limit : float or None, in ``unit``; None where it was not measured
    unit : str
    needs_reshoot : bool
        The failure is in the frame itself and no fit or dial can mend it.
    source : str, where the limit comes from
    """

    code: str
    severity: Severity
    text: str
    todo: str = ""
    measured: float | None = None
    sd: float | None = None
    limit: float | None = None
    unit: str = ""
    needs_reshoot: bool = False
    source: str = ""


def worst_first(findings: list[Finding]) -> list[Finding]:
    """Sort findings, worst first, otherwise in the order given."""
    return sorted(findings, key=lambda finding: WORST_FIRST.index(finding.severity))


BLAME = (
    "bite-gap",
    "registered",
    "teeth-shown",
    "clicks",
    "skin-agrees",
    "depth-lens",
    "depth-agrees",
    "overbite-visible",
    "rows-agree",
    "lateral",
)
"""Failed checks in the order in which they name a cause: a file of another frame fails the later ones too."""


def told_first(findings: Sequence[Finding]) -> list[Finding]:
    """Give the failed findings, the one that names the cause first; others follow in the order given."""
    failed = [finding for finding in findings if finding.severity is Severity.FAIL]
    return sorted(failed, key=lambda f: BLAME.index(f.code) if f.code in BLAME else len(BLAME))
