"""The lip line of a frame as the fit takes it: one place every two millimetres along either lip."""

from __future__ import annotations

import numpy as np

from bite.evidence.lips.edges import FARTHEST_MM, LIP_MM, find_lip_edges
from bite.evidence.lips.rims import SPACING_MM as LINE_SPACING_MM
from bite.evidence.lips.rims import LipRim, lip_rims
from bite.evidence.picture.piece import piece_of
from bite.files.bundle import LoadedView
from bite.fit.depth_block import DepthBlock
from bite.fit.head import Head
from bite.fit.lip_block import LipBlock
from bite.fit.skin_waves import outward_normals
from bite.geometry.rigid import Array

SPACING_MM = 2.0
"""Places this far apart on the lip line; neighbours still count half (`fit.lip_block.AS_ONE`)."""
FINEST_MM = 0.12
"""A finer picture is averaged down to about this (our choice)."""
COARSEST_MM = 0.5
"""In a coarser picture a lip's edge is hardly sharper than the depth map tells it (our choice)."""
LEAST_PLACES = 4
"""Fewer places on one lip are a piece of it that may be anything."""
_LEAST_LINES = 3
"""Scan lines that a place needs: a median of three stands one slip (our choice)."""
_MOST_PLACES = 1000
"""More than any lip holds at 2 mm each, so that keys of both lips are apart."""


def lip_block(view: LoadedView, head: Head, depth: DepthBlock) -> LipBlock | None:
    """Look for the lip line in the picture.

    Parameters
    ----------
    view : LoadedView, the reference view
    head : Head, the solved model
    depth : DepthBlock, with the unknowns of the skin

    Returns
    -------
    LipBlock, or None where the picture is too coarse, where the lips end before gum or dark, or where their
    edge is not clear
    """
    away_mm = float(view.camera.camera_from_reference.apply(head.centre_mm[None])[0, 2])
    mm_per_px = away_mm / view.camera.focal_px
    if not 0.0 < mm_per_px < COARSEST_MM:
        return None
    found = []
    for rim in lip_rims(view.camera, head):
        off_px = _read(view, rim, mm_per_px)
        place = np.floor(rim.along_mm / SPACING_MM).astype(np.int64)
        places = [p for p in np.unique(place) if _is_read(off_px[place == p])]
        if len(places) >= LEAST_PLACES:
            found += [(rim, off_px, np.isfinite(off_px) & (place == p), p) for p in places]
    if not found:
        return None
    normals = outward_normals(head)

    def gathered(values: list[Array]) -> Array:
        return np.array([v[own].mean(0) for v, (_, _, own, _) in zip(values, found, strict=True)])

    points_mm = gathered([rim.points_mm for rim, *_ in found])
    out = gathered([normals[head.faces[rim.face]].mean(1) for rim, *_ in found])
    upper = np.array([rim.upper for rim, *_ in found])
    return LipBlock(
        head=head,
        camera=view.camera,
        points_mm=points_mm,
        own_moves_mm=_moves(depth, head, points_mm, out),
        outward=gathered([rim.outward for rim, *_ in found]),
        off_px=np.array([np.median(off_px[own]) for _, off_px, own, _ in found]),
        upper=upper,
        key=np.array([place for *_, place in found]) + _MOST_PLACES * upper,
        mm_per_px=mm_per_px,
    )


def _moves(depth: DepthBlock, head: Head, points_mm: Array, out: Array) -> Array:
    """Give how each of the depth block's own unknowns moves points of the skin, shape (n, j, 3)."""
    moves = np.zeros((len(points_mm), len(depth.extra_precision), 3))
    moves[:, : depth.skin.count] = depth.skin.at(head, points_mm)[:, :, None] * depth.skin.directions(out)
    return moves


def _read(view: LoadedView, rim: LipRim, mm_per_px: float) -> Array:
    """Give how far outward of a solved rim the picture's lip edge lies, px."""
    binned = max(1, int(FINEST_MM / mm_per_px))
    margin_px = (LIP_MM[1] + FARTHEST_MM + 1.0) / mm_per_px
    low, high = rim.origins_px.min(0) - margin_px, rim.origins_px.max(0) + margin_px
    piece = piece_of(view.image, low, high, binned)
    if piece is None:
        return np.full(len(rim.origins_px), np.nan)
    return binned * find_lip_edges(
        piece.image,
        piece.into(rim.origins_px),
        rim.outward,
        room_mm=rim.room_mm,
        spacing_mm=LINE_SPACING_MM,
        mm_per_px=mm_per_px * binned,
    )


def _is_read(off_px: Array) -> bool:
    known = int(np.isfinite(off_px).sum())
    return known >= _LEAST_LINES and 2 * known >= len(off_px)
