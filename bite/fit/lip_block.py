"""The lip line as evidence: where the picture shows the lips ending before enamel, beside the solved rims.

A depth map smooths the step from lip to enamel, so that in a thin strip of teeth a lip edge 0.2 mm too low
looks like teeth too far forward. The picture shows that edge ten times sharper. Only the skin moves here: to
first order, the outline of a surface moves across itself as the surface does.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from bite.fit.head import Head
from bite.fit.linear import MAD_TO_SD, Linear
from bite.fit.parameters import COUNT
from bite.geometry.camera import Camera
from bite.geometry.rigid import Array

LIP_SD_MM = 0.1
"""By how much one lip's edge may be read off as a whole: shadow, wet skin, a rolled edge. On computed
pictures it is 0.03 to 0.06 mm (``python -m tests.coverage.lip_line``); no real mouth has been measured (our
choice)."""
LEAST_SD_MM = 0.1
"""No place on a lip line is believed better than this (our choice)."""
AS_ONE = 2.0
"""Neighbouring places, 2 mm apart, hang together: so many count as one (our choice)."""


@dataclass(frozen=True, slots=True)
class LipBlock:
    """Places on the lip line, each with how far outward of the solved rim the picture shows it.

    Parameters
    ----------
    head : Head, the solved model
    camera : Camera, of the picture
    points_mm : array, shape (n, 3), on the solved skin's rims, in the reference frame
    own_moves_mm : array, shape (n, j, 3), how each unknown of the skin moves them, mm per mm of height
    outward : array, shape (n, 2), unit directions in the picture from enamel to lip
    off_px : array, shape (n,), px outward
    upper : array of bool, shape (n,)
    key : array of int, shape (n,), which place: the same in every look at one picture
    mm_per_px : float
    sd_mm : float
    """

    head: Head
    camera: Camera
    points_mm: Array
    own_moves_mm: Array
    outward: Array
    off_px: Array
    upper: NDArray[np.bool_]
    key: NDArray[np.int64]
    mm_per_px: float
    sd_mm: float = LEAST_SD_MM

    @property
    def name(self) -> str:
        """Kind of evidence."""
        return "lips"

    @property
    def shares_with(self) -> str:
        """The unknowns of the skin are the depth block's."""
        return "depth"

    @property
    def extra_precision(self) -> Array:
        """Precision of how far off each lip's edge is read, 1 / mm^2: upper, lower."""
        return np.full(2, LIP_SD_MM**-2)

    @property
    def read_px(self) -> Array:
        """Where the picture shows the lip line, shape (n, 2), px."""
        return np.asarray(self.camera.project(self.points_mm) + self.off_px[:, None] * self.outward)

    def predict(self, parameters: Array) -> Linear:
        """Give residuals and slopes, a row a place."""
        count = self.own_moves_mm.shape[1]
        heights, read_off_mm = parameters[COUNT : COUNT + count], parameters[COUNT + count :]
        start = self.points_mm
        waved = start + np.einsum("njk,j->nk", self.own_moves_mm, heights)
        still = np.zeros(len(start), dtype=bool)
        placed = self.head.place(waved, still, parameters)
        pixels, by_point = self.camera.project_with_derivative(placed)
        across = np.einsum("ni,nik->nk", self.outward, by_point) * self.mm_per_px
        slope = np.zeros((len(start), COUNT + count + 2))
        slope[:, :9] = np.einsum("nk,pnk->np", across, self.head.speeds(placed, still, parameters))
        turned = self.head.place(self.own_moves_mm.reshape(-1, 3), False, parameters) - self.head.place(
            np.zeros((1, 3)), False, parameters
        )
        slope[:, COUNT:-2] = np.einsum("nk,njk->nj", across, turned.reshape(self.own_moves_mm.shape))
        lip = np.column_stack([self.upper, ~self.upper]).astype(np.float64)
        slope[:, -2:] = lip
        moved_px = np.einsum("ni,ni->n", self.outward, pixels - self.camera.project(start))
        residual_mm = (self.off_px - moved_px) * self.mm_per_px - lip @ read_off_mm
        return Linear(residual_mm / self.sd_mm, slope / self.sd_mm, np.full(len(start), 1.0 / AS_ONE))

    def linear_of(self, seen: Linear) -> Linear:
        """Give the residuals themselves."""
        return seen

    def with_noise_from(self, seen: Linear, parameters: Array, covariance: Array | None) -> LipBlock:
        """Give the block with its scatter learned: about zero, so that lips solved elsewhere count less."""
        scatter = MAD_TO_SD * float(np.median(np.abs(seen.residual))) * self.sd_mm
        return replace(self, sd_mm=max(LEAST_SD_MM, scatter))

    def scatter(self, seen: Linear, directions: Array, *, whole: bool = False) -> Array:
        """Give D J' W J D', shape (d, d): the weights already count neighbours as one."""
        return np.asarray(directions @ seen.information @ directions.T)
