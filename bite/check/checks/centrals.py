"""A gap between the centrals, or one shorter than the other? A finding each, none where neither is."""

from __future__ import annotations

from bite.check.finding import Finding, Severity
from bite.evidence.mouth.centrals import Centrals

CODE = "centrals"
GAP_MM, STEP_MM = 1.3, 1.0
"""Clicks on the rounded mesial angles of crowns that touch lie 0.6 to 1.1 mm apart (17 photographed
mouths), those of five with a gap 1.4 to 2.5 mm; their heights differ by 0.8 mm at most, by 1.3 mm beside a
chip (our choice)."""
_SOURCE = "measured on 22 photographed mouths; our choice"


def centrals(found: Centrals | None) -> tuple[Finding, ...]:
    """Name what is unusual about the two upper centrals.

    Parameters
    ----------
    found : Centrals or None, where not all four upper corners are seen
    """
    if found is None:
        return ()
    told = []
    gap, step = found.gap, found.step
    if gap.value > GAP_MM and gap.value - gap.sd > 0.9:
        told.append(
            Finding(
                CODE,
                Severity.NOTE,
                f"a gap of {gap.value:.1f} +- {gap.sd:.1f} mm stands between the two upper centrals",
                "",
                gap.value,
                gap.sd,
                GAP_MM,
                "mm",
                source=_SOURCE,
            )
        )
    if abs(step.value) > STEP_MM and abs(step.value) > 2.0 * step.sd:
        short = "21" if step.value > 0 else "11"
        told.append(
            Finding(
                CODE,
                Severity.NOTE,
                f"at the midline {short} ends {abs(step.value):.1f} +- {step.sd:.1f} mm above its neighbour: "
                "chipped, worn or turned",
                f"does the solved model have {short} as it is? Click only its angles that are whole",
                abs(step.value),
                step.sd,
                STEP_MM,
                "mm",
                source=_SOURCE,
            )
        )
    return tuple(told)
