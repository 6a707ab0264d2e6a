"""Are the distances between clicked corners those of incisors? One finding."""

from __future__ import annotations

from bite.check.finding import Finding, Severity
from bite.evidence.mouth.spans import CrownSpan
from bite.geometry.teeth import UPPER_CENTRAL

CODE = "corners-plausible"
WARN_SD, FAIL_SD = 3.0, 4.5
"""So many sds off published crown widths is odd in 1 of 370 mouths, or in 1 of 150,000 (our choice: a frame
has half a dozen such widths, and a cast hundreds of frames)."""
NO_TEETH = 1.5
"""No mouth has incisors so many times wider or narrower than usual: the reading is at fault (our choice)."""
_SOURCE = "crown widths in reference/crown_widths.toml; 3 and 4.5 sd are our choice"


def corners_plausible(spans: tuple[CrownSpan, ...], *, clicked: bool, two_seen: bool = False) -> Finding:
    """Hold every span against the population's crown widths; the worst one is told.

    Parameters
    ----------
    spans : tuple of CrownSpan
    clicked : bool, whether anybody has clicked at all
    two_seen : bool, two upper corners of the reference view can be used
    """
    if not clicked:
        return Finding(
            CODE,
            Severity.NOTE,
            "nobody has clicked the incisor corners of this frame",
            "click them: bite annotate FRAME",
        )
    if not spans:
        return Finding(
            CODE,
            Severity.NOTE,
            "no distance between corners could be measured in mm: "
            + (
                "that takes depth, a second view or a solved model"
                if two_seen
                else "fewer than two corners of a row are seen"
            ),
            "" if two_seen else "click both distal corners of the upper row (11d and 21d)",
        )
    worst = max(spans, key=lambda span: abs(span.off_by_sd))
    off = abs(worst.off_by_sd)
    a, b = worst.corners
    text = (
        f"{a} and {b} are {worst.mm:.1f} mm apart through {worst.through}; such crowns measure "
        f"{worst.expected_mm:.1f} +- {worst.expected_sd_mm:.1f} mm"
    )
    severity = Severity.FAIL if off > FAIL_SD else Severity.WARN if off > WARN_SD else Severity.OK
    todo = ""
    if severity is not Severity.OK:
        size = "wide" if worst.off_by_sd > 0 else "narrow"
        todo = (
            f"too {size} for these teeth by {off:.1f} sd: look whether a lateral was clicked for a "
            f"central, whether "
            "the camera file belongs to this picture, and whether the teeth are a child's or worn"
        )
    times = worst.mm / worst.expected_mm
    if severity is not Severity.OK and not 1 / NO_TEETH < times < NO_TEETH:
        rows_swapped = worst.corners[0][0] in "34" and abs(worst.mm - 2 * UPPER_CENTRAL.mean_mm) < 3.0
        todo = (
            "no teeth are so: the clicks of the rows are swapped, since the upper row is as wide as this"
            if rows_swapped
            else f"no teeth are so: mend what {worst.through} is read from (camera files, unit) or "
            " the clicks, which stand on something else than teeth"
        )
    return Finding(
        CODE,
        severity,
        text,
        todo,
        measured=worst.mm,
        sd=worst.sd_mm,
        limit=worst.expected_mm
        + (WARN_SD if worst.off_by_sd > 0 else -WARN_SD) * (worst.sd_mm**2 + worst.expected_sd_mm**2) ** 0.5,
        unit="mm",
        source=_SOURCE,
    )
