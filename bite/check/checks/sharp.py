"""Are the incisors sharp enough to click? One finding."""

from __future__ import annotations

from bite.check.finding import Finding, Severity
from bite.evidence.picture.blur import Blur

CODE = "sharp"
WARN_MM, FAIL_MM = 0.5, 1.2
"""Width of an edge as sd, mm on the tooth (our choice): 22 sharp photographs have 0.1 to 0.43 mm, smears of
4.4 mm 0.55 mm and more; the second is twice the tolerance, and no corner can be clicked on such edges."""
GRID_PX = 1.35
"""Edges as narrow as this are as sharp as pixels show them; whether these are small enough is asked by
``resolved``. The smears that must show are 1.45 px and more at 0.38 mm a pixel (our choice)."""
_SOURCE = (
    "a corner cannot be clicked to better than the sd of its edge; sharp photographs have 0.1 to 0.4 mm, "
    "a smear of 4 mm 0.6 to 1.2 mm (our choice)"
)


def sharp(blur: Blur | None, mm_per_px: float | None) -> Finding:
    """Judge the blur of edges along the worse direction, as its sd in mm on the teeth.

    Parameters
    ----------
    blur : Blur or None
    mm_per_px : float or None
    """
    worst = None if blur is None else blur.worst_px
    if blur is None or worst is None or mm_per_px is None or blur.worst_sd_px is None:
        return Finding(
            CODE,
            Severity.NOTE,
            "sharpness was not measured: too few edges around the incisors in one direction or both",
            "judge by eye whether the incisor corners can be clicked to a pixel",
            limit=WARN_MM,
            unit="mm",
            source=_SOURCE,
        )
    way = "along the row" if worst == blur.sideways_px else "at right angles to the row"
    blur_mm, sd_mm = worst * mm_per_px, blur.worst_sd_px * mm_per_px
    severity = Severity.OK
    if blur_mm - sd_mm > FAIL_MM:
        severity = Severity.FAIL
    elif blur_mm > WARN_MM and worst > GRID_PX:
        severity = Severity.WARN
    todo = (
        ""
        if severity is Severity.OK
        else "focus on the incisors, shorten the exposure, have the head held still"
    )
    return Finding(
        CODE,
        severity,
        f"edges are blurred by {blur_mm:.2f} mm ({worst:.1f} px) {way}",
        todo,
        blur_mm,
        sd_mm,
        WARN_MM,
        "mm",
        severity is Severity.FAIL,
        _SOURCE,
    )
