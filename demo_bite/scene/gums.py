"""Gums and the dark of the mouth: surfaces that hide things and are never evidence."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bite.geometry.rigid import Array
from demo_bite.scene.teeth import Row, _quads

# along the gum's section from behind the crown, over the margin, up the gum: (away from the edge, forward),
# mm
_SECTION = (
    (0.3, -3.0),
    (0.0, -0.3),
    (0.15, 0.25),
    (0.7, 0.6),
    (2.0, 0.9),
    (4.5, 0.7),
    (8.0, -0.3),
    (11.0, -2.0),
)


def build_gum(row: Row, *, upper: bool) -> tuple[Array, NDArray[np.int32]]:
    """Build the gum of a row, occlusal frame: a sheet that follows the line where the crowns enter it."""
    line = row.gum_line
    # ends of neighbouring crowns overlap a little: keep the line strictly from left to right
    keep = np.concatenate([[True], np.diff(np.maximum.accumulate(line[:, 0])) > 0.05])
    line = line[keep]
    along = np.gradient(line[:, [0, 2]], axis=0)
    along /= np.linalg.norm(along, axis=1)[:, None]
    kernel = np.ones(9) / 9
    smooth = np.stack(
        [np.convolve(np.pad(along[:, k], 4, mode="edge"), kernel, mode="valid") for k in (0, 1)], -1
    )
    outward = np.stack([-smooth[:, 1], np.zeros(len(line)), smooth[:, 0]], -1)
    outward /= np.linalg.norm(outward, axis=1)[:, None]
    away = np.array([0.0, 1.0 if upper else -1.0, 0.0])
    sheet = np.stack([line + up * away + forward * outward for up, forward in _SECTION])
    number = np.arange(sheet.shape[0] * sheet.shape[1]).reshape(sheet.shape[:2])
    faces = _quads(number)
    return sheet.reshape(-1, 3), faces if upper else faces[:, ::-1]


def build_cavity(count: int = 14) -> tuple[Array, NDArray[np.int32]]:
    """Build the dark wall behind the teeth, occlusal frame: a tongue at rest, cheeks that come forward."""
    x, y = np.meshgrid(np.linspace(-34, 34, count), np.linspace(-24, 24, count))
    y = y * (1 - 0.45 * (x / 34) ** 4)
    tongue = 6.0 * np.exp(-((x / 17) ** 2) - (((y + 6) / 9) ** 2))
    z = -25.0 + tongue + 6.0 * np.clip((np.abs(x) - 24) / 10, 0, 1) ** 2
    number = np.arange(count * count).reshape(count, count)
    return np.stack([x, y, z], -1).reshape(-1, 3), _quads(number)
