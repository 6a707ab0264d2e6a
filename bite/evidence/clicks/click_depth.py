"""Measured depth where corners were clicked, read on the enamel beside them: clicks lie on edges."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bite.files.bundle import BiteFrame
from bite.geometry.rigid import Array

READ_MM = 1.6
"""Radius of the patch whose readings are used: several depth pixels, less than half a crown."""
INWARD = 0.35
"""Where the patch lies: this share of a crown width away from the edge and towards the tooth's middle."""
_ROUNDS = 4
"""Rounds of trimming readings that do not belong to the enamel (our choice)."""


@dataclass(frozen=True, slots=True)
class ClickDepth:
    """Depth of the enamel beside one click in the reference view's frame.

    Parameters
    ----------
    depth_mm, sd_mm : along the reference view's axis; None where nothing was read
    readings, pixels : readings and pixels in the patch
    """

    depth_mm: float | None
    sd_mm: float | None
    readings: int
    pixels: int


def read_click_depth(frame: BiteFrame, patch_px: Array) -> ClickDepth:
    """Read the depth map around where a pixel of the reference view falls in it.

    Where that is depends on the depth itself when the sensor has a camera of its own, so it is found in a few
    rounds, from the nearer part of the map's readings on.

    Parameters
    ----------
    frame : BiteFrame, with a depth map
    patch_px : array, shape (2,), pixel of the reference view
    """
    assert frame.depth_map is not None and frame.depth_camera is not None
    depth, camera, view = frame.depth_map.depth_mm, frame.depth_camera, frame.views[0].camera
    sample = depth[::4, ::4]
    at = float(np.nanquantile(sample, 0.3)) if np.isfinite(sample).any() else 300.0
    values, pixels = np.zeros(0), 0
    for _ in range(_ROUNDS):
        point = view.point_at(patch_px[None], np.array([at]))
        local = camera.camera_from_reference.apply(point)
        if not local[0, 2] > 1.0:
            break
        x, y = camera.project_local(local)[0]
        radius = max(1.5, READ_MM * camera.focal_px / float(local[0, 2]))
        values, pixels = _disc(depth, x, y, radius)
        if not values.size:
            break
        read = float(np.median(values))
        found = camera.point_at(np.array([[x, y]]), np.array([read]))
        new = float(view.camera_from_reference.apply(found)[0, 2])
        settled = abs(new - at) < 0.05
        at = new
        if settled:
            break
    if values.size < 3:
        return ClickDepth(None, None, int(values.size), pixels)
    spread = 1.4826 * float(np.median(np.abs(values - np.median(values))))
    # neighbours in a depth map repeat each other: a patch is worth a few readings, not all
    by_spread = 1.2533 * spread / np.sqrt(max(1.0, values.size / 9.0))
    sd = float(np.hypot(by_spread, frame.depth_map.step_at_mm(at) / 12**0.5))
    return ClickDepth(at, sd, int(values.size), pixels)


def _disc(depth: Array, x: float, y: float, radius: float) -> tuple[Array, int]:
    height, width = depth.shape
    left, right = max(0, int(np.ceil(x - radius))), min(width - 1, int(np.floor(x + radius)))
    top, bottom = max(0, int(np.ceil(y - radius))), min(height - 1, int(np.floor(y + radius)))
    if right < left or bottom < top:
        return np.zeros(0), 0
    rows, columns = np.mgrid[top : bottom + 1, left : right + 1]
    inside = (columns - x) ** 2 + (rows - y) ** 2 <= radius**2
    values = depth[top : bottom + 1, left : right + 1][inside]
    return values[np.isfinite(values)], int(inside.sum())
