"""Does the solved model show its teeth where the picture does? One finding."""

from __future__ import annotations

from bite.check.finding import Finding, Severity
from bite.evidence.enamel.contrast import ContrastBasis, EnamelContrast

CODE = "teeth-shown"
LIMIT, NO_DIFFERENCE = 0.75, 0.5
"""Share of pairs of pixels, one inside and one outside the solved enamel, in which the inner one looks more
like enamel: 0.5 is no difference, 1 a clean one (our choice)."""
_SOURCE = "0.5 is no difference, 1 is none in common; 0.75 is our choice"


def teeth_shown(contrast: EnamelContrast | None, shown_mm2: float | None, *, same_as_rest: bool) -> Finding:
    """Judge whether what the model calls teeth looks like enamel beside what it calls skin.

    Parameters
    ----------
    contrast : EnamelContrast or None
    shown_mm2 : float or None, area of teeth that the model shows to the camera
    same_as_rest : bool, the model is the rest export itself
    """
    if shown_mm2 is None:
        return Finding(CODE, Severity.OK, "not asked: the solved model has no surface", source=_SOURCE)
    text = f"the solved model shows {shown_mm2:.0f} mm2 of teeth"
    severity, todo = Severity.OK, ""
    if same_as_rest:
        text = (
            "the solved model is the rest export itself, which no expression has moved; it shows "
            f"{shown_mm2:.0f} mm2 of teeth"
        )
    if contrast is not None:
        text += (
            f"; a pixel there looks more like enamel than one around it with chance "
            f"{contrast.separability:.2f} "
            f"({contrast.basis})"
        )
        if contrast.separability + 2 * contrast.separability_sd < LIMIT:
            # below one half the picture shows enamel rather where the model has none
            other_way = contrast.separability + 2 * contrast.separability_sd < NO_DIFFERENCE
            severity = Severity.FAIL if other_way else Severity.WARN
            todo = (
                "model and picture do not show teeth in one place: check the pose, and that the model was "
                "exported in the "
                "expression of this frame"
            )
            if severity is Severity.WARN and contrast.basis is ContrastBasis.LIGHTNESS:
                # a grey picture of light skin: measured 0.43 to 0.60 where the model was right
                severity = Severity.NOTE
                todo = "look at the outlines in the picture: in grey, light skin passes for enamel"
    if same_as_rest:
        # teeth that are not where the picture shows them, in a mesh that no expression has moved
        apart = contrast is None or contrast.separability < LIMIT
        severity = Severity.FAIL if apart else Severity.WARN
        todo = "give the mesh that was exported in the expression of the bite frame, not the rest export"
    return Finding(
        CODE,
        severity,
        text,
        todo,
        None if contrast is None else contrast.separability,
        None if contrast is None else contrast.separability_sd,
        LIMIT,
        "1",
        source=_SOURCE,
    )
