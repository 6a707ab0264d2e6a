"""Did the fit settle, on values inside their bounds, with clicks that agree with each other? One finding."""

from __future__ import annotations

from bite.check.finding import Finding, Severity
from bite.evidence.clicks.click_residuals import ClickResidual
from bite.fit.corner_block import Use

CODE, CLICKS_CODE = "fit", "clicks"
CHI2_NOTE, CHI2_WARN, ONE_CLICK_SD = 2.5, 4.0, 4.0
"""Reduced chi-square of the clicks, and sds of one click, from which they do not fit together (our choice:
clicks whose sds are half as large as they should be give 4)."""
CHI2_FAIL = 16.0
"""Clicks that lie four of their sds off in the mean belong to something else (our choice)."""
LEAST_RESIDUALS = 4
"""One click alone is met exactly by moving the teeth right and up."""


def fit_sound(*, converged: bool, stop_reason: str, rounds: int, at_bound: tuple[str, ...]) -> Finding:
    """Judge how the fit ended."""
    if not converged:
        return Finding(
            CODE,
            Severity.WARN,
            f"the fit did not settle: {stop_reason}",
            "do not use its offset; look at skin-agrees, depth-covered and teeth-shown",
        )
    if at_bound:
        return Finding(
            CODE,
            Severity.WARN,
            f"the fit ended at the bound of {', '.join(at_bound)}",
            "a value at its bound is not an estimate: look at the device table and at depth-covered",
        )
    return Finding(CODE, Severity.OK, f"the fit settled in {rounds} rounds: {stop_reason}")


def clicks_agree(residuals: tuple[ClickResidual, ...], *, numbers_off: int = 0) -> Finding:
    """Judge the mean square of the clicks' residuals over their sd, and single clicks that lie far off.

    Parameters
    ----------
    residuals : tuple of ClickResidual
    numbers_off : int
        What the rig's corner numbers lack (+1) or have too much (-1) where their neighbours fit far better.
    """
    both = [r for r in residuals if r.use is not Use.BOUND]
    if 2 * len(both) < LEAST_RESIDUALS:
        return Finding(
            CLICKS_CODE, Severity.OK, "too few clicks to hold against each other", limit=CHI2_NOTE, unit="1"
        )
    # the length holds two coordinates, so its mean square over two is 1 for clicks as good as their sd says
    chi2 = sum(r.off_sd**2 for r in both) / (2 * len(both))
    worst = max(residuals, key=lambda r: r.off_sd)
    place = f"{worst.name} in view {worst.view}"
    text = (
        f"clicks lie {chi2**0.5:.1f} times their sd from the fitted model; farthest {place}, "
        f"{worst.off_sd:.1f} sd"
    )
    severity, todo = Severity.OK, ""
    if chi2 > CHI2_WARN or worst.off_sd > ONE_CLICK_SD:
        severity, todo = Severity.WARN, f"look at {place} first"
    elif chi2 > CHI2_NOTE:
        severity, todo = (
            Severity.NOTE,
            f"look at {place} first; or state a larger sigma_px if these clicks are as good as it gets",
        )
    if numbers_off:
        severity = Severity.FAIL
        beside = "before" if numbers_off < 0 else "after"
        text += f"; they fit the vertices {beside} the named ones far better"
        todo = (
            f"the numbers of [corners] in the rig file look one too {'high' if numbers_off < 0 else 'low'}: "
            "they count from 0, OBJ files from 1"
        )
    elif chi2 > CHI2_FAIL and sum(r.off_sd > ONE_CLICK_SD for r in both) >= 2:
        severity = Severity.FAIL
        text = f"the clicked corners do not fit the solved teeth: {text}"
        todo = "check that clicks, picture, camera file and solved model belong to one frame"
    elif severity is not Severity.OK and chi2 > CHI2_NOTE and worst.off_sd < ONE_CLICK_SD:
        todo += "; no single click explains it: the model's teeth may not be the performer's"
    return Finding(
        CLICKS_CODE,
        severity,
        text,
        todo,
        chi2,
        None,
        CHI2_NOTE,
        "1",
        source="2.5 and 4 of a reduced chi-square, 4 sd of one click: our choice",
    )
