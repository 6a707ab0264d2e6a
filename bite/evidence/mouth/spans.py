"""Distances between clicked corners in mm: through two views, measured depth, the solved model."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from bite.errors import InputError
from bite.evidence.clicks.click_depth import INWARD, read_click_depth
from bite.evidence.clicks.for_fit import SIGMA_DISTAL_PX, SIGMA_MESIAL_PX, UNSURE_FACTOR
from bite.evidence.clicks.triangulated import triangulated_corners
from bite.evidence.model.head import check_crown_span
from bite.files.bundle import BiteFrame
from bite.files.corners import CornerPoint, CornerState
from bite.files.frame import MapEntry
from bite.fit.head import Head
from bite.geometry.rigid import Array
from bite.geometry.teeth import LOWER_CENTRAL, LOWER_CORNERS, UPPER_CENTRAL, UPPER_CORNERS, is_upper

PAIRS = (
    ("11d", "21d", 2),
    ("41d", "31d", 2),
    ("11d", "11m", 1),
    ("21m", "21d", 1),
    ("41d", "41m", 1),
    ("31m", "31d", 1),
)
"""Corners and the crowns between them."""
ANGLE_INSIDE, ANGLE_INSIDE_SD = 0.03, 0.04
"""Share of a crown's greatest width by which its rounded angles are clicked inside it: an estimate, no
source."""
_UNIT_STEPS = (10.0, 25.4, 100.0, 304.8, 1000.0)
"""Steps between mm, cm, inches, feet and m."""


class Through(StrEnum):
    """What turned pixels into millimetres."""

    STEREO = "two views"
    DEPTH = "measured depth"
    SOLVED = "the solved model's depth"


@dataclass(frozen=True, slots=True)
class CrownSpan:
    """One distance between two clicked corners, mm, and what a population has there."""

    corners: tuple[str, str]
    through: Through
    mm: float
    sd_mm: float
    expected_mm: float
    expected_sd_mm: float

    @property
    def off_by_sd(self) -> float:
        """How far it lies from the population's mean, in sd of both together."""
        return (self.mm - self.expected_mm) / float(np.hypot(self.sd_mm, self.expected_sd_mm))


def crown_spans(frame: BiteFrame, head: Head | None, parameters: Array | None) -> tuple[CrownSpan, ...]:
    """Measure every span of one or two crowns whose corners are clicked, in every way that the frame allows.

    Parameters
    ----------
    frame : BiteFrame
    head, parameters : the solved model and where the fit put it, where there are such

    Raises
    ------
    InputError
        When spans through the depth map are off by the step between two common units.
    """
    spans = [*_through_views(frame), *_through_depth(frame)]
    if head is not None:
        spans += _through_solved(frame, head, parameters)
    return tuple(spans)


def click_sigma_px(code: str, point: CornerPoint) -> float:
    """Give the sd of one click, px."""
    stated = point.sigma_px or (SIGMA_DISTAL_PX if code.endswith("d") else SIGMA_MESIAL_PX)
    return stated * (UNSURE_FACTOR if point.state is CornerState.UNSURE else 1.0)


def seen_points(frame: BiteFrame, view: int) -> dict[str, tuple[Array, float]]:
    """Give position and sd, px, of the corners seen in a view."""
    corners = frame.views[view].corners
    found = {}
    for code in (*UPPER_CORNERS, *LOWER_CORNERS):
        point = corners.points.get(code) if corners is not None else None
        if point is None or point.state in (CornerState.HIDDEN, CornerState.COVERED):
            continue
        if point.x_px is not None and point.y_px is not None:
            found[code] = (np.array([point.x_px, point.y_px]), click_sigma_px(code, point))
    return found


def patch_beside(points: dict[str, tuple[Array, float]], code: str, up: Array) -> Array | None:
    """Give the pixel on the enamel beside a corner; None when its row has no second corner to tell the size.

    Parameters
    ----------
    points : seen corners of one view
    up : array, shape (2,), unit vector from lower to upper teeth, px
    """
    row = UPPER_CORNERS if is_upper(code) else LOWER_CORNERS
    ends = [name for name in row if name in points]
    if len(ends) < 2:
        return None
    place = {row[0]: 0.0, row[1]: 1.0, row[2]: 1.0, row[3]: 2.0}
    crowns = place[ends[-1]] - place[ends[0]]
    if not crowns:
        return None
    crown = (points[ends[-1]][0] - points[ends[0]][0]) / crowns
    side = 1.0 if code in (row[0], row[2]) else -1.0
    along = side * INWARD * crown
    height = INWARD * float(np.hypot(*crown)) * (1.0 if is_upper(code) else -1.0)
    return np.asarray(points[code][0] + along + height * up)


