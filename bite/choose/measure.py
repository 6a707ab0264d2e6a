"""Measure one frame of a take: around the carried corners, or as a whole where nobody has clicked."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from bite.check.checks.bite_gap import bite_gap
from bite.check.checks.enamel_lit import enamel_lit
from bite.check.checks.resolved import resolved
from bite.check.checks.sharp import sharp
from bite.choose.carry import Carried
from bite.choose.carry_start import grey
from bite.choose.content import Measures
from bite.choose.expected_sd import DepthQuality, expected_sd_mm
from bite.errors import DegenerateGeometryError, InputError
from bite.evidence.clicks.tooth_row import mm_per_px_from_corners, tooth_row_from_corners
from bite.evidence.depth.map_grain import grain_of
from bite.evidence.enamel.area import ABOVE_MM, ASIDE_MM, BELOW_MM, EnamelArea, enamel_area
from bite.evidence.enamel.reach import upper_enamel_shown
from bite.evidence.mouth.picture_quality import quality_of
from bite.evidence.mouth.place import Mouth
from bite.evidence.picture.exposure import OVER_FROM
from bite.evidence.picture.luminance import Picture
from bite.evidence.picture.piece import Piece, piece_of
from bite.files.corners import CornerPoint, Corners
from bite.files.depth import DepthMap, read_depth
from bite.files.take import TakePicture
from bite.geometry.rigid import Array

GAP_REACH_MM = 14.0
"""How far below the upper edge lower teeth are looked for: an open jaw in a take is no exception."""
ASSUMED_MM_PER_PX = 0.5
"""Depth pixel where no depth map is given: 640 x 480 at 300 mm with f 600 px, a usual bench sensor."""
_FINEST_CROWN_PX = 30.0
"""Finer pictures are binned to this before they are measured: time, for nothing that ranks (our choice)."""


@dataclass(frozen=True, slots=True)
class DepthUnit:
    """What a stored unit of the depth maps is: one of the two, as in a bite frame file."""

    unit_mm: float | None = None
    inverse_per_m: tuple[float, float] | None = None


def corners_of(carried: Carried, name: str, image: Picture) -> Corners:
    """Give carried points as the content of a corner file."""
    points = {
        code: CornerPoint(point.state, point.x_px, point.y_px, point.sigma_px)
        for code, point in carried.points.items()
    }
    return Corners(Path(name), name, image.shape[1], image.shape[0], points)


def measure_carried(
    picture: TakePicture, carried: Carried, unit: DepthUnit | None, *, clicked: bool, last_px: Array
) -> Measures:
    """Measure a frame around its carried corners.

    Parameters
    ----------
    picture : TakePicture
    carried : Carried
    unit : DepthUnit or None, None leaves depth maps alone
    clicked : bool, it is the clicked frame itself
    last_px : array, shape (n, 2), px, where the upper teeth were seen last

    Raises
    ------
    InputError
        When a depth map cannot be read, or is not registered to the picture.
    """
    image = picture.image
    none = Measures(picture.number, picture.name, picture.path, clicked=clicked, lost=carried.lost)
    corners = corners_of(carried, picture.name, image)
    try:
        row = tooth_row_from_corners(corners)
        scale = mm_per_px_from_corners(corners)
    except DegenerateGeometryError:
        return replace(none, clipped=_clipped_around(image, last_px))
    mouth = Mouth(row, True, scale.mm_per_px, scale.sd_mm_per_px, "usual crown widths", None)
    quality = quality_of(image, corners, mouth, None, reach_mm=GAP_REACH_MM)
    upper = upper_enamel_shown(image, row, mm_per_px=scale.mm_per_px)
    findings = (
        bite_gap(None, quality.below),
        sharp(quality.blur, scale.mm_per_px),
        enamel_lit(quality.exposure),
        resolved(mouth, None, None),
    )
    edges = None if quality.sharpness is None else (quality.sharpness.sideways, quality.sharpness.up_down)
    widths = [edge.sigma_px for edge in edges or () if edge is not None]
    drop = carried.jaw_drop_px
    at = row.upper_edge_px.mean(0)
    found = replace(
        none,
        points=carried.points,
        likeness=carried.likeness,
        matched=carried.matched,
        middle_px=(float(at[0]), float(at[1])),
        crown_px=row.crown_width_px,
        mm_per_px=scale.mm_per_px,
        edge_px=min(widths, default=None),
        clipped=None if quality.exposure is None else quality.exposure.over.value,
        upper_mm=None if upper is None else upper.shown_mm,
        lower_mm=None if quality.below is None else quality.below.shown_mm,
        jaw_drop_mm=None if drop is None else drop * scale.mm_per_px,
        jaw_drop_sd_mm=(None if carried.jaw_drop_sd_px is None else carried.jaw_drop_sd_px * scale.mm_per_px),
        findings=findings,
    )
    return _with_sd(found, picture, mouth, unit)


def _clipped_around(image: Picture, last_px: Array) -> float | None:
    """Give the clipped share where the teeth were last: a flash is a reason not to find them again."""
    low = np.clip(np.floor(last_px.min(0)).astype(int), 0, None)
    high = np.ceil(last_px.max(0)).astype(int) + 1
    light = grey(image)[low[1] : max(high[1], 0), low[0] : max(high[0], 0)]
    return float((light >= OVER_FROM).mean()) if light.size else None


def _with_sd(found: Measures, picture: TakePicture, mouth: Mouth, unit: DepthUnit | None) -> Measures:
    """Add the enamel in sight, what the depth map makes of it, and the sd that can be expected."""
    piece = _mouth_piece(picture.image, mouth)
    if piece is None:
        return found
    scale = mouth.mm_per_px * piece.binned
    area = enamel_area(piece.image, piece.row(mouth.row), mm_per_px=scale)
    if area is None:
        return found
    found = replace(found, enamel_mm2=area.mm2)
    if unit is None or picture.depth_path is None:
        expected = expected_sd_mm(area.mask, None, DepthQuality(ASSUMED_MM_PER_PX), mm_per_px=scale)
        return replace(found, sd_mm=expected)
    depth = read_depth(picture.depth_path, unit_mm=unit.unit_mm, inverse_per_m=unit.inverse_per_m)
    return _with_depth(found, picture, area, piece, scale, depth)


def _with_depth(
    found: Measures, picture: TakePicture, area: EnamelArea, piece: Piece, scale: float, depth: DepthMap
) -> Measures:
    height, width = picture.image.shape[:2]
    rows, columns = depth.depth_mm.shape
    if abs(columns / rows - width / height) > 0.01 * width / height:
        what = f"{columns} x {rows} readings beside a picture of {width} x {height} pixels"
        raise InputError(depth.path, "", what, "give maps that are registered to the pictures, or --no-depth")
    ratio = columns / width
    y, x = np.mgrid[0 : area.mask.shape[0], 0 : area.mask.shape[1]]
    places = piece.back(np.column_stack([x.ravel(), y.ravel()]).astype(np.float64))
    at = np.rint((places + 0.5) * ratio - 0.5).astype(int)
    at = np.clip(at, 0, [columns - 1, rows - 1])
    cut = depth.depth_mm[at[:, 1], at[:, 0]].reshape(area.mask.shape)
    readings = np.isfinite(cut)
    low, high = at.min(0), at.max(0) + 1
    around = depth.depth_mm[low[1] : high[1], low[0] : high[0]]
    enamel = _on_map(area.mask, around.shape)
    grain = grain_of(around, ~enamel & np.isfinite(around))
    mm_per_px = scale / piece.binned / ratio
    quality = DepthQuality(mm_per_px)
    if grain is not None:
        least = depth.step_mm / np.sqrt(12.0)
        quality = DepthQuality(mm_per_px, max(grain.noise_mm, least, 0.01), grain.correlation_px)
        found = replace(found, noise_mm=quality.noise_mm, correlation_px=quality.correlation_px)
    return replace(
        found,
        depth_share=float(readings[area.mask].mean()) if area.mask.any() else None,
        sd_mm=expected_sd_mm(area.mask, readings, quality, mm_per_px=scale),
    )


def _on_map(mask: NDArray[np.bool_], shape: tuple[int, ...]) -> NDArray[np.bool_]:
    """Bring the enamel, with a rim, onto the depth map's grid: lips' edges are no noise."""
    import cv2

    fine = cv2.dilate(mask.astype(np.uint8), np.ones((9, 9), np.uint8))
    return np.asarray(cv2.resize(fine, (shape[1], shape[0]), interpolation=cv2.INTER_NEAREST) > 0)


def _mouth_piece(image: Picture, mouth: Mouth) -> Piece | None:
    row, px = mouth.row, 1.0 / mouth.mm_per_px
    middle = row.upper_edge_px.mean(0)
    reach = np.hypot(ASIDE_MM, max(ABOVE_MM, BELOW_MM)) * px
    return piece_of(
        image, middle - reach, middle + reach, max(1, int(row.crown_width_px // _FINEST_CROWN_PX))
    )


def measure_whole(picture: TakePicture) -> Measures:
    """Measure what a frame shows as a whole: nobody has said where the teeth are.

    ``edge_px`` is then no edge width but 100 over the steepest hundredth of the picture's slopes against its
    contrast: smaller is sharper, and only frames of one take can be compared.
    """
    import cv2

    light = grey(picture.image)
    slopes = np.abs(cv2.Sobel(light, cv2.CV_32F, 1, 0)) + np.abs(cv2.Sobel(light, cv2.CV_32F, 0, 1))
    contrast = max(float(np.subtract(*np.quantile(light[::4, ::4], [0.99, 0.01]))), 1.0)
    steep = float(np.quantile(slopes[::2, ::2], 0.99)) / contrast
    clipped = float((light >= OVER_FROM).mean())
    return Measures(
        picture.number,
        picture.name,
        picture.path,
        edge_px=100.0 if steep <= 0.01 else 1.0 / steep,
        clipped=clipped,
    )
