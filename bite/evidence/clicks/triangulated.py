"""Each corner seen in two views or more, found in space: where, how well, and how well the views agree."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from bite.errors import DegenerateGeometryError, NotConvergedError
from bite.files.bundle import LoadedView
from bite.geometry.rigid import Array, frozen
from bite.geometry.teeth import CORNERS
from bite.geometry.triangulate import triangulate


@dataclass(frozen=True, slots=True)
class TriangulatedCorner:
    """One corner in the reference frame.

    Parameters
    ----------
    name : str
    views : tuple of str, where it is seen
    point_mm : array, shape (3,)
    covariance_mm2 : array, shape (3, 3), of the clicks alone; cameras taken as exact
    off_px : array, shape (n, 2), clicked minus projected in each view
    chi2, dof : weighted sum of squares of these, and its degrees of freedom
        Two views have one: a click that is off along the line on which the other view's ray is seen shows in
        no ``off_px`` at all, and moves the point in depth.
    """

    name: str
    views: tuple[str, ...]
    point_mm: Array
    covariance_mm2: Array
    off_px: Array
    chi2: float
    dof: int

    @property
    def depth_sd_mm(self) -> float:
        """Sd along the reference camera's axis."""
        return float(np.sqrt(self.covariance_mm2[2, 2]))

    @property
    def rms_px(self) -> float:
        """Root mean square distance of clicked and projected over the views."""
        return float(np.sqrt(np.mean((self.off_px**2).sum(1))))


def triangulated_corners(
    views: Sequence[LoadedView], seen: Sequence[Mapping[str, tuple[Array, float]]]
) -> tuple[TriangulatedCorner, ...]:
    """Triangulate every corner that is seen in two views or more.

    Parameters
    ----------
    views : sequence of LoadedView
    seen : sequence of mapping
        For each view the corners seen in it: name to (position, sd), px. A corner whose rays do not meet in
        front of the cameras is left out.
    """
    found = []
    for name in CORNERS:
        where = [k for k, points in enumerate(seen) if name in points]
        if len(where) < 2:
            continue
        try:
            point = triangulate(
                [views[k].camera for k in where],
                np.array([seen[k][name][0] for k in where]),
                np.array([seen[k][name][1] for k in where]),
            )
        except (DegenerateGeometryError, NotConvergedError):
            continue
        found.append(
            TriangulatedCorner(
                name,
                tuple(views[k].name for k in where),
                frozen(point.point_mm),
                frozen(point.covariance_mm2),
                frozen(point.residuals_px),
                point.chi2,
                point.dof,
            )
        )
    return tuple(found)