def up_in_picture(points: dict[str, tuple[Array, float]]) -> Array:
    """Give the direction at right angles to the clicked row, away from the lower teeth, unit vector, px."""
    for row in (UPPER_CORNERS, LOWER_CORNERS):
        ends = [points[code][0] for code in row if code in points]
        if len(ends) >= 2:
            across = ends[-1] - ends[0]
            return np.asarray(np.array([across[1], -across[0]]) / np.hypot(*across))
    return np.array([0.0, -1.0])


def _span(a: str, b: str, crowns: int, through: Through, mm: float, sd: float) -> CrownSpan:
    crown = UPPER_CENTRAL if is_upper(a) else LOWER_CENTRAL
    mean = crowns * crown.mean_mm * (1.0 - ANGLE_INSIDE)
    # crowns of one mouth are large or small together, so that two of them vary twice as much as one
    return CrownSpan(
        (a, b), through, mm, sd, mean, mean * float(np.hypot(crown.sd_mm / crown.mean_mm, ANGLE_INSIDE_SD))
    )


def _through_views(frame: BiteFrame) -> list[CrownSpan]:
    if len(frame.views) < 2:
        return []
    seen = [seen_points(frame, k) for k in range(len(frame.views))]
    corners = triangulated_corners(frame.views, seen)
    found = {corner.name: (corner.point_mm, corner.covariance_mm2) for corner in corners}
    spans = []
    for a, b, crowns in PAIRS:
        if a in found and b in found:
            step = found[b][0] - found[a][0]
            length = float(np.linalg.norm(step))
            along = step / max(length, 1e-9)
            sd = float(np.sqrt(along @ (found[a][1] + found[b][1]) @ along))
            spans.append(_span(a, b, crowns, Through.STEREO, length, sd))
    return spans


def _through_depth(frame: BiteFrame) -> list[CrownSpan]:
    if frame.depth_map is None or frame.depth_camera is None:
        return []
    points = seen_points(frame, 0)
    up = up_in_picture(points)
    view = frame.views[0].camera
    depths: dict[str, tuple[float, float]] = {}
    for code in points:
        patch = patch_beside(points, code, up)
        read = None if patch is None else read_click_depth(frame, patch)
        if read is not None and read.depth_mm is not None and read.sd_mm is not None:
            depths[code] = (read.depth_mm, read.sd_mm)
    spans = []
    for a, b, crowns in PAIRS:
        if a not in depths or b not in depths:
            continue
        pair = np.array([points[a][0], points[b][0]])
        ends = view.point_at(pair, np.array([depths[a][0], depths[b][0]]))
        mm, z = float(np.linalg.norm(ends[1] - ends[0])), 0.5 * (depths[a][0] + depths[b][0])
        click = np.hypot(points[a][1], points[b][1]) * z / view.focal_px
        lean = abs(float((ends[1] - ends[0])[2])) / max(mm, 1e-9)
        depth = lean * float(np.hypot(depths[a][1], depths[b][1]))
        span = _span(a, b, crowns, Through.DEPTH, mm, float(np.hypot(click, depth)))
        if crowns == 2 and isinstance(frame.file.depth, MapEntry):
            _refuse_unit(frame, span)
        spans.append(span)
    return spans


def _refuse_unit(frame: BiteFrame, span: CrownSpan) -> None:
    ratio = span.mm / span.expected_mm
    if any(0.7 < ratio * step < 1.4 or 0.7 < ratio / step < 1.4 for step in _UNIT_STEPS):
        entry = frame.file.depth
        assert isinstance(entry, MapEntry)
        key = "[depth] unit_mm" if entry.unit_mm is not None else "[depth] inverse_per_m"
        check_crown_span(
            frame.file.path, (span.corners[0], "", "", span.corners[1]), span.mm, span.expected_mm, key
        )
        raise InputError(frame.file.path, key, f"corners are {span.mm:.4g} mm apart", "correct the unit")


def _through_solved(frame: BiteFrame, head: Head, parameters: Array | None) -> list[CrownSpan]:
    points = seen_points(frame, 0)
    view = frame.views[0].camera
    shared = [code for code in points if code in head.corners]
    if len(shared) < 2:
        return []
    at = np.array([head.corners[code] for code in shared])
    placed = at if parameters is None else head.place(at, True, parameters)
    z = view.camera_from_reference.apply(placed)[:, 2]
    if not (z > 1.0).all():
        return []
    back = view.point_at(np.array([points[code][0] for code in shared]), z)
    where = dict(zip(shared, back, strict=True))
    spans = []
    for a, b, crowns in PAIRS:
        if a in where and b in where:
            mm = float(np.linalg.norm(where[b] - where[a]))
            click = float(np.hypot(points[a][1], points[b][1]) * z.mean() / view.focal_px)
            spans.append(_span(a, b, crowns, Through.SOLVED, mm, click))
    return spans
