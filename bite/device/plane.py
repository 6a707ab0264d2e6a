"""A plane seen in depth: inverse depth is linear in pixels, whatever the lens's focal length."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.fit.linear import MAD_TO_SD
from bite.geometry.rigid import Array

_CUT_SD = 4.0
"""Readings farther off than this are no part of the plane (our choice)."""


@dataclass(frozen=True, slots=True)
class Plane:
    """1 / depth = a + b x + c y, with x, y in pixels from ``centre``."""

    per_mm: tuple[float, float, float]
    centre: tuple[float, float]

    @property
    def middle_mm(self) -> float:
        """Depth at the centre of the pixels it was fitted to, mm."""
        return 1.0 / self.per_mm[0]

    def at_mm(self, x: float, y: float) -> float:
        """Give the plane's depth at one pixel, mm."""
        a, b, c = self.per_mm
        return 1.0 / (a + b * (x - self.centre[0]) + c * (y - self.centre[1]))

    def depth_mm(self, shape: tuple[int, ...]) -> Array:
        """Give the plane's depth at every pixel of a map, mm; NaN behind its horizon."""
        y, x = np.mgrid[0 : shape[0], 0 : shape[1]].astype(float)
        a, b, c = self.per_mm
        inverse = a + b * (x - self.centre[0]) + c * (y - self.centre[1])
        return np.asarray(1.0 / np.where(inverse > 0.05 * a, inverse, np.nan))


def fit_plane(depth_mm: Array, where: NDArray[np.bool_]) -> Plane:
    """Fit a plane to the readings under a mask, leaving out those beyond 4 robust sds.

    Parameters
    ----------
    depth_mm : array, shape (h, w), mm
    where : array of bool, shape (h, w), three readings or more
    """
    y, x = np.nonzero(where & np.isfinite(depth_mm))
    depth = depth_mm[y, x]
    centre = float(x.mean()), float(y.mean())
    design = np.column_stack((np.ones(len(x)), x - centre[0], y - centre[1]))
    kept = np.abs(depth - np.median(depth)) < 0.5 * np.median(depth)
    found = np.array([1 / np.median(depth), 0.0, 0.0])
    for _ in range(6):
        # errors are even in depth, not in its inverse: each row is weighted by depth squared
        weight = depth[kept] ** 2
        found = np.linalg.lstsq(design[kept] * weight[:, None], weight / depth[kept], rcond=None)[0]
        inverse = design @ found
        off = depth - 1.0 / np.where(inverse > 0, inverse, np.nan)
        off = np.where(np.isfinite(off), off, np.inf)
        spread = MAD_TO_SD * float(np.median(np.abs(off[kept] - np.median(off[kept]))))
        kept = np.abs(off) <= max(_CUT_SD * spread, 1e-6)
    return Plane((float(found[0]), float(found[1]), float(found[2])), centre)
