"""Clicked corners and landmarks as the fit takes them, with their sigmas."""

from __future__ import annotations

import numpy as np

from bite.evidence.crowns import crowns_of
from bite.files.bundle import BiteFrame, LoadedView
from bite.files.corners import CornerState
from bite.fit.corner_block import Clicks, CornerBlock, Use
from bite.fit.head import Head
from bite.geometry.teeth import is_upper

SIGMA_MESIAL_PX, SIGMA_DISTAL_PX = 0.8, 1.2
"""Scatter of a careful click where the file states none; distal angles are rounder (common practice, no
source)."""
SIGMA_LANDMARK_PX = 2.0
"""Soft tissue has no sharp point to click (common practice, no source)."""
UNSURE_FACTOR = 3.0
"""As the file format says of a click that its annotator does not trust."""


def clicks_of(view: LoadedView, head: Head, *, use_lower: bool = True) -> Clicks | None:
    """Give the clicks of one view that the solved model has points for; None where nobody has clicked.

    ``hidden`` corners say nothing. ``covered`` lower corners bound where the true one is; a covered upper
    corner says nothing,
    since nothing of the other row ever stands before it in a bite.
    """
    if view.corners is None:
        return None
    names, use, pixels, sigma = [], [], [], []
    for code, point in view.corners.points.items():
        if code not in head.corners or point.state is CornerState.HIDDEN or point.x_px is None:
            continue
        covered = point.state is CornerState.COVERED
        if (covered and is_upper(code)) or (not use_lower and not is_upper(code)):
            continue
        assert point.y_px is not None
        stated = point.sigma_px or (SIGMA_DISTAL_PX if code.endswith("d") else SIGMA_MESIAL_PX)
        names.append(code)
        use.append(Use.BOUND if covered else Use.CORNER)
        pixels.append((point.x_px, point.y_px))
        sigma.append(stated * (UNSURE_FACTOR if point.state is CornerState.UNSURE else 1.0))
    for name, mark in view.corners.landmarks.items():
        if name in head.landmarks:
            names.append(name)
            use.append(Use.LANDMARK)
            pixels.append((mark.x_px, mark.y_px))
            sigma.append(mark.sigma_px or SIGMA_LANDMARK_PX)
    return Clicks(
        view.name,
        view.camera,
        tuple(names),
        np.array(use, dtype=np.int8),
        np.array(pixels, dtype=np.float64).reshape(-1, 2),
        np.array(sigma, dtype=np.float64),
    )


def corner_block(frame: BiteFrame, head: Head, *, use_lower: bool = True) -> CornerBlock | None:
    """Give the corner evidence of all views; None when no view has a usable click."""
    views = [clicks_of(view, head, use_lower=use_lower) for view in frame.views]
    kept = tuple(view for view in views if view is not None and view.names)
    return CornerBlock(head, kept, crowns_of(frame.rig).corner_sd_mm) if kept else None


def views_with_position(block: CornerBlock | None) -> int:
    """Count the views in which at least two corners are seen: two such views fix the teeth in space."""
    if block is None:
        return 0
    return sum(int((view.use == Use.CORNER).sum() >= 2) for view in block.views)
