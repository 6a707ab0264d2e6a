"""The lip line of a frame as the fit takes it: one place every two millimetres along either lip."""

from __future__ import annotations

import numpy as np

from bite.evidence.lip_edges import LIP_MM, find_lip_edges
from bite.evidence.lip_rims import LipRim, lip_rim
from bite.evidence.picture_piece import piece_of
from bite.evidence.teeth_in_view import TeethInView
from bite.files.bundle import LoadedView
from bite.fit.depth_block import DepthBlock
from bite.fit.head import Head
from bite.fit.lip_block import LipBlock
from bite.fit.skin_waves import outward_normals
from bite.geometry.rigid import Array

SPACING_MM = 2.0
FINEST_MM = 0.12
"""A finer picture is averaged down to about this (our choice)."""
COARSEST_MM = 0.5
"""In a coarser picture a lip's edge is hardly sharper than the depth map tells it (our choice)."""
LEAST_PLACES = 4
"""Fewer places on one lip are a piece of it that may be anything."""
_LEAST_LINES = 3
_MOST_PLACES = 1000


def lip_block(view: LoadedView, head: Head, seen: TeethInView, depth: DepthBlock) -> LipBlock | None:
    """Look for the lip line in the picture.

    Parameters
    ----------
    view : LoadedView, the reference view
    head : Head, the solved model
    seen : TeethInView, that model as it was given, in that view
    depth : DepthBlock, with the waves of the skin

    Returns
    -------
    LipBlock, or None where the picture is too coarse, where the lips end before gum or dark, or where their
    edge is not clear
    """
    if seen.mm_per_px > COARSEST_MM:
        return None
    found = []
    for upper in (True, False):
        rim = lip_rim(seen, head, upper=upper)
        if rim is not None:
            off_px = _read(view, seen, rim)
            place = np.floor(rim.along_mm / SPACING_MM).astype(np.int64)
            places = [p for p in np.unique(place) if _is_read(off_px[place == p])]
            if len(places) >= LEAST_PLACES:
                found += [(rim, off_px, np.isfinite(off_px) & (place == p), upper, p) for p in places]
    if not found:
        return None
    normals = outward_normals(head)

    def gathered(values: list[Array]) -> Array:
        return np.array([v[own].mean(0) for v, (_, _, own, _, _) in zip(values, found, strict=True)])

    points_mm = gathered([rim.points_mm for rim, *_ in found])
    out = gathered([normals[head.faces[rim.face]].mean(1) for rim, *_ in found])
    return LipBlock(
        head=head,
        camera=view.camera,
        points_mm=points_mm,
        wave_moves_mm=depth.waves.at(head, points_mm)[:, :, None] * out[:, None, :],
        outward=gathered([rim.outward for rim, *_ in found]),
        off_px=np.array([np.median(off_px[own]) for _, off_px, own, _, _ in found]),
        upper=np.array([upper for *_, upper, _ in found]),
        key=np.array([p + _MOST_PLACES * upper for *_, upper, p in found]),
        mm_per_px=seen.mm_per_px,
    )


def _read(view: LoadedView, seen: TeethInView, rim: LipRim) -> Array:
    """Give how far outward of a solved rim the picture's lip edge lies, px of the whole picture."""
    origins_px = seen.piece.back(rim.origins_px)
    binned = max(1, int(FINEST_MM / seen.mm_per_px))
    margin_px = (LIP_MM[1] + 1.0) / seen.mm_per_px
    piece = piece_of(view.image, origins_px.min(0) - margin_px, origins_px.max(0) + margin_px, binned)
    if piece is None:
        return np.full(len(origins_px), np.nan)
    mm_per_px = seen.mm_per_px * seen.piece.binned
    return binned * find_lip_edges(
        piece.image,
        piece.into(origins_px),
        rim.outward,
        room_mm=rim.room_px * mm_per_px,
        spacing_mm=mm_per_px,
        mm_per_px=seen.mm_per_px * binned,
    )


def _is_read(off_px: Array) -> bool:
    known = int(np.isfinite(off_px).sum())
    return known >= _LEAST_LINES and 2 * known >= len(off_px)
