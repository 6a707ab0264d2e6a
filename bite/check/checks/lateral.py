"""Do the digital teeth stand off sideways or in height? The dial cannot mend that."""

from __future__ import annotations

from bite.check.finding import Finding, Severity
from bite.stats.estimate import Estimate, with_sign

CODE = "lateral"
SURE_SD = 2.0
"""Beyond the tolerance is told where it is also 2 sd: 1 in 20 by chance (our choice)."""
ANOTHER_MM, ANOTHER_SD = 1.0, 3.0
"""No solve leaves teeth so far off sideways or in height: clicks or model are of another frame (our
choice)."""


def lateral(
    right: Estimate, up: Estimate, tolerance_mm: float, *, clicked_off_the_edge: bool = False
) -> Finding:
    """Judge the offsets to the right and up; the larger one is the measured one.

    Parameters
    ----------
    right, up : Estimate, mm, right in an unmirrored picture
    tolerance_mm : float, mm
    clicked_off_the_edge : bool
        The picture, too, speaks against the clicks: they lie on no edge of enamel. Clicks that are all off
        by a millimetre moved offsets by half of one.
    """
    text = (
        f"the teeth must move {with_sign(right.value, 1)} +- {right.sd:.1f} mm to the right and "
        f"{with_sign(up.value, 1)} +- {up.sd:.1f} mm up"
    )
    worst = max((right, up), key=lambda part: abs(part.value))
    off = [p for p in (right, up) if abs(p.value) > tolerance_mm and abs(p.value) > SURE_SD * p.sd]
    if off:
        worst = max(off, key=lambda part: abs(part.value))
    if abs(worst.value) > max(ANOTHER_MM, tolerance_mm) and abs(worst.value) > ANOTHER_SD * worst.sd:
        return Finding(
            CODE,
            Severity.FAIL,
            f"the clicked corners stand beside the solved teeth: {text}",
            "check that the clicks are of this picture and this performer; if so, mend the teeth sideways "
            "and in height in the rig first",
            worst.value,
            worst.sd,
            max(ANOTHER_MM, tolerance_mm),
            "mm",
            source="1 mm and 3 sd: our choice",
        )
    if off and clicked_off_the_edge:
        return Finding(
            CODE,
            Severity.FAIL,
            f"the clicked corners lie neither on the edge of enamel nor on the solved teeth: {text}",
            "click the upper corners again, on the incisal edge of 11 and 21",
            worst.value,
            worst.sd,
            tolerance_mm,
            "mm",
            source="the tolerance given, and 2 sd",
        )
    return Finding(
        CODE,
        Severity.WARN if off else Severity.OK,
        text,
        "the dial moves teeth forward and back only: mend this in the rig or in the solve" if off else "",
        worst.value,
        worst.sd,
        tolerance_mm,
        "mm",
        source="the tolerance given, and 2 sd",
    )
