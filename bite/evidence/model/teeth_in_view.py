"""What the reference view sees of the solved model around the teeth, beside the same piece of the picture."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.evidence.picture.luminance import Mask, Picture
from bite.evidence.picture.piece import Piece, piece_of
from bite.files.bundle import LoadedView
from bite.fit.head import Head
from bite.geometry.render import Grid, Window, render
from bite.geometry.rigid import Array
from bite.geometry.teeth import LOWER, UPPER, is_upper

HALF_MM = 30.0
"""Half side of the piece: both rows of front teeth, the lips, and some skin."""
REACH_MM = 64.0
"""Surface farther than this from the incisors hides none of them (our choice)."""
WIDEST_PX = 280
"""A wider piece is averaged down by whole pixels: a quarter of a millimetre is fine enough for light and
contrast."""
_STANDS_MM = 0.6
"""A corner counts as seen when the surface in its pixel lies no more than this before it: angles are
rounded."""


@dataclass(frozen=True, slots=True)
class TeethInView:
    """The solved model rendered into the reference view.

    Parameters
    ----------
    piece : Piece of the picture
    grid : Grid, the same pixels for the renderer
    part : array, shape (h, w), part numbers, -1 where the model has no surface
    mm_per_px : float
        Size of a pixel of the whole picture on the incisors, mm.
    distance_mm : float
        Of the incisors from the camera along its axis.
    shown_mm2 : float
        Area of teeth that shows, as seen from the camera.
    corners_px : mapping from code to pixel of the whole picture
    lower_seen : mapping from lower corner to whether the model shows it
    """

    piece: Piece
    grid: Grid
    part: NDArray[np.int8]
    mm_per_px: float
    distance_mm: float
    shown_mm2: float
    corners_px: dict[str, tuple[float, float]]
    lower_seen: dict[str, bool]

    @property
    def picture(self) -> Picture:
        """The piece of the picture, shape (h, w, 3)."""
        return self.piece.image

    @property
    def teeth(self) -> Mask:
        """Pixels of either row."""
        return np.asarray((self.part == UPPER) | (self.part == LOWER))

    @property
    def upper(self) -> Mask:
        """Pixels of the upper row."""
        return np.asarray(self.part == UPPER)


def teeth_in_view(
    view: LoadedView, head: Head, parameters: Array, *, within: TeethInView | None = None
) -> TeethInView | None:
    """Render the surroundings of the front teeth; None where they are behind the camera or out of it.

    Parameters
    ----------
    view : LoadedView, the reference view
    head : Head, with a surface
    parameters : array, where the fit put it, or zeros
    within : TeethInView, optional
        An earlier rendering whose pixels are used again.
    """
    centre = view.camera.camera_from_reference.apply(head.place(head.centre_mm[None], True, parameters))
    edge = [point for code, point in head.corners.items() if is_upper(code)]
    at_edge = head.place(np.array(edge).reshape(-1, 3), True, parameters)
    distance_mm = float((view.camera.camera_from_reference.apply(at_edge) if edge else centre)[:, 2].mean())
    if not (distance_mm > 1.0 and centre[0, 2] > 1.0):
        return None
    px_per_mm = view.camera.focal_px / distance_mm
    if within is not None:
        piece, grid = within.piece, within.grid
    else:
        middle = view.camera.project_local(centre)[0]
        half = HALF_MM * px_per_mm
        cut = piece_of(view.image, middle - half, middle + half, max(1, int(np.ceil(2 * half / WIDEST_PX))))
        if cut is None:
            return None
        piece = cut
        camera = view.camera.scaled(1.0 / piece.binned) if piece.binned > 1 else view.camera
        grid = Grid.of(camera, Window(piece.left, piece.top, piece.image.shape[1], piece.image.shape[0]))
    close = np.linalg.norm(head.points_mm - head.centre_mm, axis=1) < REACH_MM
    near = close[head.faces].any(1)
    local = view.camera.camera_from_reference.apply(head.placed(parameters))
    seen = render(grid, local, head.faces[near])
    part = np.full(seen.face.shape, -1, dtype=np.int8)
    hit = seen.face >= 0
    part[hit] = head.face_part[near][seen.face[hit]]
    teeth = (part == UPPER) | (part == LOWER)
    names = list(head.corners)
    at = head.place(np.array([head.corners[name] for name in names]).reshape(-1, 3), True, parameters)
    pixels = view.camera.project(at)
    depths = view.camera.camera_from_reference.apply(at)[:, 2]
    return TeethInView(
        piece=piece,
        grid=grid,
        part=part,
        mm_per_px=1.0 / px_per_mm,
        distance_mm=distance_mm,
        shown_mm2=float(teeth.sum()) * (piece.binned / px_per_mm) ** 2,
        corners_px={n: (float(x), float(y)) for n, (x, y) in zip(names, pixels, strict=True)},
        lower_seen={
            name: _stands_free(seen.depth_mm, pixel, float(depth))
            for name, pixel, depth in zip(names, piece.into(pixels), depths, strict=True)
            if not is_upper(name)
        },
    )


def _stands_free(depth_mm: Array, pixel: Array, own_mm: float) -> bool:
    """Tell whether nothing stands before a corner in its own pixel."""
    if not np.isfinite(pixel).all():
        return False
    column, row = (round(float(value)) for value in pixel)
    if not (0 <= row < depth_mm.shape[0] and 0 <= column < depth_mm.shape[1]):
        return False
    nearest = float(np.nan_to_num(depth_mm[row, column], nan=np.inf))
    return nearest > own_mm - _STANDS_MM
