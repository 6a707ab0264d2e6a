"""All that is measured of a frame beside the fit, in one piece: what the checks judge."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from bite.evidence.clicks.click_residuals import ClickResidual, click_residuals
from bite.evidence.clicks.misclick import ClickFault, worst_click
from bite.evidence.clicks.number_off import numbers_off
from bite.evidence.clicks.triangulated import TriangulatedCorner, triangulated_corners
from bite.evidence.depth.coarse_place import CoarsePlace, with_placing
from bite.evidence.depth.cover import (
    DepthCover,
    SkinFit,
    cover_beside_clicks,
    cover_beside_model,
    skin_fit,
)
from bite.evidence.depth.filter_found import FilterFound, filter_found
from bite.evidence.depth.hair_found import HairFound, hair_found, lips_beside_hair
from bite.evidence.depth.lens_found import lens_found
from bite.evidence.model.head import SolvedHead
from bite.evidence.model.hidden_teeth import solved_teeth_in_view
from bite.evidence.model.registered import Registration, registration
from bite.evidence.model.teeth_in_view import TeethInView, teeth_in_view
from bite.evidence.mouth.centrals import Centrals, centrals_of
from bite.evidence.mouth.framing import Framing, framing_of
from bite.evidence.mouth.picture_quality import PictureQuality, picture_quality
from bite.evidence.mouth.place import Mouth, mouth_of
from bite.evidence.mouth.rows import BiteMeasures, bite_measures
from bite.evidence.mouth.spans import CrownSpan, crown_spans, seen_points
from bite.files.bundle import BiteFrame
from bite.files.corners import CornerState
from bite.fit.corner_block import CornerBlock
from bite.fit.offset import OffsetFit
from bite.fit.parameters import COUNT
from bite.geometry.rigid import Array
from bite.geometry.teeth import LOWER_CORNERS
from bite.stats.estimate import Estimate


@dataclass(frozen=True, slots=True)
class Observed:
    """Evidence of a frame after the fit; None where the frame lacks what it takes.

    ``lower_states`` holds the lower corners of the reference view as clicked; ``profile_share`` the share
    of a profile's rows on enamel with a reading; ``fault`` the click that the rest speaks against most;
    ``numbers_off`` by how much the rig's corner numbers seem off, 0 where they fit.
    """

    clicked: bool
    lower_states: dict[str, CornerState]
    seen: TeethInView | None
    mouth: Mouth | None
    picture: PictureQuality
    spans: tuple[CrownSpan, ...]
    measures: BiteMeasures
    cover: DepthCover | None
    profile_share: float | None
    framing: Framing | None
    skin: SkinFit | None
    wave_sd_mm: float | None
    residuals: tuple[ClickResidual, ...]
    triangulated: tuple[TriangulatedCorner, ...]
    fault: ClickFault | None
    hair: HairFound | None
    centrals: Centrals | None
    sensor: FilterFound | None
    numbers_off: int = 0
    registered: Registration | None = None
    registered_as_solved: Registration | None = None
    depth_lens: Estimate | None = None
    registered_views: tuple[tuple[str, Registration | None], ...] = ()


def observe(
    frame: BiteFrame,
    solved: SolvedHead | None,
    as_given: TeethInView | None,
    fit: OffsetFit | None,
    corners: CornerBlock | None,
    placed: CoarsePlace | None = None,
    as_solved: TeethInView | None = None,
) -> Observed:
    """Measure picture, rows, coverage and framing of a frame.

    Parameters
    ----------
    frame : BiteFrame
    solved : SolvedHead or None
    as_given : TeethInView or None, the model rendered where it was given
    fit : OffsetFit or None
    corners : CornerBlock or None, with every click that has a point in the model
    placed : CoarsePlace or None, the motion by which the head was brought near the measured skin before
    as_solved : TeethInView or None, the model where it was solved, where it was so moved

    Raises
    ------
    InputError
        When distances between clicks are off by the step between two units.
    """
    head = None if solved is None else solved.head
    parameters = None if fit is None else fit.parameters
    seen = as_given
    if solved is not None and fit is not None and fit.solution.converged:
        seen = solved_teeth_in_view(frame, solved, parameters, within=as_given) or as_given
    mouth = mouth_of(frame, head, seen)
    picture = picture_quality(frame, mouth, seen)
    points = frame.views[0].corners.points if frame.views[0].corners is not None else {}
    block = None if fit is None else fit.depth_block
    cover, skin, lens = None, None, None
    if fit is not None and block is not None:
        # without the waves that the fit found in the skin: what they mend at the lips is what is asked for
        as_solved_skin = block.predict(fit.parameters[:COUNT])
        cover, skin = cover_beside_model(block, as_solved_skin), skin_fit(fit, block, as_solved_skin)
        lens = lens_found(block, as_solved_skin)
        skin = skin if placed is None else with_placing(skin, placed, fit.parameters)
    hair = None if fit is None else hair_found(fit)
    if skin is not None:
        skin = replace(skin, lips=lips_beside_hair(skin.lips, hair))
    found = None if seen is None or block is None else registration(seen)
    return Observed(
        clicked=any(view.corners is not None and view.corners.points for view in frame.views),
        lower_states={code: points[code].state for code in LOWER_CORNERS if code in points},
        seen=seen,
        mouth=mouth,
        picture=picture,
        spans=crown_spans(frame, head, parameters),
        measures=bite_measures(frame, head, fit, mouth, picture.below),
        cover=cover if cover is not None else cover_beside_clicks(frame),
        profile_share=_profile_share(fit),
        framing=None if mouth is None else framing_of(frame, head, mouth),
        skin=skin,
        wave_sd_mm=None if block is None else block.spread.wave_mm,
        residuals=() if corners is None or fit is None else click_residuals(corners, fit.parameters),
        triangulated=triangulated_corners(
            frame.views, [seen_points(frame, k) for k in range(len(frame.views))]
        ),
        fault=_fault(fit),
        hair=hair,
        centrals=centrals_of(frame, mouth),
        sensor=None if fit is None else filter_found(fit, cover),
        numbers_off=_numbers_off(frame, fit, corners),
        depth_lens=lens,
        registered=found,
        registered_as_solved=_as_solved(found, as_solved or as_given),
        registered_views=()
        if solved is None or found is None or parameters is None
        else _in_other_views(frame, solved, parameters),
    )


LOOKED_AGAIN = 0.05
"""A gain from which the model as it was solved is laid over the picture too: half of what counts (our
choice)."""


def _as_solved(found: Registration | None, as_solved: TeethInView | None) -> Registration | None:
    """Lay the model as it was solved over the picture, where as depth holds it, it fits better elsewhere."""
    if as_solved is None or found is None or found.best - found.here < LOOKED_AGAIN:
        return None
    return registration(as_solved)


def _in_other_views(
    frame: BiteFrame, solved: SolvedHead, parameters: Array
) -> tuple[tuple[str, Registration | None], ...]:
    """Lay the model as depth holds it over the pictures of the other views."""
    found = []
    for view in frame.views[1:]:
        seen = teeth_in_view(view, solved.head, parameters)
        found.append((view.name, None if seen is None else registration(seen)))
    return tuple(found)


def _numbers_off(frame: BiteFrame, fit: OffsetFit | None, corners: CornerBlock | None) -> int:
    if fit is None or corners is None or frame.rig is None or frame.solved_mesh is None:
        return 0
    return numbers_off(corners, fit.parameters, corners.head.points_mm, frame.rig.corners)


def _fault(fit: OffsetFit | None) -> ClickFault | None:
    """Hold the clicks against each other that the fit was made with."""
    clicks = None if fit is None else fit.corner_block
    if fit is None or clicks is None:
        return None
    found = fit.solution
    own = found.columns[found.number_of(clicks)]
    return worst_click(clicks, found.parameters[own], found.bread[np.ix_(own, own)])


def _profile_share(fit: OffsetFit | None) -> float | None:
    line = None if fit is None else fit.profile_block
    if line is None or not line.teeth.any():
        return None
    return float(np.isfinite(line.measured_mm[line.teeth]).mean())
