"""Is what is left between solved and measured depth noise, or another surface? One finding."""

from __future__ import annotations

from bite.check.finding import Finding, Severity

CODE = "depth-agrees"
INLIERS = 0.8
"""Share of pixels within 3 sd: wild pixels of the worst sensors in the worlds leave 0.94, another surface
0.72 or less (our choice; docs/measured.md)."""


def depth_agrees(chi2: float, inlier_share: float) -> Finding:
    """Judge the fit's residuals on the depth map.

    Parameters
    ----------
    chi2 : float, reduced chi-square of the depth map; told, not judged: one wild pixel makes it what it likes
    inlier_share : float, share of its pixels within 3 sd
    """
    text = (
        f"{100 * inlier_share:.0f} % of the depth lies within 3 sd of the fitted model, reduced chi-square "
        f"{chi2:.1f}"
    )
    if inlier_share < INLIERS:
        return Finding(
            CODE,
            Severity.FAIL,
            f"solved head and depth map do not belong together: only {text}",
            "check that solved model and depth map are of one performer and one moment, and the unit and "
            "camera file of the depth map",
            inlier_share,
            None,
            INLIERS,
            "1",
            source="80 % within 3 sd: our choice",
        )
    return Finding(
        CODE, Severity.OK, text, "", inlier_share, None, INLIERS, "1", source="80 % within 3 sd: our choice"
    )
