"""Distances between the two rows of teeth: opening, overjet, overbite; measured and as solved."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bite.errors import DegenerateGeometryError
from bite.evidence.enamel.below_edge import Below, BelowEdge
from bite.evidence.mouth.place import Mouth
from bite.evidence.mouth.spans import seen_points
from bite.files.bundle import BiteFrame
from bite.fit.head import Head
from bite.fit.offset import OffsetFit
from bite.geometry.bite import overjet_overbite, overjet_overbite_with_sd
from bite.geometry.rigid import Array
from bite.geometry.teeth import LOWER_CORNERS, UPPER_CORNERS
from bite.stats.estimate import Estimate

DISTAL_ROUNDING_SD_MM, MESIAL_ROUNDING_SD_MM = 0.25, 0.15
"""A corner on a rounded angle stands off the edge; by how much depends on tooth and clicker. That is
told as doubt and not taken off; mesial angles are the sharper ones (our estimate, no source)."""
USUAL_OVERJET_MM, USUAL_OVERJET_SD_MM = 2.8, 1.7
"""How far the lower row stands behind where nothing measured it (reference/overjet_overbite.toml)."""
UNKNOWN_PITCH_SD_RAD = np.deg2rad(10.0)
"""Nobody told where forward is: the camera may look along the occlusal plane or 10 degrees off it (our
choice)."""
KNOWN_PITCH_SD_RAD = np.deg2rad(2.0)


@dataclass(frozen=True, slots=True)
class BiteMeasures:
    """Distances between the rows, mm; None where not measured.

    ``gap`` is the opening between the incisal edges (negative where they overlap) from clicked corners,
    ``gap_picture`` the same from the picture; overjet and overbite as measured and as solved.
    """

    gap: Estimate | None
    gap_picture: Estimate | None
    overjet: Estimate | None
    overjet_solved_mm: float | None
    overbite: Estimate | None
    overbite_solved_mm: float | None


def bite_measures(
    frame: BiteFrame, head: Head | None, fit: OffsetFit | None, mouth: Mouth | None, below: BelowEdge | None
) -> BiteMeasures:
    """Measure between the rows with what the frame has.

    Parameters
    ----------
    frame : BiteFrame
    head : Head or None, the solved model
    fit : OffsetFit or None
    mouth : Mouth or None, for scale and distance where there is no model
    below : BelowEdge or None, what the picture shows under the upper edge
    """
    gap = opening_from_corners(frame, head, fit, mouth)
    picture = None
    # the width of a shadow line is no gap: only an opening that the picture shows is a number
    if below is not None and below.kind is Below.APART and below.band_mm is not None:
        picture = Estimate(below.band_mm, below.band_sd_mm or 0.0)
    solved = _solved(head)
    overjet = None
    if solved is not None and fit is not None and fit.rows is not None:
        # lower teeth that must move farther forward than the upper ones stand that much less behind them
        overjet = Estimate(solved[0] - fit.rows.value, fit.rows.sd)
    overbite = None if gap is None else Estimate(-gap.value, gap.sd)
    return BiteMeasures(
        gap,
        picture,
        overjet,
        None if solved is None else solved[0],
        overbite,
        None if solved is None else solved[1],
    )


def opening_from_corners(
    frame: BiteFrame, head: Head | None, fit: OffsetFit | None, mouth: Mouth | None
) -> Estimate | None:
    """Measure the opening between the incisal edges along up, mm, from corners seen in both rows.

    Each row is put at its own depth, and only the part along up of the occlusal plane counts: an overjet
    seen from below is no gap. Where no distance is known, the width of the crowns gives the scale. None
    unless both rows have a seen corner.
    """
    points = seen_points(frame, 0)
    upper = [code for code in UPPER_CORNERS if code in points]
    lower = [code for code in LOWER_CORNERS if code in points]
    if not upper or not lower:
        return None
    view = frame.views[0].camera
    rows = _row_depths(head, fit, view.camera_from_reference.apply, mouth)
    if rows is None:
        return None if mouth is None else _in_the_picture(points, upper, lower, mouth)
    upper_z, lower_z, apart_sd = rows
    means, covariances = [], []
    for codes, z, depth_sd in ((upper, upper_z, 0.0), (lower, lower_z, apart_sd)):
        pixels = np.array([points[code][0] for code in codes])
        at = view.point_at(pixels, np.full(len(codes), z))
        sigma = np.sqrt(np.mean([points[code][1] ** 2 for code in codes]) / len(codes)) * z / view.focal_px
        ray = at.mean(0) / max(float(np.linalg.norm(at.mean(0))), 1e-9)
        means.append(at.mean(0)[None])
        covariances.append((sigma**2 * np.eye(3) + depth_sd**2 * np.outer(ray, ray))[None])
    if head is not None:
        forward, up, axis_sd = head.forward, head.up, KNOWN_PITCH_SD_RAD
    elif mouth is not None:
        forward = np.array([0.0, 0.0, -1.0])
        up, axis_sd = np.array([-mouth.row.down[0], -mouth.row.down[1], 0.0]), UNKNOWN_PITCH_SD_RAD
    else:
        return None
    try:
        found = overjet_overbite_with_sd(
            means[0],
            means[1],
            forward=forward,
            up=up,
            upper_covariance_mm2=covariances[0],
            lower_covariance_mm2=covariances[1],
            axis_sd_rad=float(axis_sd),
        )
    except DegenerateGeometryError:
        return None
    mesial = all(any(code.endswith("m") for code in row) for row in (upper, lower))
    rounding_mm = MESIAL_ROUNDING_SD_MM if mesial else DISTAL_ROUNDING_SD_MM
    return Estimate(-found.overbite_mm, float(np.hypot(found.overbite_sd_mm, rounding_mm)))


def _in_the_picture(
    points: dict[str, tuple[Array, float]], upper: list[str], lower: list[str], mouth: Mouth
) -> Estimate:
    """Measure the opening in the picture alone, by the width of the crowns, where no distance is known.

    A camera that looks up or down at the teeth sees part of the overjet as an opening or overlap: that is
    doubt.
    """
    down = np.asarray(mouth.row.down)
    ends = [float(np.mean([float(points[code][0] @ down) for code in row])) for row in (upper, lower)]
    click_px = [float(np.linalg.norm([points[c][1] for c in row])) / len(row) for row in (upper, lower)]
    mm = (ends[1] - ends[0]) * mouth.mm_per_px
    mesial = all(any(code.endswith("m") for code in row) for row in (upper, lower))
    parts = (
        float(np.linalg.norm(click_px)) * mouth.mm_per_px,
        mm * mouth.mm_per_px_sd / mouth.mm_per_px,
        float(np.tan(UNKNOWN_PITCH_SD_RAD) * np.hypot(USUAL_OVERJET_MM, USUAL_OVERJET_SD_MM)),
        MESIAL_ROUNDING_SD_MM if mesial else DISTAL_ROUNDING_SD_MM,
    )
    return Estimate(mm, float(np.linalg.norm(parts)))


def _row_depths(
    head: Head | None, fit: OffsetFit | None, into_view: object, mouth: Mouth | None
) -> tuple[float, float, float] | None:
    """Give the depth of either row and the sd of their difference, mm."""
    assert callable(into_view)
    if head is not None:
        middles = []
        for row in (UPPER_CORNERS, LOWER_CORNERS):
            known = [head.corners[code] for code in row if code in head.corners]
            if not known:
                return None
            at = np.array(known)
            placed = at if fit is None else head.place(at, True, fit.parameters)
            middles.append(float(np.asarray(into_view(placed))[:, 2].mean()))
        sd = fit.rows.sd if fit is not None and fit.rows is not None else 1.0
        return middles[0], middles[1], sd
    if mouth is None or mouth.distance_mm is None:
        return None
    return mouth.distance_mm, mouth.distance_mm + USUAL_OVERJET_MM, USUAL_OVERJET_SD_MM


def _solved(head: Head | None) -> tuple[float, float] | None:
    if head is None:
        return None
    names = [[code for code in row if code in head.corners] for row in (UPPER_CORNERS, LOWER_CORNERS)]
    # overjet is told at the midline; distal angles stand back along the arch, upper ones more than lower
    middle = [[code for code in row if code.endswith("m")] for row in names]
    if all(middle):
        names = middle
    rows = [np.array([head.corners[code] for code in row]).reshape(-1, 3) for row in names]
    if not len(rows[0]) or not len(rows[1]):
        return None
    return overjet_overbite(rows[0], rows[1], forward=head.forward, up=head.up)
