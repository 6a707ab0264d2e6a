"""What the reference view sees of the solved model around the teeth, beside the same piece of the picture."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.evidence.luminance import Mask, Picture
from bite.files.bundle import LoadedView
from bite.fit.head import Head, nearby
from bite.geometry.render import Grid, Window, render
from bite.geometry.rigid import Array
from bite.geometry.teeth import LOWER, LOWER_CORNERS, UPPER, is_upper

AROUND_MM = 14.0
"""Margin around the front teeth."""
REACH_MM = 32.0
WIDEST_PX = 400
"""A wider piece is averaged down by whole pixels: light and contrast need no finer one."""
_STANDS_MM = 0.6
"""A corner counts as seen when the surface in its pixel lies no more than this before it: rounded angles."""


@dataclass(frozen=True, slots=True)
class TeethInView:
    """The solved model rendered into the reference view.

    Parameters
    ----------
    picture : array, shape (h, w, 3), uint8
        The piece of the picture, averaged over ``binned`` by ``binned`` pixels.
    part : array, shape (h, w), part numbers, -1 where the model has no surface
    binned : int
    mm_per_px : float
        Size of a pixel of the whole picture on the incisors, mm.
    distance_mm : float
        Of the incisors from the camera along its axis.
    shown_mm2 : float
        Area of teeth that shows, as seen from the camera.
    corners_px : mapping from code to pixel of the whole picture
    lower_seen : mapping from lower corner to whether the model shows it
    """

    picture: Picture
    part: NDArray[np.int8]
    binned: int
    mm_per_px: float
    distance_mm: float
    shown_mm2: float
    corners_px: dict[str, tuple[float, float]]
    lower_seen: dict[str, bool]

    @property
    def teeth(self) -> Mask:
        """Pixels of either row."""
        return np.asarray((self.part == UPPER) | (self.part == LOWER))

    @property
    def upper(self) -> Mask:
        """Pixels of the upper row."""
        return np.asarray(self.part == UPPER)


def teeth_in_view(view: LoadedView, head: Head, parameters: Array) -> TeethInView | None:
    """Render the surroundings of the front teeth; None where they are not in front of the camera or its picture.

    Parameters
    ----------
    view : LoadedView, the reference view
    head : Head, with a surface
    parameters : array, where the fit put it, or zeros
    """
    near = nearby(head, 2.0 * REACH_MM)
    placed = near.placed(parameters)
    local = view.camera.camera_from_reference.apply(placed)
    centre = view.camera.camera_from_reference.apply(head.place(head.centre_mm[None], True, parameters))
    distance_mm = float(centre[0, 2])
    if not distance_mm > 1.0:
        return None
    middle = view.camera.project_local(centre)[0]
    px_per_mm = view.camera.focal_px / distance_mm
    half = (REACH_MM * 0.6 + AROUND_MM) * px_per_mm
    size = np.array([view.camera.width_px, view.camera.height_px])
    low = np.clip(np.floor(middle - half), 0, size).astype(int)
    high = np.clip(np.ceil(middle + half), 0, size).astype(int)
    binned = max(1, int((high - low).max() // WIDEST_PX))
    low, high = low // binned, high // binned
    if (high - low < 4).any():
        return None
    window = Window(int(low[0]), int(low[1]), int(high[0] - low[0]), int(high[1] - low[1]))
    camera = view.camera.scaled(1.0 / binned) if binned > 1 else view.camera
    seen = render(Grid.of(camera, window), local, near.faces)
    part = np.full(seen.face.shape, -1, dtype=np.int8)
    hit = seen.face >= 0
    part[hit] = near.face_part[seen.face[hit]]
    teeth = (part == UPPER) | (part == LOWER)
    names = list(head.corners)
    at = head.place(np.array([head.corners[name] for name in names]).reshape(-1, 3), True, parameters)
    pixels = view.camera.project(at)
    depths = view.camera.camera_from_reference.apply(at)[:, 2]
    return TeethInView(
        picture=_piece(view.image, window, binned),
        part=part,
        binned=binned,
        mm_per_px=1.0 / px_per_mm,
        distance_mm=distance_mm,
        shown_mm2=float(teeth.sum()) * (binned / px_per_mm) ** 2,
        corners_px={n: (float(x), float(y)) for n, (x, y) in zip(names, pixels, strict=True)},
        lower_seen={
            name: _stands_free(seen.depth_mm, window, binned, pixel, float(depth))
            for name, pixel, depth in zip(names, pixels, depths, strict=True)
            if not is_upper(name) and name in LOWER_CORNERS
        },
    )


def _piece(image: Picture, window: Window, binned: int) -> Picture:
    left, top = window.left * binned, window.top * binned
    cut = image[top : top + window.height * binned, left : left + window.width * binned]
    if binned == 1:
        return cut
    blocks = cut.reshape(window.height, binned, window.width, binned, 3)
    total = np.zeros((window.height, window.width, 3), dtype=np.uint32)
    for row in range(binned):
        for column in range(binned):
            total += blocks[:, row, :, column]
    return np.asarray((total + binned**2 // 2) // binned**2, dtype=np.uint8)


def _stands_free(depth_mm: Array, window: Window, binned: int, pixel: Array, own_mm: float) -> bool:
    """Tell whether anything stands before a corner: judged on the nearest pixel and its neighbours below."""
    column = round((float(pixel[0]) + 0.5) / binned - 0.5) - window.left
    row = round((float(pixel[1]) + 0.5) / binned - 0.5) - window.top
    if not (0 <= row < depth_mm.shape[0] and 0 <= column < depth_mm.shape[1]):
        return False
    nearest = float(np.nan_to_num(depth_mm[row, column], nan=np.inf))
    return nearest > own_mm - _STANDS_MM
