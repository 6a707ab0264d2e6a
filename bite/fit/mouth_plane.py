"""Where skin lies about the opening of the lips, seen along forward: how far off, above or below."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.fit.head import Head
from bite.geometry.render import Grid, Scene
from bite.geometry.rigid import Array, frozen
from bite.geometry.teeth import LOWER, UPPER

STEP_MM = 0.5
"""As fine as a depth pixel on the face: what is told here changes over millimetres."""
BEYOND_MM = 45.0
"""So far about the bare teeth the plane reaches; skin farther out counts as that far."""
BLEND_MM = 2.0
"""Above turns to below over this height at the corners of the mouth (our choice)."""


@dataclass(frozen=True, slots=True)
class MouthPlane:
    """A raster over the head's right-up plane.

    Parameters
    ----------
    low_mm : array, shape (2,), right and up of the first cell's middle, from the head's centre
    away_mm : array, shape (rows, columns), distance from bare teeth; rows run up, columns to the right
    above : array, the same shape, 1 above the opening and 0 below it
    left_mm, right_mm : float, where bare teeth end to either side, to the right of the head's centre
    """

    low_mm: Array
    away_mm: Array
    above: Array
    left_mm: float
    right_mm: float

    def at(self, head: Head, points_mm: Array) -> tuple[Array, Array]:
        """Give distance from bare teeth, mm, and how far above the opening, 0..1, of points, shape (n,)."""
        from scipy.ndimage import map_coordinates

        arm = points_mm - head.centre_mm
        column = (arm @ head.right - self.low_mm[0]) / STEP_MM
        row = (arm @ head.up - self.low_mm[1]) / STEP_MM
        away, above = (
            map_coordinates(plane, [row, column], order=1, mode="nearest")
            for plane in (self.away_mm, self.above)
        )
        return away, above


def mouth_plane(head: Head, grid: Grid) -> MouthPlane | None:
    """See which enamel the solved lips leave bare, and measure from there; None where they leave none.

    Parameters
    ----------
    head : Head, as it was solved
    grid : Grid of a camera that looks at it
    """
    from scipy.ndimage import binary_closing, distance_transform_edt

    seen = Scene.of(grid, grid.camera.camera_from_reference.apply(head.points_mm), head.faces).at_centres()
    part = np.where(seen.face >= 0, head.face_part[seen.face], -1)
    bare = (part == UPPER) | (part == LOWER)
    if not bare.any():
        return None
    rays = np.concatenate([grid.slopes[bare], np.ones((int(bare.sum()), 1))], axis=1)
    points = grid.camera.camera_from_reference.inverse().apply(rays * seen.depth_mm[bare][:, None])
    arm = points - head.centre_mm
    flat = np.column_stack([arm @ head.right, arm @ head.up])
    low, high = flat.min(0) - BEYOND_MM, flat.max(0) + BEYOND_MM
    columns, rows = (int(n) for n in np.ceil((high - low) / STEP_MM) + 1)
    teeth = np.zeros((rows, columns), dtype=np.bool_)
    column, row = np.rint((flat - low) / STEP_MM).astype(int).T
    teeth[row, column] = True
    # cells between the readings of a coarser grid, and gaps between teeth, belong to the opening
    teeth = binary_closing(teeth, np.ones((5, 5), dtype=bool))
    return MouthPlane(
        frozen(low),
        frozen(distance_transform_edt(~teeth) * STEP_MM),
        frozen(_above(teeth)),
        float(flat[:, 0].min()),
        float(flat[:, 0].max()),
    )


def _above(teeth: NDArray[np.bool_]) -> Array:
    """Tell of each cell whether it lies above the middle of the opening, beside it of its nearest column."""
    rows, columns = np.mgrid[: teeth.shape[0], : teeth.shape[1]]
    known = np.flatnonzero(teeth.any(0))
    middle = np.array([rows[teeth[:, k], k].mean() for k in known])
    height = (rows - np.interp(columns[0], known, middle)) * STEP_MM
    return np.asarray(np.clip(0.5 + height / (2.0 * BLEND_MM), 0.0, 1.0))
