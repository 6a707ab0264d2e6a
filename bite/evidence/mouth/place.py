"""Where the incisors are in the reference picture, and how large: from clicks, else from the solved model."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from bite.errors import DegenerateGeometryError
from bite.evidence.clicks.click_depth import read_click_depth
from bite.evidence.clicks.corner_order import axes_in_view
from bite.evidence.clicks.tooth_row import (
    DownSource,
    ToothRow,
    mm_per_px_from_corners,
    tooth_row_from_corners,
)
from bite.evidence.model.teeth_in_view import TeethInView
from bite.evidence.mouth.spans import patch_beside, seen_points, up_in_picture
from bite.files.bundle import BiteFrame
from bite.fit.head import Head
from bite.geometry.rigid import frozen
from bite.geometry.teeth import UPPER_CENTRAL, UPPER_CORNERS


@dataclass(frozen=True, slots=True)
class Mouth:
    """The upper incisors in the reference picture.

    Parameters
    ----------
    row : ToothRow
    clicked : bool, from clicks; else from the solved model's own corners
    mm_per_px, mm_per_px_sd : float
    scale_from : str, what the scale comes from
    distance_mm : float or None, of the incisors along the camera's axis
    """

    row: ToothRow
    clicked: bool
    mm_per_px: float
    mm_per_px_sd: float
    scale_from: str
    distance_mm: float | None


def mouth_of(frame: BiteFrame, head: Head | None, seen: TeethInView | None) -> Mouth | None:
    """Find the upper incisors in the reference picture; None without usable clicks or model corners.

    Parameters
    ----------
    frame : BiteFrame
    head : Head or None
    seen : TeethInView or None, the model as the fit placed it
    """
    view = frame.views[0]
    row, clicked = None, True
    if view.corners is not None:
        try:
            row = tooth_row_from_corners(view.corners)
        except DegenerateGeometryError:
            row = None
    axes = None if head is None else axes_in_view(head, view)
    if row is None and seen is not None and axes is not None:
        codes = [code for code in UPPER_CORNERS if code in seen.corners_px]
        edge = np.array([seen.corners_px[code] for code in codes]).reshape(-1, 2)
        if len(codes) < 2 or not np.isfinite(edge).all():
            return None
        crown_px = UPPER_CENTRAL.mean_mm / seen.mm_per_px
        row = ToothRow(
            axes.across,
            axes.down,
            frozen(edge),
            frozen(np.zeros((0, 2))),
            False,
            crown_px,
            DownSource.TOOTH_ORDER,
            False,
        )
        clicked = False
    if row is None:
        return None
    if clicked and axes is not None and row.down_from is DownSource.TOOTH_ORDER:
        side = np.array([-row.across[1], row.across[0]])
        row = replace(row, down=frozen(side * np.sign(float(side @ axes.down) or 1.0)), mirrored=False)
    if seen is not None:
        return Mouth(
            row, clicked, seen.mm_per_px, 0.01 * seen.mm_per_px, "the solved model", seen.distance_mm
        )
    return _scaled(frame, row)


def _scaled(frame: BiteFrame, row: ToothRow) -> Mouth | None:
    """Take the scale from measured depth on the upper teeth, else from what crowns usually measure."""
    points = seen_points(frame, 0)
    focal_px = frame.views[0].camera.focal_px
    if frame.depth_map is not None:
        up = up_in_picture(points)
        read = []
        for code in UPPER_CORNERS:
            patch = patch_beside(points, code, up) if code in points else None
            depth = None if patch is None else read_click_depth(frame, patch).depth_mm
            if depth is not None:
                read.append(depth)
        if read:
            z = float(np.median(read))
            return Mouth(row, True, z / focal_px, 0.01 * z / focal_px, "measured depth", z)
    corners = frame.views[0].corners
    assert corners is not None
    try:
        scale = mm_per_px_from_corners(corners)
    except DegenerateGeometryError:
        return None
    return Mouth(row, True, scale.mm_per_px, scale.sd_mm_per_px, f"usual crown widths ({scale.source})", None)
