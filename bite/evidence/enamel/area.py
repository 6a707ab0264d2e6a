"""Which pixels around the clicked incisors are bare enamel: as light as crowns above the edge, no redder."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.evidence.clicks.tooth_row import ToothRow
from bite.evidence.enamel.reach import ENAMEL_LIGHT, ENAMEL_REDNESS
from bite.evidence.enamel.tooth_regions import polygons_mask
from bite.evidence.picture.luminance import Picture, check_picture, cie_lab, is_gray, luminance
from bite.evidence.picture.scan_lines import along_segment, sample_lines
from bite.geometry.rigid import Array

ASIDE_MM, ABOVE_MM, BELOW_MM = 32.0, 13.0, 22.0
"""Reach of the search from the middle of the upper edge: half a wide mouth, a crown, an open jaw."""
_ON_CROWN_MM = (0.4, 1.4)
"""As in `enamel_reach`: clear of the edge's blur, within any bared crown (our choice)."""
_IN_COLOUR = 0.45
"""Where colour tells enamel from lip, enamel in shade may be less than half as light as the clicked crowns
(our choice)."""
_LEAST_MM2 = 1.5
"""A patch smaller than this away from the clicked crowns is a glint on a lip."""


@dataclass(frozen=True, slots=True)
class EnamelArea:
    """Bare enamel in a picture.

    Parameters
    ----------
    mask : array of bool, shape (h, w), of the picture given
    upper_mm2, lower_mm2 : float, above and below the line of the upper incisal edges
    height_mm : float, enamel above and below the middle of the row: median over its columns
    colour_used : bool, redness told lips from enamel, not lightness alone
    """

    mask: NDArray[np.bool_]
    upper_mm2: float
    lower_mm2: float
    height_mm: float
    colour_used: bool

    @property
    def mm2(self) -> float:
        """All bare enamel, mm2."""
        return self.upper_mm2 + self.lower_mm2


def enamel_area(
    picture: Picture, row: ToothRow, *, mm_per_px: float, least_light: float | None = None
) -> EnamelArea | None:
    """Find bare enamel around the clicked upper incisors.

    Parameters
    ----------
    picture : array, shape (h, w, 3), uint8, RGB
        A piece around the mouth is enough.
    row : ToothRow, px of this picture
    mm_per_px : float
    least_light : float, optional
        Share of the clicked crowns' luminance that enamel shows. Without, 0.45 where colour tells lips from
        enamel, since lower teeth often lie in shadow, and that of ``band.py`` in a grey picture.

    Returns
    -------
    EnamelArea, or None where the crowns above the clicked edge lie outside the picture

    Notes
    -----
    Redness as in ``band.py``. Patches count that touch the clicked crowns, or measure
    1.5 mm2 at least. In a grey picture, light skin passes for enamel where no darker lip divides them.
    """
    from scipy import ndimage

    check_picture(picture)
    shape = (picture.shape[0], picture.shape[1])
    middle = row.upper_edge_px.mean(0)
    aside, above, below = (v / mm_per_px for v in (ASIDE_MM, ABOVE_MM, BELOW_MM))
    corner = [
        middle + side * aside * row.across + height * row.down
        for side, height in ((-1, -above), (1, -above), (1, below), (-1, below))
    ]
    box = polygons_mask((np.array(corner),), shape)
    light = luminance(picture)
    points = along_segment(row.upper_edge_px[0], row.upper_edge_px[-1])
    steps = np.arange(_ON_CROWN_MM[0] / mm_per_px, _ON_CROWN_MM[1] / mm_per_px + 0.25, 0.5)
    up = np.tile(-row.down, (len(points), 1))
    on_crown = sample_lines(light, points, up, steps)
    if not np.isfinite(on_crown).any():
        return None
    usual = float(np.nanmedian(on_crown))
    colour = not is_gray(picture[box]) if box.any() else False
    if least_light is None:
        least_light = _IN_COLOUR if colour else ENAMEL_LIGHT
    mask = box & (light >= least_light * usual)
    if colour:
        redness = cie_lab(picture)[..., 1]
        mask &= redness <= float(np.nanmedian(sample_lines(redness, points, up, steps))) + ENAMEL_REDNESS
    labels, count = ndimage.label(mask)
    if not count:
        return EnamelArea(mask, 0.0, 0.0, 0.0, colour)
    sizes = np.bincount(labels.ravel(), minlength=count + 1) * mm_per_px**2
    crown = polygons_mask((_crowns(row, mm_per_px),), shape)
    touching = np.bincount(labels[crown], minlength=count + 1) > 0
    kept = (sizes >= _LEAST_MM2) | touching
    kept[0] = False
    mask = kept[labels]
    rows, columns = np.nonzero(mask)
    down = (np.column_stack([columns, rows]) - middle) @ row.down
    along = (np.column_stack([columns, rows]) - middle) @ row.across
    central = np.abs(along) <= row.crown_width_px
    heights = np.bincount(np.floor(along[central] + row.crown_width_px).astype(int))
    return EnamelArea(
        mask,
        float((down <= 0).sum()) * mm_per_px**2,
        float((down > 0).sum()) * mm_per_px**2,
        float(np.median(heights)) * mm_per_px if heights.size else 0.0,
        colour,
    )


def _crowns(row: ToothRow, mm_per_px: float) -> Array:
    """Give the quadrilateral of the first two millimetres above the clicked edge."""
    first, last = row.upper_edge_px[0], row.upper_edge_px[-1]
    rise = 2.0 / mm_per_px * row.down
    return np.array([first, last, last - rise, first - rise])
