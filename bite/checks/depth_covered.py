"""Does the depth map have readings on teeth and skin, and how good are they? One finding."""

from __future__ import annotations

from bite.checks.finding import Finding, Severity
from bite.evidence.depth_cover import DepthCover
from bite.fit.offset import Estimate

CODE = "depth-covered"
TEETH_WARN, TEETH_FAIL, SKIN_WARN = 0.6, 0.15, 0.6
_SOURCE = "shares: common practice, no source"
_TODO = (
    "holes on enamel come from glints and from standing too near: move the sensor back, turn it or the "
    "light a little, "
    "or average several frames"
)


def depth_covered(
    cover: DepthCover | None, smoothing: Estimate | None, *, stereo: bool, profile_share: float | None
) -> Finding:
    """Judge coverage, and tell noise, correlation and smoothing.

    Parameters
    ----------
    cover : DepthCover or None, of a map
    smoothing : Estimate or None, px, as the fit found it
    stereo : bool, the frame names two views in place of a map
    profile_share : float or None, share of a profile's teeth rows with a reading
    """
    if cover is None and profile_share is not None:
        severity = Severity.OK if profile_share >= TEETH_WARN else Severity.WARN
        return Finding(
            CODE,
            severity,
            f"{100 * profile_share:.0f} % of the profile's rows on enamel have a reading",
            "" if severity is Severity.OK else _TODO,
            profile_share,
            None,
            TEETH_WARN,
            "1",
            source=_SOURCE,
        )
    if cover is None:
        text = (
            "the views were not matched densely: depth comes from the corners clicked in them"
            if stereo
            else "no depth map was given"
        )
        return Finding(CODE, Severity.NOTE, text, limit=TEETH_WARN, unit="1", source=_SOURCE)
    if cover.teeth_share is None:
        return Finding(
            CODE,
            Severity.WARN,
            "the fitted model shows no enamel to the depth sensor",
            "see teeth-shown",
            None,
            None,
            TEETH_WARN,
            "1",
            source=_SOURCE,
        )
    text = f"{100 * cover.teeth_share:.0f} % of the enamel"
    if cover.skin_share is not None:
        text += f" and {100 * cover.skin_share:.0f} % of the skin within 15 mm of it"
    text += " have a reading"
    if cover.noise_skin_mm is not None and cover.correlation_px is not None:
        text += (
            f"; noise {cover.noise_skin_mm:.2f} mm on skin, {cover.noise_teeth_mm:.2f} mm on enamel, "
            f"correlated over "
            f"{cover.correlation_px:.1f} px"
        )
    if smoothing is not None:
        text += f"; blur {smoothing.value:.1f} +- {smoothing.sd:.1f} px"
    severity = Severity.OK
    if cover.teeth_share < TEETH_FAIL:
        severity = Severity.FAIL
    elif cover.teeth_share < TEETH_WARN or (cover.skin_share is not None and cover.skin_share < SKIN_WARN):
        severity = Severity.WARN
    return Finding(
        CODE,
        severity,
        text,
        "" if severity is Severity.OK else _TODO,
        cover.teeth_share,
        None,
        TEETH_WARN,
        "1",
        severity is Severity.FAIL,
        _SOURCE,
    )
