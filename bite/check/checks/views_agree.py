"""Do two views show the same corners, and if not, which click is off? One finding."""

from __future__ import annotations

from collections.abc import Sequence

from bite.check.finding import Finding, Severity
from bite.evidence.clicks.misclick import ClickFault
from bite.evidence.clicks.triangulated import TriangulatedCorner

CODE = "views-agree"
FAULT_CHANCE = 0.01
"""Chance of naming a click where none is wrong, shared among the clicks of a frame (our choice)."""


def views_agree(corners: Sequence[TriangulatedCorner], fault: ClickFault | None) -> Finding:
    """Tell how well corners meet in space, and name the one click that the rest speaks against.

    Parameters
    ----------
    corners : sequence of TriangulatedCorner, one or more
    fault : ClickFault or None
        From the fit of a solved model. Without, a corner can be named but not the view: two rays that miss
        each other do not say which of them is off.
    """
    from scipy.special import chdtrc

    worst = max(corners, key=lambda corner: corner.chi2 / corner.dof)
    rms = (sum(corner.rms_px**2 for corner in corners) / len(corners)) ** 0.5
    depth = max(corner.depth_sd_mm for corner in corners)
    text = (
        f"{len(corners)} corners meet in space to {rms:.1f} px in the pictures, worst {worst.name} "
        f"{worst.rms_px:.1f} px; their distance is known to {depth:.1f} mm each"
    )
    source = "1 % chance of naming a click where none is wrong: our choice"
    if fault is not None and fault.chance < FAULT_CHANCE:
        told = (
            f"{fault.name} in view {fault.view} lies {fault.off_px:.1f} px from where all other clicks and "
            f"the solved model put it ({fault.off_sd:.1f} sd)"
        )
        todo = f"click {fault.name} in view {fault.view} again"
        sd = fault.off_px / fault.off_sd
        return Finding(CODE, Severity.WARN, told, todo, fault.off_px, sd, unit="px", source=source)
    chance = min(1.0, len(corners) * float(chdtrc(worst.dof, worst.chi2)))
    if fault is None and chance < FAULT_CHANCE:
        told = f"{worst.name} does not meet in space: {worst.rms_px:.1f} px are left in the pictures"
        todo = f"click {worst.name} again in both views; two views alone do not say which is off"
        return Finding(CODE, Severity.WARN, told, todo, worst.rms_px, unit="px", source=source)
    return Finding(CODE, Severity.OK, text, "", rms, unit="px", source=source)
