"""Which evidence would settle an offset that is not known well enough: whatever feeds most of its sd."""

from __future__ import annotations

import numpy as np

from bite.evidence.blocks import OffsetEvidence
from bite.evidence.model.head import SolvedHead
from bite.evidence.mouth.spans import seen_points
from bite.files.bundle import BiteFrame
from bite.fit.offset import OffsetFit
from bite.fit.parameters import P
from bite.geometry.teeth import UPPER_CORNERS

FEW_TEETH_PX = 300
"""Depth pixels of pure enamel below which they are named as what is missing (our choice)."""
_HEAD = tuple(P)[:6]


def what_would_settle(frame: BiteFrame, solved: SolvedHead, evidence: OffsetEvidence, fit: OffsetFit) -> str:
    """Name the evidence that would bring the sd down most, in one clause.

    Parameters
    ----------
    frame, solved, evidence : what the fit was made from
    fit : OffsetFit
    """
    if not fit.solution.converged:
        return "the fit did not settle: look at skin-agrees and depth-covered first"
    bias_sd, head_sd = _from_prior(fit, evidence, (P.ENAMEL_BIAS_MM,)), _from_prior(fit, evidence, _HEAD)
    device = frame.device.name
    if evidence.depth is not None and bias_sd >= max(fit.sampling_sd_mm, head_sd):
        return (
            f"state the enamel bias of {device} (how much deeper than its surface it sees enamel: "
            f"enamel_bias_mm and "
            f"enamel_bias_sd_mm in its device table); not knowing it makes {bias_sd:.2f} mm of the sd"
        )
    if head_sd > fit.sampling_sd_mm:
        clicked = all(view.corners is not None and view.corners.landmarks for view in frame.views)
        if evidence.depth is None and not (clicked and solved.head.landmarks):
            return (
                "click landmarks that the rig names in every view, or give a depth map: what holds the "
                "head now is the "
                f"belief that it was solved to 1 mm and 1 degree, which makes {head_sd:.2f} mm of the sd"
            )
        if evidence.depth is None:
            return f"a depth map, or more landmarks: the place of the head makes {head_sd:.2f} mm of the sd"
        return f"more measured skin around the mouth: the place of the head makes {head_sd:.2f} mm of the sd"
    if frame.stereo is not None and not frame.stereo.enamel_used:
        return _for_a_pair(frame)
    block = fit.depth_block
    if block is not None:
        seen = fit.solution.seen[fit.solution.number_of(block)]
        teeth = int((seen.used & (seen.teeth_share > 0.9)).sum())
        if teeth < FEW_TEETH_PX:
            return (
                f"more enamel in the depth map ({teeth} pixels of pure enamel now): lips wider apart, or the "
                "camera nearer"
            )
        return "a steadier depth map (several frames averaged), or corners in a second calibrated view"
    if evidence.depth is not None:
        return "a depth map in place of one line, or corners in a second calibrated view"
    return "a wider baseline between the views, closer cameras, or a depth map"


def _for_a_pair(frame: BiteFrame) -> str:
    """Say what helps where two views were matched on skin alone: the teeth then rest on what was clicked."""
    names = frame.stereo.views if frame.stereo is not None else ()
    clicked = [seen_points(frame, k) for k, view in enumerate(frame.views) if view.name in names]
    lacking = [code for code in UPPER_CORNERS if not all(code in points for points in clicked)]
    if lacking:
        return f"click {' and '.join(lacking)} in both views: the teeth rest on what was clicked in both"
    return (
        "another frame of this performer taken together with this one (--together), or closer cameras: no "
        "enamel could be matched, and the teeth rest on the corners clicked in both views"
    )


def _from_prior(fit: OffsetFit, evidence: OffsetEvidence, which: tuple[P, ...]) -> float:
    """Give the sd of t, mm, that some priors bring in: data that beat a prior leave nothing."""
    row = fit.solution.bread[P.FORWARD_MM, list(which)]
    return float(np.sqrt(row**2 @ evidence.prior.precision[list(which)]))
