"""What the reference picture shows of the teeth: light, contrast, sharpness, what follows below."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from bite.evidence.enamel.below_edge import BelowEdge, read_below_edge
from bite.evidence.enamel.contrast import EnamelContrast, enamel_contrast, ring_around
from bite.evidence.enamel.edge_candidates import edges_near_teeth
from bite.evidence.enamel.edge_on_enamel import EdgeOnEnamel, edge_on_enamel
from bite.evidence.enamel.reach import upper_enamel_shown
from bite.evidence.enamel.tooth_regions import teeth_box_from_corners
from bite.evidence.model.teeth_in_view import TeethInView
from bite.evidence.mouth.place import Mouth
from bite.evidence.picture.blur import Blur, blur_around
from bite.evidence.picture.exposure import Exposure, exposure_of
from bite.evidence.picture.luminance import Picture
from bite.evidence.picture.piece import Piece, piece_of
from bite.evidence.picture.sharpness import EdgeWidth, Sharpness, sharpness_at_edges
from bite.files.bundle import BiteFrame
from bite.files.corners import Corners
from bite.geometry.rigid import frozen
from bite.geometry.teeth import LOWER, UPPER

LEAST_PIXELS = 30
"""Fewer pixels of enamel tell no share to 10 % (our choice)."""
GUARD_MM, RING_MM = 1.0, 4.0
"""The ring of skin beside the teeth starts a millimetre off, outside blurred edges, and is a lip wide."""
CROWN_PX = 30.0
"""A crown wider than this many pixels is averaged down by whole pixels, to no fewer than these."""
AROUND_CROWNS = 3.0
"""What is measured of a picture lies within three crowns of the middle of the edge."""
REACH_MM = 10.0
"""Farther below the edge than a lower crown is high there is no row to look for."""


@dataclass(frozen=True, slots=True)
class PictureQuality:
    """Measurements of the reference picture; None where the region for one was not known or too small.

    ``contrast`` holds enamel against what lies around it, where the solved model says that enamel is;
    ``edge`` tells whether the clicked upper edge is one of enamel, ``below`` what follows it.
    """

    exposure: Exposure | None
    contrast: EnamelContrast | None
    sharpness: Sharpness | None
    blur: Blur | None
    edge: EdgeOnEnamel | None
    below: BelowEdge | None


def picture_quality(frame: BiteFrame, mouth: Mouth | None, seen: TeethInView | None) -> PictureQuality:
    """Measure the reference picture around the incisors.

    Parameters
    ----------
    frame : BiteFrame
    mouth : Mouth or None
    seen : TeethInView or None
        The solved model as the fit placed it; its teeth are then the region, else one is built from clicks.
    """
    return quality_of(frame.views[0].image, frame.views[0].corners, mouth, seen)


def quality_of(
    image: Picture,
    corners: Corners | None,
    mouth: Mouth | None,
    seen: TeethInView | None,
    *,
    reach_mm: float = REACH_MM,
) -> PictureQuality:
    """Measure a picture around the incisors.

    Parameters
    ----------
    image : array, shape (h, w, 3), uint8, RGB
    corners : Corners or None
    mouth : Mouth or None
    seen : TeethInView or None
    reach_mm : float, how far below the upper edge lower teeth are looked for
    """
    exposure, contrast = _exposure(corners, image, mouth, seen), _contrast(seen)
    piece = None if mouth is None else _piece_around(image, mouth)
    if mouth is None or piece is None:
        return PictureQuality(exposure, contrast, None, None, None, None)
    row = piece.row(mouth.row)
    sharpness = sharpness_at_edges(
        piece.image,
        edges_near_teeth(piece.image, row),
        across=row.across,
        half_length_px=float(np.clip(row.crown_width_px / 3.0, 4.0, 30.0)),
    )
    scale, scale_sd = mouth.mm_per_px * piece.binned, mouth.mm_per_px_sd * piece.binned
    blur = blur_around(piece.image, row, mm_per_px=scale)
    fitted = sharpness.up_down or sharpness.worst
    width_px = blur.up_down_px or (1.0 if fitted is None else fitted.sigma_px)
    edge = edge_on_enamel(piece.image, row, mm_per_px=scale, blur_px=width_px) if mouth.clicked else None
    below = read_below_edge(
        piece.image,
        row.upper_edge_px,
        down=row.down,
        mm_per_px=scale,
        mm_per_px_sd=scale_sd,
        blur_sigma_px=width_px,
        reach_mm=reach_mm,
    )
    return PictureQuality(
        exposure,
        contrast,
        _in_picture_pixels(sharpness, piece.binned),
        _blur_in_picture_pixels(blur, piece.binned),
        edge,
        replace(below, origins_px=frozen(piece.back(below.origins_px))),
    )


def _blur_in_picture_pixels(blur: Blur, binned: int) -> Blur:
    return Blur(*(None if px is None else px * binned for px in (blur.sideways_px, blur.up_down_px)))


def _piece_around(image: Picture, mouth: Mouth) -> Piece | None:
    """Cut the incisors out with room for every scan line, averaged down where a crown is wide."""
    row = mouth.row
    middle, reach = row.upper_edge_px.mean(0), AROUND_CROWNS * row.crown_width_px
    return piece_of(image, middle - reach, middle + reach, max(1, int(row.crown_width_px // CROWN_PX)))


def _in_picture_pixels(sharpness: Sharpness, binned: int) -> Sharpness:
    def widened(width: EdgeWidth | None) -> EdgeWidth | None:
        if width is None or binned == 1:
            return width
        return replace(
            width,
            sigma_px=width.sigma_px * binned,
            sigma_sd_px=width.sigma_sd_px * binned,
            lines_sd_px=width.lines_sd_px * binned,
        )

    return replace(sharpness, sideways=widened(sharpness.sideways), up_down=widened(sharpness.up_down))


def _exposure(
    corners: Corners | None, image: Picture, mouth: Mouth | None, seen: TeethInView | None
) -> Exposure | None:
    if seen is not None and int(seen.upper.sum()) >= LEAST_PIXELS:
        return exposure_of(seen.picture, seen.upper, mm_per_px=seen.mm_per_px * seen.piece.binned)
    if mouth is None or corners is None or not mouth.clicked:
        return None
    shown = upper_enamel_shown(image, mouth.row, mm_per_px=mouth.mm_per_px)
    regions = teeth_box_from_corners(
        corners, upper_shown_px=None if shown is None else max(shown.shown_mm, 1.5) / mouth.mm_per_px
    )
    mask = regions.upper_mask((image.shape[0], image.shape[1]))
    if int(mask.sum()) < LEAST_PIXELS:
        return None
    return exposure_of(image, mask, mm_per_px=mouth.mm_per_px)


def _contrast(seen: TeethInView | None) -> EnamelContrast | None:
    if seen is None or int(seen.teeth.sum()) < LEAST_PIXELS:
        return None
    px = 1.0 / (seen.mm_per_px * seen.piece.binned)
    ring = ring_around(seen.teeth, guard_px=GUARD_MM * px, width_px=RING_MM * px)
    ring &= (seen.part >= 0) & (seen.part != UPPER) & (seen.part != LOWER)
    if int(ring.sum()) < LEAST_PIXELS:
        return None
    return enamel_contrast(seen.picture, seen.teeth, ring)
