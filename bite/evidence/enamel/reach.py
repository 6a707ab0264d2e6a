"""How much enamel shows above the upper incisal edges before lip or gum takes over."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bite.evidence.clicks.tooth_row import ToothRow
from bite.evidence.picture.luminance import Picture, check_picture, cie_lab, is_gray, luminance
from bite.evidence.picture.scan_lines import along_segment, sample_lines
from bite.geometry.rigid import Array

ENAMEL_LIGHT = 0.62
"""Enamel shows at least this share of the stored luminance just above the edge; in linear light about a
third."""
ENAMEL_REDNESS = 9.0
"""Enamel is at most this much redder (a*) than just above the edge; lips and gums are redder by 10 to 25."""
_STEP_PX = 0.5
"""Half a pixel: finer holds nothing more."""
_REFERENCE_MM = (0.4, 1.4)
"""Where on the crown its light and colour are taken: clear of the edge's blur, within any bared crown (our
choice)."""
_LEAST_OTHER_MM = 0.5
"""A dark line thinner than this is a crack or a contact, not the end of the enamel (our choice)."""
_CORRELATED_MM = 1.0
"""Neighbouring scan lines within a millimetre see the same lip (our choice)."""


@dataclass(frozen=True, slots=True)
class EnamelReach:
    """Height of bare enamel, mm: median over scan lines, with its sd.

    ``at_end``: most lines were on enamel to their end, so no less than this shows. ``lines`` counts those
    that stayed in the picture.
    """

    shown_mm: float
    sd_mm: float
    at_end: bool
    lines: int


def upper_enamel_shown(
    picture: Picture, row: ToothRow, *, mm_per_px: float, mm_per_px_sd: float = 0.0, reach_mm: float = 12.0
) -> EnamelReach | None:
    """Measure how high the bare enamel of the upper centrals stands above their clicked edge.

    Parameters
    ----------
    picture : array, shape (h, w, 3), uint8, RGB
    row : ToothRow
    mm_per_px, mm_per_px_sd : float
    reach_mm : float
        Scan lines end this far from the edge.

    Returns
    -------
    EnamelReach, or None where no scan line could be read.
    """
    return _shown(picture, row, row.upper_edge_px, -row.down, mm_per_px, mm_per_px_sd, reach_mm, 0.0)


def _shown(
    picture: Picture,
    row: ToothRow,
    points_px: Array,
    direction: Array,
    mm_per_px: float,
    mm_per_px_sd: float,
    reach_mm: float,
    skip_mm: float,
) -> EnamelReach | None:
    check_picture(picture)
    upper = _inner_points(row.upper_edge_px)
    origins = _inner_points(points_px)
    distances = np.arange(skip_mm / mm_per_px, reach_mm / mm_per_px, _STEP_PX)
    on_upper = np.arange(_REFERENCE_MM[0] / mm_per_px, _REFERENCE_MM[1] / mm_per_px, _STEP_PX)
    ends = np.concatenate([upper - on_upper[-1] * row.down, origins, origins + distances[-1] * direction])
    low = np.clip(np.floor(ends.min(0)).astype(int) - 14, 0, None)
    high = np.ceil(ends.max(0)).astype(int) + 15
    box = picture[low[1] : max(high[1], 0), low[0] : max(high[0], 0)]
    if box.size == 0:
        return None
    up, along = np.tile(-row.down, (len(upper), 1)), np.tile(direction, (len(origins), 1))
    plane = luminance(box)
    reference = sample_lines(plane, upper - low, up, on_upper)
    light = sample_lines(plane, origins - low, along, distances)
    read = np.isfinite(light).all(1)
    if not read.any() or not np.isfinite(reference).any():
        return None
    other = light[read] < ENAMEL_LIGHT * float(np.nanmedian(reference))
    if not is_gray(box):
        redness = cie_lab(box)[..., 1]
        usual = float(np.nanmedian(sample_lines(redness, upper - low, up, on_upper)))
        other |= sample_lines(redness, origins - low, along, distances)[read] > usual + ENAMEL_REDNESS
    mm = distances * mm_per_px
    # a thin dark line (a crack, a contact) does not end the enamel: it must stay away
    least = max(1, round(_LEAST_OTHER_MM / mm_per_px / _STEP_PX))
    windows = np.lib.stride_tricks.sliding_window_view(other, least, axis=1)
    run = np.asarray(windows.all(2))
    ended = np.asarray(run.any(1))
    shown = np.where(ended, mm[run.argmax(1)], mm[-1])
    shown = np.where(ended & (run.argmax(1) == 0), 0.0, shown)
    middle = float(np.median(shown))
    scatter = float(1.4826 * np.median(np.abs(shown - middle)))
    width_mm = float(np.hypot(*(origins[-1] - origins[0]))) * mm_per_px
    independent = max(1.0, min(float(len(shown)), width_mm / _CORRELATED_MM))
    sd = np.sqrt((1.2533 * scatter) ** 2 / independent + (middle * mm_per_px_sd / mm_per_px) ** 2)
    grid = _STEP_PX * mm_per_px / np.sqrt(12)
    return EnamelReach(middle, float(np.hypot(sd, grid)), bool(np.median(ended) < 0.5), int(read.sum()))


def _inner_points(points_px: Array) -> Array:
    """Give points one px apart between the outer corners, away from their rounding."""
    inset = 0.12 * (points_px[-1] - points_px[0])
    return along_segment(points_px[0] + inset, points_px[-1] - inset)
