"""Renderings of one head whose teeth move: its skin is rendered once, and what that hides not at all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from bite.fit.head import Head
from bite.geometry.render import Grid, Rendered, Scene
from bite.geometry.rigid import Array

_LEVELS = 7
"""Faces up to 64 pixels across are asked whether something hides them; there are few larger ones."""
_CLEAR_MM = 0.01
"""So far behind, a face is behind whatever the rounding of single precision."""


def render_moving(grid: Grid, head: Head, placed_mm: Sequence[Array]) -> list[Rendered]:
    """Render a head in several places, each as if it were alone.

    Parameters
    ----------
    grid : Grid
    head : Head
    placed_mm : arrays, shape (n, 3), its points in the grid's camera frame, once for each place
    """
    stays = ~head.with_teeth[head.faces].any(1)
    found: list[Rendered] = []
    still: tuple[Array, Rendered] | None = None
    for points in placed_mm:
        skin = points[~head.with_teeth]
        if still is None or not np.array_equal(still[0], skin):
            still = skin, _rendered(Scene.of(grid, points, head.faces[stays]), np.flatnonzero(stays))
        moving = Scene.of(grid, points, head.faces[~stays])
        kept = ~hidden_faces(moving, still[1].depth_mm)
        moving = replace(
            moving, faces=moving.faces[kept], low_px=moving.low_px[:, kept], high_px=moving.high_px[:, kept]
        )
        found.append(_nearer(still[1], _rendered(moving, np.flatnonzero(~stays)[kept])))
    return found


def hidden_faces(scene: Scene, before_mm: Array) -> NDArray[np.bool_]:
    """Tell which faces lie behind a surface wherever they may be seen, or out of the window.

    A face is told by the square of pixels, a power of two across, that holds its bounds: some that are hidden
    are not told.

    Parameters
    ----------
    scene : Scene
    before_mm : array, shape (h, w), depth of that surface in the scene's window, NaN for none
    """
    height, width = before_mm.shape
    size = np.array([[width], [height]])
    with np.errstate(invalid="ignore"):
        in_window = np.asarray(((scene.high_px >= 0.0) & (scene.low_px < size)).all(0))
    number = np.flatnonzero(in_window)
    first = np.clip(np.floor(scene.low_px[:, number]), 0, size - 1).astype(np.int64)
    last = np.clip(np.ceil(scene.high_px[:, number]), 0, size - 1).astype(np.int64)
    across = (last - first).max(0) + 1
    nearest_mm = scene.z_mm[scene.faces[number]].min(1) - _CLEAR_MM
    farthest_mm = np.where(np.isfinite(before_mm), before_mm, np.inf).astype(np.float32)
    hidden = np.logical_not(in_window)
    for level in range(_LEVELS):
        fits = np.flatnonzero((across <= 2**level) & (across > 2**level // 2))
        x, y = first[:, fits]
        hidden[number[fits]] = nearest_mm[fits] > farthest_mm[y, x]
        # from here on each value holds for a square of twice the side, to its right and below
        for axis in range(2):
            beside = np.roll(farthest_mm, -(2**level), axis)
            np.moveaxis(beside, axis, 0)[-(2**level) :] = 0.0
            farthest_mm = np.maximum(farthest_mm, beside)
    return hidden


def _rendered(scene: Scene, number: NDArray[np.int64]) -> Rendered:
    """Render faces under numbers of their own."""
    seen = scene.at_centres()
    return Rendered(seen.depth_mm, np.append(number, -1)[seen.face].astype(np.int32))


def _nearer(first: Rendered, second: Rendered) -> Rendered:
    """Lay two renderings of the same pixels together."""
    wins = (second.face >= 0) & ~(first.depth_mm < second.depth_mm)
    depth_mm = np.where(wins, second.depth_mm, first.depth_mm)
    return Rendered(depth_mm, np.where(wins, second.face, first.face))
