"""All checks of a frame, in the order in which a person would ask them."""

from __future__ import annotations

from bite.check.checks.bite_gap import bite_gap
from bite.check.checks.centrals import centrals
from bite.check.checks.corners_plausible import corners_plausible
from bite.check.checks.depth_agrees import depth_agrees
from bite.check.checks.depth_covered import depth_covered
from bite.check.checks.depth_lens import depth_lens
from bite.check.checks.device_known import device_known
from bite.check.checks.enamel_lit import enamel_lit
from bite.check.checks.fit_sound import clicks_agree, fit_sound
from bite.check.checks.framed import framed
from bite.check.checks.hair import hair
from bite.check.checks.held_still import held_still
from bite.check.checks.lateral import lateral
from bite.check.checks.on_enamel import lies_on_enamel, on_enamel
from bite.check.checks.overbite_visible import overbite_visible
from bite.check.checks.overjet_overbite import overjet_overbite_findings
from bite.check.checks.registered import registered, stands_elsewhere, stands_here
from bite.check.checks.resolved import resolved
from bite.check.checks.rows_agree import rows_agree
from bite.check.checks.same_device import same_device
from bite.check.checks.sensor_filter import sensor_filter
from bite.check.checks.sharp import sharp
from bite.check.checks.skin_agrees import skin_agrees
from bite.check.checks.teeth_shown import teeth_shown
from bite.check.checks.views_agree import views_agree
from bite.check.finding import Finding, Severity
from bite.evidence.clicks.click_residuals import rows_apart_px
from bite.evidence.model.head import SolvedHead
from bite.evidence.observed import Observed
from bite.files.depth import Held, Matching
from bite.files.device import Device
from bite.fit.offset import OffsetFit


def capture_findings(
    observed: Observed,
    fit: OffsetFit | None,
    *,
    device: Device,
    performance_device: str | None,
    stereo: Matching | None,
    held: Held | None,
    two_views: bool,
    lower_left_out: bool,
    rows_contradict_sd: float,
    solved: bool,
) -> list[Finding]:
    """Ask what can be asked of any frame, with or without a solved model.

    Parameters
    ----------
    observed : Observed
    fit : OffsetFit or None
    device : Device, its table; without one everything in it but the name is None
    performance_device : str or None
    stereo : Matching or None, how depth was matched from two views, where it was
    held : Held or None, how a depth map was averaged from several, where it was
    two_views : bool, the clicked corners alone fix the teeth in space
    lower_left_out : bool, the fit was made without the lower clicks
    rows_contradict_sd : float
    solved : bool, whether a solved model was given: without one the picture alone must show enamel
    """
    smoothing = None if fit is None else fit.smoothing
    mouth, picture = observed.mouth, observed.picture
    below = picture.below if picture.edge is None or lies_on_enamel(picture.edge) else None
    has_map = fit is not None and fit.depth_block is not None
    return [
        bite_gap(observed.measures.gap, below),
        *([on_enamel(picture.edge)] if picture.edge is not None or not solved else []),
        resolved(mouth, observed.cover, smoothing.value if smoothing is not None and has_map else None),
        enamel_lit(picture.exposure),
        sharp(picture.blur, None if mouth is None else mouth.mm_per_px),
        corners_plausible(
            observed.spans, clicked=observed.clicked, two_seen=mouth is not None and mouth.clicked
        ),
        overbite_visible(
            observed.lower_states,
            below,
            None if observed.seen is None else observed.seen.lower_seen,
            lower_left_out=lower_left_out,
            rows_contradict_sd=rows_contradict_sd,
            rows_apart_mm=None if mouth is None else rows_apart_px(observed.residuals) * mouth.mm_per_px,
            gap=observed.measures.gap,
        ),
        depth_covered(
            observed.cover,
            smoothing if has_map else None,
            stereo=stereo,
            two_views=two_views,
            profile_share=observed.profile_share,
        ),
        *([] if held is None else [held_still(held)]),
        *centrals(observed.centrals),
        framed(observed.framing),
        same_device(device.name, performance_device),
        *([device_known(device, fit, stereo)] if fit is not None and fit.smoothing is not None else []),
        *([views_agree(observed.triangulated, observed.fault)] if observed.triangulated else []),
    ]


def model_findings(
    observed: Observed, fit: OffsetFit | None, solved: SolvedHead, *, tolerance_mm: float
) -> list[Finding]:
    """Ask what can be asked beside a solved model.

    Parameters
    ----------
    observed : Observed
    fit : OffsetFit or None
    solved : SolvedHead
    tolerance_mm : float, mm
    """
    skin = skin_agrees(
        observed.skin,
        observed.wave_sd_mm,
        posed_by_landmarks=solved.posed_by_landmarks,
        odd=_odd_one(observed),
    )
    found = [
        teeth_shown(
            observed.picture.contrast,
            None if observed.seen is None else observed.seen.shown_mm2,
            same_as_rest=solved.same_as_rest,
        ),
        *overjet_overbite_findings(observed.measures),
        skin,
        registered(
            observed.registered,
            observed.registered_as_solved,
            depth_and_model_agree=None if observed.skin is None else skin.severity is Severity.OK,
            depth_inliers=None if fit is None else fit.solution.inlier_share.get("depth"),
            others=observed.registered_views,
        ),
        *([] if observed.hair is None else [hair(observed.hair)]),
        *([] if observed.sensor is None else [sensor_filter(observed.sensor)]),
    ]
    if fit is not None:
        solution = fit.solution
        if fit.depth_block is not None:
            found.append(depth_agrees(solution.chi2_reduced["depth"], solution.inlier_share["depth"]))
            found.append(depth_lens(observed.depth_lens))
        found += [
            fit_sound(
                converged=solution.converged,
                stop_reason=solution.stop_reason,
                rounds=solution.rounds,
                at_bound=solution.at_bound,
            ),
            clicks_agree(observed.residuals, numbers_off=observed.numbers_off),
            lateral(
                fit.right,
                fit.up,
                tolerance_mm,
                clicked_off_the_edge=observed.picture.edge is not None
                and not lies_on_enamel(observed.picture.edge),
            ),
            rows_agree(fit.rows),
        ]
    return found


def _odd_one(observed: Observed) -> str:
    """Say which of solved head and depth map the picture speaks against, where they stand apart."""
    on_depth, as_solved = observed.registered, observed.registered_as_solved
    if stands_here(on_depth) and stands_elsewhere(as_solved):
        return "the picture sides with the depth map, so that the solved head is the odd one"
    if stands_here(as_solved) and stands_elsewhere(on_depth):
        return "the picture sides with the solved head, so that the depth map is the odd one"
    return ""
