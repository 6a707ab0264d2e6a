"""Is the enamel lit so that its edges can be seen? One finding."""

from __future__ import annotations

from bite.check.finding import Finding, Severity
from bite.evidence.picture.exposure import Exposure

CODE = "enamel-lit"
OVER_WARN, OVER_FAIL = 0.10, 0.35
"""Shares of the enamel clipped bright (common practice, no source)."""
UNDER_WARN, UNDER_FAIL = 0.30, 0.70
"""Shares too dark: three and two times as many, since a dark edge can still be clicked and a burnt one cannot
(common practice, no source)."""
_SOURCE = (
    "clipping levels of ISO/IEC 29794-5's reference implementation; the shares are common practice, no source"
)


def enamel_lit(exposure: Exposure | None) -> Finding:
    """Judge the share of the upper enamel that is clipped bright (the worse fault) or too dark."""
    if exposure is None:
        return Finding(
            CODE,
            Severity.NOTE,
            "light on the enamel was not measured: where it is in the picture is not known",
            "click 11d and 21d",
            limit=OVER_WARN,
            unit="1",
            source=_SOURCE,
        )
    over, under = exposure.over, exposure.under
    text = (
        f"{100 * over.value:.0f} % of the upper enamel is clipped bright, {100 * under.value:.0f} % too dark"
    )
    dark = under.value > UNDER_WARN and under.value > over.value
    share, warn, fail = (under, UNDER_WARN, UNDER_FAIL) if dark else (over, OVER_WARN, OVER_FAIL)
    severity = Severity.OK
    if share.value > fail and share.value - 2 * share.sd > warn:
        severity = Severity.FAIL
    elif share.value > warn:
        severity = Severity.WARN
    todo = ""
    if severity is not Severity.OK:
        todo = (
            "more light from the front, or a longer exposure; mind the eyes"
            if dark
            else "less light or a shorter exposure, softer or cross-polarised light"
        )
    return Finding(
        CODE,
        severity,
        text,
        todo,
        share.value,
        share.sd,
        warn,
        "1",
        severity is Severity.FAIL,
        _SOURCE,
    )
