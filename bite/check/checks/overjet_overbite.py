"""Overjet and overbite, measured beside solved, beside a band. Never a judgement of a person's teeth."""

from __future__ import annotations

from bite.check.finding import Finding, Severity
from bite.evidence.mouth.rows import BiteMeasures
from bite.geometry.bite import BiteBand, OverbiteLabel, OverjetLabel, bite_labels
from bite.stats.estimate import Estimate

DIFFER_SD, DIFFER_MM = 3.0, 1.0
"""Measured and solved bite differ where they do by 3 sd, 1 in 370 by chance, and by 1 mm, to which overjet is
commonly told (our choice)."""


def overjet_overbite_findings(measures: BiteMeasures) -> tuple[Finding, ...]:
    """Give one finding for overjet and one for overbite."""
    band = BiteBand()
    overjet = measures.overjet.value if measures.overjet else measures.overjet_solved_mm
    overbite = measures.overbite.value if measures.overbite else measures.overbite_solved_mm
    labels = (
        (None, None) if overjet is None or overbite is None else bite_labels(overjet, overbite, band=band)
    )
    return (
        _finding(
            "overjet", measures.overjet, measures.overjet_solved_mm, labels[0], band.usual_overjet_mm, band
        ),
        _finding(
            "overbite",
            measures.overbite,
            measures.overbite_solved_mm,
            labels[1],
            band.usual_overbite_mm,
            band,
        ),
    )


def _finding(
    code: str,
    measured: Estimate | None,
    solved_mm: float | None,
    label: OverjetLabel | OverbiteLabel | None,
    usual_mm: tuple[float, float],
    band: BiteBand,
) -> Finding:
    if measured is None and solved_mm is None:
        lacks = (
            "it takes depth on both rows beside a solved model"
            if code == "overjet"
            else "it takes lower corners that are seen, or a solved model"
        )
        return Finding(code, Severity.OK, f"{code} was not measured: {lacks}", source=band.source)
    parts = []
    if measured is not None:
        parts.append(f"{code} {measured.value:.1f} +- {measured.sd:.1f} mm measured")
    if solved_mm is not None:
        parts.append(
            f"{solved_mm:.1f} mm in the solved model"
            if parts
            else f"{code} {solved_mm:.1f} mm in the solved model"
        )
    text = ", ".join(parts)
    if label is not None:
        text += f": {label}, where {usual_mm[0]:g} to {usual_mm[1]:g} mm is called usual here"
    severity, todo = Severity.OK, ""
    if measured is not None and solved_mm is not None:
        off = abs(measured.value - solved_mm)
        if off > DIFFER_SD * measured.sd and off > DIFFER_MM:
            severity = Severity.WARN
            todo = (
                f"the solved bite differs by {off:.1f} mm: look at how the jaw was solved in this frame "
                f"before the teeth "
                "are moved"
            )
    return Finding(
        code,
        severity,
        text,
        todo,
        None if measured is None else measured.value,
        None if measured is None else measured.sd,
        None,
        "mm",
        source=band.source,
    )
