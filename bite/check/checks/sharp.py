"""Are the incisors sharp enough to click? One finding."""

from __future__ import annotations

from bite.check.finding import Finding, Severity
from bite.evidence.picture.sharpness import Sharpness

CODE = "sharp"
WARN_PX, WARN_MM = 2.5, 0.6
"""Width of an edge as sd, px and mm on the tooth: both, since many fine pixels may be blurred and still tell
(our choice: 0.6 mm is about the tolerance, and 1.2 mm twice that)."""
FAIL_MM = 1.2
"""Twice what is warned of (our choice): corners on such edges cannot be clicked to the tolerance."""
_SOURCE = (
    "a corner cannot be clicked to better than the sd of its edge; 0.6 mm then outweighs every other part "
    "(common "
    "practice, no source)"
)


def sharp(sharpness: Sharpness | None, mm_per_px: float | None) -> Finding:
    """Judge edge widths, as the sd of the blur, in px and mm on the teeth.

    Parameters
    ----------
    sharpness : Sharpness or None
    mm_per_px : float or None
    """
    worst = None if sharpness is None else sharpness.worst
    if worst is None or mm_per_px is None:
        return Finding(
            CODE,
            Severity.NOTE,
            "sharpness was not measured: no clean edge was found around the incisors",
            "judge by eye whether the incisor corners can be clicked to a pixel",
            limit=WARN_PX,
            unit="px",
            source=_SOURCE,
        )
    assert sharpness is not None
    way = "along the row" if worst is sharpness.sideways else "at right angles to the row"
    blur_mm = worst.sigma_px * mm_per_px
    text = f"edges are blurred by {worst.sigma_px:.1f} px ({blur_mm:.2f} mm) {way}"
    severity = Severity.OK
    if blur_mm > FAIL_MM and worst.sigma_px - 2 * worst.sigma_sd_px > WARN_PX:
        severity = Severity.FAIL
    elif worst.sigma_px > WARN_PX and blur_mm > WARN_MM:
        severity = Severity.WARN
    todo = (
        ""
        if severity is Severity.OK
        else "focus on the incisors, shorten the exposure, have the head held still"
    )
    return Finding(
        CODE,
        severity,
        text,
        todo,
        worst.sigma_px,
        worst.sigma_sd_px,
        WARN_PX,
        "px",
        severity is Severity.FAIL,
        _SOURCE,
    )
