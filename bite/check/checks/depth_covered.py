"""Does the depth map have readings on teeth and skin, and how good are they? One finding."""

from __future__ import annotations

from bite.check.finding import Finding, Severity
from bite.evidence.depth.cover import DepthCover
from bite.files.depth import Matching
from bite.stats.estimate import Estimate

CODE = "depth-covered"
TEETH_WARN, TEETH_FAIL, SKIN_WARN = 0.6, 0.15, 0.6
"""Shares of enamel and skin with a reading: fewer weaken the fit, and fewer still leave none to speak of
(common practice, no source)."""
STEP_NOTE_MM = 0.5
"""From this storage step on patches of skin share one value, and their errors with it (our choice)."""
_SOURCE = "shares: common practice, no source"
_TODO = (
    "holes on enamel come from glints and from standing too near: move the sensor back, turn it or the "
    "light a little, "
    "or average several frames"
)
_TODO_MATCHED = (
    "wet and clean enamel has little to match: more light from the side, sharper or closer pictures, or "
    "polarising filters against glints; the corners clicked in both views help where it cannot be matched"
)
_CLICK_BOTH = "click the corners in both views, so that they can stand in for the enamel"


def depth_covered(
    cover: DepthCover | None,
    smoothing: Estimate | None,
    *,
    stereo: Matching | None = None,
    two_views: bool = False,
    profile_share: float | None,
) -> Finding:
    """Judge coverage, and tell noise, correlation and smoothing.

    Parameters
    ----------
    cover : DepthCover or None, of a map
    smoothing : Estimate or None, px, as the fit found it
    stereo : Matching or None, how the map was matched from two views, or why it could not be
    two_views : bool, the clicked corners alone fix the teeth in space
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
        if stereo is not None and stereo.why_not:
            return _unmatched(stereo, two_views=two_views)
        text = "no depth map was given"
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
    # without a solved model nobody could leave enamel out that was hardly matched: with one it will be
    hardly = stereo is not None and stereo.enamel_share is None and cover.teeth_share < TEETH_FAIL
    if stereo is not None and (hardly or not stereo.enamel_used):
        return _without_enamel(cover, stereo, two_views=two_views)
    text = f"{100 * cover.teeth_share:.0f} % of the enamel"
    if cover.skin_share is not None:
        text += f" and {100 * cover.skin_share:.0f} % of the skin within 15 mm of it"
    text += " have a reading" if stereo is None else f" were matched between {' and '.join(stereo.views)}"
    if cover.noise_skin_mm is not None and cover.correlation_px is not None:
        text += (
            f"; noise {cover.noise_skin_mm:.2f} mm on skin, {cover.noise_teeth_mm:.2f} mm on enamel, "
            f"correlated over "
            f"{cover.correlation_px:.1f} px"
        )
    if smoothing is not None:
        text += f"; blur {smoothing.value:.1f} +- {smoothing.sd:.1f} px"
    severity = Severity.OK
    holes = _TODO if stereo is None else _TODO_MATCHED
    todo = ""
    if cover.step_mm is not None and cover.step_mm >= STEP_NOTE_MM:
        severity, todo = Severity.NOTE, "store depth in 16 bits: whole patches share the error of one step"
        text += f"; one stored step is {cover.step_mm:.1f} mm at the teeth, which the interval allows for"
    if cover.teeth_share < TEETH_FAIL:
        severity, todo = Severity.FAIL, holes
    elif cover.teeth_share < TEETH_WARN or (cover.skin_share is not None and cover.skin_share < SKIN_WARN):
        severity, todo = Severity.WARN, holes
    return Finding(
        CODE,
        severity,
        text,
        todo,
        cover.teeth_share,
        None,
        TEETH_WARN,
        "1",
        severity is Severity.FAIL,
        _SOURCE,
    )


def _unmatched(stereo: Matching, *, two_views: bool) -> Finding:
    text = f"{' and '.join(stereo.views)} could not be matched: {stereo.why_not}"
    text += "; depth comes from the corners clicked in two views" if two_views else ""
    todo = _TODO_MATCHED if two_views else _CLICK_BOTH
    severity = Severity.NOTE if two_views else Severity.WARN
    return Finding(CODE, severity, text, todo, limit=TEETH_WARN, unit="1", source=_SOURCE)


def _without_enamel(cover: DepthCover, stereo: Matching, *, two_views: bool) -> Finding:
    """Tell that the skin was matched and the enamel was not: the teeth come from clicks, or from nothing."""
    share = (cover.teeth_share if stereo.enamel_share is None else stereo.enamel_share) or 0.0
    much = f"only {100 * share:.0f} %" if share >= 0.005 else "none"
    text = f"{much} of the enamel could be matched between {' and '.join(stereo.views)}"
    if cover.skin_share is not None:
        text += f" (skin within 15 mm of it: {100 * cover.skin_share:.0f} %)"
    text += ", too little to trust: "
    text += "the teeth come" if two_views else "the teeth could come"
    text += " from the corners clicked in two views, the head from the skin"
    return Finding(
        CODE,
        Severity.NOTE if two_views else Severity.WARN,
        text,
        _TODO_MATCHED if two_views else _CLICK_BOTH,
        share,
        None,
        TEETH_FAIL,
        "1",
        source=_SOURCE,
    )
