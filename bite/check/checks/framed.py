"""Is the head framed so that a bite can be registered, and the jaw has room to open? One finding."""

from __future__ import annotations

from bite.check.finding import Finding, Severity
from bite.evidence.mouth.framing import Framing

CODE = "framed"
TURN_WARN_DEG = 25.0
"""Beyond this turn of the head one side's lower incisors go behind the canines (common practice, no
source)."""
ABOVE_WARN_DEG, BELOW_WARN_DEG = 30.0, 40.0
"""Camera above or below the bite plane: a camera a little below, looking up, shows more of the teeth (common
practice, no source)."""
LEAST_BORDER_MM, JAW_ROOM_MM = 12.0, 45.0
"""Room about the mouth, and below it for the jaw to open, in mm on the face (common practice, no source)."""
_SOURCE = "common practice, no source"


def framed(framing: Framing | None) -> Finding:
    """Judge turn, height of the camera, and room around the mouth; the first fault is the measured one."""
    if framing is None:
        return Finding(
            CODE,
            Severity.NOTE,
            "where the mouth is in the picture is not known",
            "click 11d and 21d",
            source=_SOURCE,
        )
    told = []
    if framing.distance_mm is not None:
        told.append(f"incisors {framing.distance_mm:.0f} mm from the camera")
    if framing.turn_deg is not None and framing.below_deg is not None:
        height = "below" if framing.below_deg >= 0 else "above"
        told.append(
            f"head turned {abs(framing.turn_deg):.0f} degrees, camera {abs(framing.below_deg):.0f} "
            f"degrees {height} the "
            "occlusal plane"
        )
    told.append(f"{framing.under_mm:.0f} mm of picture below the incisors")
    text = ", ".join(told)

    def fault(severity: Severity, measured: float, limit: float, unit: str, todo: str) -> Finding:
        return Finding(CODE, severity, text, todo, measured, None, limit, unit, source=_SOURCE)

    if framing.border_mm < LEAST_BORDER_MM:
        return fault(
            Severity.WARN,
            framing.border_mm,
            LEAST_BORDER_MM,
            "mm",
            "the mouth stands at the picture's border: bring it nearer to the middle, where the lens is "
            "known best",
        )
    if framing.turn_deg is not None and abs(framing.turn_deg) > TURN_WARN_DEG:
        return fault(
            Severity.WARN,
            abs(framing.turn_deg),
            TURN_WARN_DEG,
            "degrees",
            "a turned head shows one side of the teeth and hides the other: shoot from straight ahead",
        )
    if framing.below_deg is not None and not -ABOVE_WARN_DEG <= framing.below_deg <= BELOW_WARN_DEG:
        limit = BELOW_WARN_DEG if framing.below_deg > 0 else -ABOVE_WARN_DEG
        return fault(
            Severity.WARN,
            framing.below_deg,
            limit,
            "degrees",
            "put the camera level with the mouth or a little below, looking up: more of both rows then shows",
        )
    if framing.under_mm < JAW_ROOM_MM:
        return fault(
            Severity.NOTE,
            framing.under_mm,
            JAW_ROOM_MM,
            "mm",
            "little room for the jaw to open: fine for this frame, too little for a performance shot like it",
        )
    return Finding(
        CODE, Severity.OK, text, source=_SOURCE, measured=framing.under_mm, limit=JAW_ROOM_MM, unit="mm"
    )
