"""Are the incisors large enough in picture and depth map? One finding."""

from __future__ import annotations

from bite.check.finding import Finding, Severity
from bite.evidence.depth.cover import DepthCover
from bite.evidence.mouth.place import Mouth

CODE = "resolved"
LEAST_PX = 12.0
"""Pixels a central incisor; see the source below."""
LEAST_STRIP = 3.0
"""A strip of enamel lower than so many smoothing sds is mixed with its lips all over (our choice): 13 % of
what a Gaussian takes comes from farther than 1.5 of its sds."""
_SOURCE = (
    "12 px per central incisor: measured on portraits, where clicks of half a pixel then stand for a "
    "third of a mm; "
    "our choice"
)


def resolved(mouth: Mouth | None, cover: DepthCover | None, smoothing_px: float | None) -> Finding:
    """Count pixels per upper central incisor, and depth pixels across the strip of enamel.

    Parameters
    ----------
    mouth : Mouth or None
    cover : DepthCover or None
    smoothing_px : float or None, the sensor's own blur, depth px
    """
    if mouth is None:
        return Finding(
            CODE,
            Severity.NOTE,
            "how many pixels an incisor has is not known: two upper corners are needed",
            "click 11d and 21d",
            limit=LEAST_PX,
            unit="px",
            source=_SOURCE,
        )
    width = mouth.row.crown_width_px
    text = (
        f"{width:.1f} px per incisor, needed {LEAST_PX:g}; "
        f"{1 / mouth.mm_per_px:.1f} px per mm from {mouth.scale_from}"
    )
    if cover is not None and cover.mm_per_px is not None:
        text += f"; a depth pixel is {cover.mm_per_px:.2f} mm"
    severity, todo = Severity.OK, ""
    again = False
    if width < LEAST_PX:
        severity, again = Severity.FAIL, True
        todo = "shoot nearer, with a longer lens, or use the picture at full size"
    elif (
        cover is not None
        and cover.strip_px is not None
        and smoothing_px is not None
        and cover.strip_px < LEAST_STRIP * smoothing_px
    ):
        severity = Severity.WARN
        text += (
            f"; the strip of enamel is {cover.strip_px:.0f} depth pixels high, less than {LEAST_STRIP:g} "
            f"times the "
            f"sensor's blur of {smoothing_px:.1f} px"
        )
        todo = "bare more of the teeth, or bring the sensor nearer: what it sees there is mostly lip"
    return Finding(CODE, severity, text, todo, width, None, LEAST_PX, "px", again, _SOURCE)
