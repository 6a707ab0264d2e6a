"""Does the solved skin agree with the measured one, above all at the lips? One finding."""

from __future__ import annotations

from bite.check.finding import Finding, Severity
from bite.evidence.depth.cover import SkinFit

CODE = "skin-agrees"
PRIOR_MM, PRIOR_DEG = 1.0, 1.0
"""How near to its sensor a head was believed, as in `fit.parameters.make_prior` (common practice, no
source)."""
WARN_TIMES = 3.0
"""A head so many prior sds off is off for a cause: 1 in 370 by chance (our choice)."""
LIPS_MM, LIPS_SD = 1.0, 3.0
"""Lips off by so much and so surely are told (our choice: half of this in front of the teeth looks like teeth
moved by the tolerance)."""
WAVES_MM = 1.0
"""A skin with waves larger than this is another expression (our choice; usual ones are some tenths of a
mm)."""
_SOURCE = "a solved head is within 1 mm and 1 degree of its sensor: common practice, no source"


def skin_agrees(
    skin: SkinFit | None, wave_sd_mm: float | None, *, posed_by_landmarks: bool, odd: str = ""
) -> Finding:
    """Judge how far the head had to be moved, and what is left at the lips.

    Parameters
    ----------
    skin : SkinFit or None
    wave_sd_mm : float or None, spread of the waves found in the solved skin
    posed_by_landmarks : bool, a pose found from clicks may be far off without harm
    odd : str, which file the picture speaks against where head and depth map stand apart; empty: unknown
    """
    if skin is None:
        return Finding(
            CODE,
            Severity.OK,
            "solved and measured skin were not compared: it takes a depth map",
            source=_SOURCE,
        )
    text = (
        f"the solved head was moved {skin.shift_mm:.1f} mm and turned {skin.turn_deg:.1f} degrees onto the "
        "measured skin"
    )
    if skin.lips is not None:
        side = "in front of" if skin.lips.value > 0 else "behind"
        text += (
            f"; its lips stand {abs(skin.lips.value):.1f} +- {skin.lips.sd:.1f} mm {side} the measured ones"
        )
        if abs(skin.lips.value) > LIPS_MM and abs(skin.lips.value) > LIPS_SD * skin.lips.sd:
            return Finding(
                CODE,
                Severity.FAIL,
                f"the lips themselves are off: {text}",
                "mend the lips in the solve of this expression: moving teeth is the wrong cure",
                skin.lips.value,
                skin.lips.sd,
                LIPS_MM,
                "mm",
                source="1 mm: common practice, no source",
            )
    if not posed_by_landmarks and (
        skin.shift_mm > WARN_TIMES * PRIOR_MM or skin.turn_deg > WARN_TIMES * PRIOR_DEG
    ):
        by_turn = (
            skin.turn_deg > WARN_TIMES * PRIOR_DEG and skin.turn_deg / PRIOR_DEG > skin.shift_mm / PRIOR_MM
        )
        return Finding(
            CODE,
            Severity.FAIL,
            f"solved head and depth map do not belong together: {text}" + (f"; {odd}" if odd else ""),
            "solve the head of this very frame, or give the depth map and camera files that belong to it",
            skin.turn_deg if by_turn else skin.shift_mm,
            skin.turn_sd_deg if by_turn else skin.shift_sd_mm,
            WARN_TIMES * (PRIOR_DEG if by_turn else PRIOR_MM),
            "degrees" if by_turn else "mm",
            source=_SOURCE,
        )
    if wave_sd_mm is not None and wave_sd_mm > WAVES_MM:
        return Finding(
            CODE,
            Severity.FAIL,
            f"the solved skin is not the measured one: {text}; it waves by "
            f"{wave_sd_mm:.1f} mm about the measured one",
            "solve the expression of this frame again: the skin is not the performer's",
            wave_sd_mm,
            None,
            WAVES_MM,
            "mm",
            source="1 mm: common practice, no source",
        )
    return Finding(
        CODE,
        Severity.OK,
        text,
        "",
        skin.shift_mm,
        skin.shift_sd_mm,
        WARN_TIMES * PRIOR_MM,
        "mm",
        source=_SOURCE,
    )
