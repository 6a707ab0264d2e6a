"""Do picture and depth map show one mouth in one place? One finding."""

from __future__ import annotations

from bite.check.finding import Finding, Severity
from bite.evidence.model.registered import Registration

CODE = "registered"
SHIFT_MM, SIZE = 1.5, 0.045
"""A solved lip is off by up to 1 mm (``skin-agrees``) and read to 0.3 mm; a photo lens of 5 % must show."""
GAIN, GAIN_SD, CLEAR, FITS = 0.1, 2.0, 0.7, 0.8
"""How much better the outline must fit elsewhere, and by how many standard errors; from which strength on it
fits where it is, and from which no other size is believed: coarse pictures of right frames have 0.84,
a photo lens of 10 % 0.63."""
NEARER_MM, LARGE_GAIN = 1.0, 0.3
"""An outline that lies on no edge at all, and on edges all along 1 mm away, is another mouth (our choice)."""
_SOURCE = "1.5 mm, 4.5 %, a gain of 0.1 and 2 sd: our choice, set on frames that belong together"


def stands_elsewhere(found: Registration | None) -> bool:
    """Tell whether the picture's mouth clearly stands elsewhere, or has another size."""
    if found is None or found.best - found.here < GAIN or found.gain_sd < GAIN_SD:
        return False
    resized = abs(found.size - 1.0) > SIZE and found.here < FITS
    far = found.shift_mm > SHIFT_MM or resized
    return far or (found.shift_mm > NEARER_MM and found.best - found.here > LARGE_GAIN)


def stands_here(found: Registration | None) -> bool:
    """Tell whether the picture's mouth clearly stands where the model has it."""
    return found is not None and not stands_elsewhere(found) and found.here >= CLEAR


def registered(found: Registration | None, as_solved: Registration | None) -> Finding:
    """Hold the mouth in the picture against the one that the depth map shows.

    Parameters
    ----------
    found : Registration or None, of the picture against the model as depth holds it
    as_solved : Registration or None, against the model as it was solved, where depth moved it far
    """
    if found is None:
        return Finding(
            CODE, Severity.OK, "picture and depth map were not held against each other", source=_SOURCE
        )
    if not stands_elsewhere(found):
        return Finding(
            CODE,
            Severity.OK,
            "the mouth in the picture stands where the depth map has it",
            "",
            found.shift_mm if stands_here(found) else None,
            None,
            SHIFT_MM,
            "mm",
            source=_SOURCE,
        )
    odd = ""
    todo = (
        "check that picture, depth map and both camera files are of one moment and one size: a principal "
        "point, a cut map and another picture look like this"
    )
    if stands_here(as_solved):
        odd = "; the solved head fits the picture, so that the depth map or its camera file is the odd one"
        todo = "give the depth map of this very moment and its own camera file"
    if abs(found.size - 1.0) <= SIZE or found.shift_mm > SHIFT_MM:
        text = (
            f"picture and depth map are not registered: the mouth in the picture stands {_away(found)} from "
            f"where the depth map has it{odd}"
        )
        return Finding(
            CODE, Severity.FAIL, text, todo, found.shift_mm, None, SHIFT_MM, "mm", source=_SOURCE
        )
    larger = "larger" if found.size > 1 else "smaller"
    return Finding(
        CODE,
        Severity.FAIL,
        f"the mouth in the picture is {100 * abs(found.size - 1):.0f} % {larger} than the depth map has "
        f"it{odd}",
        todo
        if odd
        else "check the focal length in the picture's camera file, and that picture and depth map are of one "
        "moment",
        100 * (found.size - 1.0),
        None,
        100 * SIZE,
        "%",
        source=_SOURCE,
    )


def _away(found: Registration) -> str:
    parts = []
    if abs(found.right_mm) >= 0.5:
        parts.append(f"{abs(found.right_mm):.1f} mm to the {'right' if found.right_mm > 0 else 'left'}")
    if abs(found.down_mm) >= 0.5:
        parts.append(f"{abs(found.down_mm):.1f} mm {'down' if found.down_mm > 0 else 'up'}")
    return " and ".join(parts)
