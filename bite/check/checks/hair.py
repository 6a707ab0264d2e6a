"""Does something stand before the skin, as a beard or a moustache does? One finding."""

from __future__ import annotations

from bite.check.finding import Finding, Severity
from bite.evidence.depth.hair_found import HairFound

CODE = "hair"
LEAST_MM, LEAST_SD = 0.3, 3.0
"""Hair is told from so many mm and sds on (our choice: solved skin is usually off by as much)."""
_SOURCE = "0.3 mm and 3 sd: our choice"


def hair(found: HairFound) -> Finding:
    """Tell what stands before the solved skin away from the lips, and what it costs.

    Parameters
    ----------
    found : HairFound
    """
    thick = found.thickness
    side = "above" if found.above else "below"
    size = f"{abs(thick.value):.1f} +- {thick.sd:.1f} mm"
    severity, todo = Severity.NOTE, ""
    where = f"{side} the mouth, from {found.from_mm:.0f} mm off the teeth on,"
    cost = f"knowing it bare, the offset's sd would be {found.without_sd_mm:.2f} mm"
    if abs(thick.value) < LEAST_MM or abs(thick.value) < LEAST_SD * thick.sd:
        severity = Severity.OK
        text = f"no hair before the skin: {side} the mouth it is as it was solved, to {size}"
    elif thick.value > 0:
        text = f"{where} something stands {size} before the solved skin, as hair does; {cost}"
        todo = "nothing, where the performer wears a beard or moustache: such skin hardly counts now"
    else:
        text = f"{where} the measured skin lies {size} behind the solved one; {cost}"
        todo = "look at how the skin about the lips was solved; the offset does not rely on it now"
    return Finding(CODE, severity, text, todo, thick.value, thick.sd, LEAST_MM, "mm", source=_SOURCE)
