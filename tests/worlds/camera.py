"""A pinhole camera with Brown's distortion, written for the worlds alone.

Source: Brown 1966, Decentering distortion of lenses; the order k1, k2, p1, p2 is that of OpenCV's documents.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class WorldCamera:
    """A camera; x_camera = rotation x_reference + translation, mm; pixel centres at whole numbers."""

    width_px: int
    height_px: int
    focal_px: float
    centre_px: tuple[float, float]
    distortion: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    rotation: Array = field(default_factory=lambda: np.eye(3))
    translation_mm: Array = field(default_factory=lambda: np.zeros(3))

    def own(self, reference_mm: Array) -> Array:
        """Give points of the reference frame in this camera's."""
        return reference_mm @ self.rotation.T + self.translation_mm

    def project(self, reference_mm: Array) -> Array:
        """Project points of the reference frame, shape (n, 3), to pixels, shape (n, 2)."""
        points = self.own(reference_mm)
        plane = self._bent(points[:, :2] / points[:, 2:])
        return plane * self.focal_px + np.array(self.centre_px)

    def rays(self, pixels: Array) -> Array:
        """Give the rays through pixels, shape (n, 2), in the camera's own frame with z = 1, shape (n, 3)."""
        bent = (pixels - np.array(self.centre_px)) / self.focal_px
        plane = bent.copy()
        for _ in range(50):
            off = self._bent(plane) - bent
            plane -= off
            if np.abs(off).max() < 1e-10:
                break
        return np.column_stack([plane, np.ones(len(plane))])

    def _bent(self, plane: Array) -> Array:
        k1, k2, p1, p2 = self.distortion
        x, y = plane[:, 0], plane[:, 1]
        r2 = x * x + y * y
        radial = 1.0 + k1 * r2 + k2 * r2 * r2
        return np.column_stack(
            [
                x * radial + 2.0 * p1 * x * y + p2 * (r2 + 2.0 * x * x),
                y * radial + p1 * (r2 + 2.0 * y * y) + 2.0 * p2 * x * y,
            ]
        )
