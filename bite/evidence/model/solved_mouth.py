"""What a camera sees of the solved mouth, in its photograph's pixels: outlines, and a softly lit surface.

The same surface before and after a move, in the same pixels, is what a person judges by eye. The light is
that of an overcast sky on the camera's side: how much of it a place sees falls as it lies deeper behind lips
and edges, so that teeth that stand too far back look as dark as they do in a photograph.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.evidence.model.moving_teeth import render_moving
from bite.evidence.model.outlines import Outline, Rim, outlines
from bite.evidence.model.soft_light import soft_light
from bite.fit.head import Head, part_of
from bite.geometry.camera import Camera
from bite.geometry.render import Grid, Rendered, Scene, Window
from bite.geometry.rigid import Array
from bite.geometry.teeth import LOWER, OTHER, SKIN, UPPER

HALF_MM = (32.0, 22.0)
"""Half width and half height of what is rendered: both rows of front teeth, the lips, and some skin."""
_REACH_MM = 70.0
"""Cheeks farther from the incisors than this are not in a picture of a mouth."""
_FINE_MM = 0.13
"""Larger pixels on the teeth are split until they are not: outlines are smooth then (our choice)."""
_MOST_SPLIT = 4
"""Pixels are split so far at most, where the photograph is coarse: four by four rays a pixel."""
_LENS_STEP_PX = 8
"""Ray slopes of a distorted lens are found on every so-many-th fine pixel and drawn straight between."""
_COLOURS = {SKIN: (198, 194, 190), UPPER: (248, 240, 220), LOWER: (238, 228, 204), OTHER: (170, 96, 98)}
"""RGB in full light (our choice). Skin is the grey of clay: nobody shall take this for a photograph."""


@dataclass(frozen=True, slots=True)
class MouthCanvas:
    """The pixels to render into, made once for all placements that are to be laid over each other.

    Parameters
    ----------
    window : Window, in pixels of the photograph, within it
    grid : Grid of split pixels
    split : int, fine pixels along a side of one of the photograph's
    mm_per_px : float, of the photograph's pixels on the front teeth
    """

    window: Window
    grid: Grid
    split: int
    mm_per_px: float


@dataclass(frozen=True, slots=True)
class SolvedMouth:
    """The solved mouth as one camera sees it.

    Parameters
    ----------
    window : Window, in pixels of the photograph
    outlines : tuple of Outline, in pixels of the whole photograph
    shaded : array, shape (h, w, 3), uint8, RGB, of the window
    cover : array, shape (h, w), 0..1, share of each pixel that any surface fills
    teeth : array, shape (h, w), 0..1, share of each pixel that teeth fill
    """

    window: Window
    outlines: tuple[Outline, ...]
    shaded: NDArray[np.uint8]
    cover: Array
    teeth: Array

    def lines(self, *rims: Rim) -> list[Array]:
        """Give the lines of some rims."""
        return [outline.line_px for outline in self.outlines if outline.rim in rims]

    def laid_over(self, photograph: NDArray[np.uint8], *, teeth_only: bool = False) -> NDArray[np.uint8]:
        """Give a copy of the whole photograph with the shaded mouth in its place.

        Parameters
        ----------
        photograph : array, shape (H, W, 3), uint8, RGB
        teeth_only : bool, lay only teeth over it
        """
        out = np.array(photograph)
        self.window.cut(out)[:] = self.mixed(self.window.cut(out), teeth_only=teeth_only)
        return out

    def mixed(self, photograph: NDArray[np.generic], *, teeth_only: bool = False) -> NDArray[np.uint8]:
        """Give the window's pixels with the shaded mouth over those of the photograph's window."""
        share = (self.teeth if teeth_only else self.cover)[..., None].astype(np.float32)
        under = photograph.astype(np.float32)
        return np.asarray(np.round(under + share * (self.shaded - under)), dtype=np.uint8)


def mouth_canvas(
    camera: Camera, head: Head, parameters: Array, *, half_mm: tuple[float, float] = HALF_MM
) -> MouthCanvas | None:
    """Choose the pixels about the front teeth; None where there is no surface or it is out of the picture.

    Parameters
    ----------
    camera : Camera, of the photograph (its size is the photograph's)
    head : Head
    parameters : array, shape (14,), where the fit put the head, or zeros
    half_mm : pair of float, half width and half height of what is rendered
    """
    if not len(head.faces):
        return None
    centre = head.place(head.centre_mm[None], True, parameters)
    z_mm = float(camera.camera_from_reference.apply(centre)[0, 2])
    if not z_mm > 1.0:
        return None
    px_per_mm = camera.focal_px / z_mm
    middle = camera.project(centre)[0]
    if not np.isfinite(middle).all():
        return None
    size = np.array([camera.width_px, camera.height_px])
    half = np.array(half_mm) * px_per_mm
    low = np.clip(np.floor(middle - half), 0, size).astype(int)
    high = np.clip(np.ceil(middle + half) + 1, 0, size).astype(int)
    if ((high - low) < 2).any():
        return None
    window = Window(int(low[0]), int(low[1]), int(high[0] - low[0]), int(high[1] - low[1]))
    split = int(np.clip(np.ceil(1.0 / px_per_mm / _FINE_MM), 1, _MOST_SPLIT))
    fine = Window(*(split * n for n in (window.left, window.top, window.width, window.height)))
    return MouthCanvas(window, _grid(camera.scaled(split), fine), split, 1.0 / px_per_mm)


def solved_mouths(camera: Camera, head: Head, *placements: Array) -> tuple[SolvedMouth, ...]:
    """Render one head in several places, all in the same pixels; nothing where there is none to see.

    Parameters
    ----------
    camera : Camera, of the photograph
    head : Head
    placements : arrays, shape (14,), parameters; the first says which pixels
    """
    canvas = mouth_canvas(camera, head, placements[0])
    if canvas is None:
        return ()
    near = _near_the_teeth(head)
    local = [camera.camera_from_reference.apply(near.placed(placed)) for placed in placements]
    seen = render_moving(canvas.grid, near, local)
    return tuple(_looks(canvas, near, *each) for each in zip(local, seen, strict=True))


def solved_mouth(canvas: MouthCanvas, head: Head, parameters: Array) -> SolvedMouth:
    """Render the solved mouth where the parameters put it.

    Parameters
    ----------
    canvas : MouthCanvas
    head : Head
    parameters : array, shape (14,): ``before_and_after`` of a fit gives those of before and after the move
    """
    near = _near_the_teeth(head)
    local = canvas.grid.camera.camera_from_reference.apply(near.placed(parameters))
    return _looks(canvas, near, local, Scene.of(canvas.grid, local, near.faces).at_centres())


def _near_the_teeth(head: Head) -> Head:
    """Give the part of a head that may be in a picture of the mouth."""
    close = np.linalg.norm(head.points_mm - head.centre_mm, axis=1) < _REACH_MM
    return part_of(head, close[head.faces].any(1))


def _looks(canvas: MouthCanvas, head: Head, local_mm: Array, seen: Rendered) -> SolvedMouth:
    """Light what is seen, and follow its outlines."""
    hit = seen.face >= 0
    part = np.full(hit.shape, -1, dtype=np.int8)
    part[hit] = head.face_part[seen.face[hit]]
    fine_mm = canvas.mm_per_px / canvas.split
    light = soft_light(canvas.grid, local_mm, head.faces, seen, px_mm=fine_mm)
    palette = np.zeros((5, 3), dtype=np.float32)
    for label, colour in _COLOURS.items():
        palette[label] = colour
    lit: NDArray[np.float32] = palette[part] * light[..., None]
    window, split = canvas.window, canvas.split
    cover = _binned(hit.astype(np.float32), split)
    rgb = _binned(lit, split) / np.maximum(cover, 1e-6)[..., None]
    teeth = (part == UPPER) | (part == LOWER)
    return SolvedMouth(
        window=window,
        outlines=tuple(
            Outline(found.rim, _to_photograph(found.line_px, canvas))
            for found in outlines(part, seen.depth_mm)
        ),
        shaded=np.clip(np.round(rgb), 0, 255).astype(np.uint8),
        cover=cover.astype(np.float64),
        teeth=_binned(teeth.astype(np.float32), split).astype(np.float64),
    )


def _grid(camera: Camera, window: Window) -> Grid:
    """Give a grid's ray slopes; through a distorted lens found on coarse pixels and drawn between."""
    if not camera.distortion.any():
        return Grid.of(camera, window)
    step = _LENS_STEP_PX
    columns = np.arange(window.width // step + 2) * step + window.left
    rows = np.arange(window.height // step + 2) * step + window.top
    coarse = np.stack(np.meshgrid(columns, rows), axis=-1).astype(np.float64)
    slopes = camera.slopes_from_pixels(coarse.reshape(-1, 2)).reshape(coarse.shape)
    return Grid(camera, window, _between(_between(slopes, window.height, 0), window.width, 1))


def _between(values: Array, count: int, axis: int) -> Array:
    """Draw values on every so-many-th pixel straight between them, along one axis, for so many pixels."""
    at = np.arange(count)
    share = (at % _LENS_STEP_PX / _LENS_STEP_PX).reshape((-1, 1, 1) if axis == 0 else (-1, 1))
    low = np.take(values, at // _LENS_STEP_PX, axis)
    return np.asarray(low + share * np.take(np.diff(values, axis=axis), at // _LENS_STEP_PX, axis))


def _binned(image: NDArray[np.float32], split: int) -> NDArray[np.float32]:
    """Average whole blocks of fine pixels."""
    if split == 1:
        return image
    height, width = image.shape[0] // split, image.shape[1] // split
    blocks = image.reshape(height, split, width, split, *image.shape[2:])
    return np.asarray(blocks.mean(axis=(1, 3)), dtype=np.float32)


def _to_photograph(line: Array, canvas: MouthCanvas) -> Array:
    window = canvas.grid.window
    return np.asarray((line + (window.left, window.top) + 0.5) / canvas.split - 0.5)
