"""The lip line as evidence: where the picture shows the lips ending before enamel, beside the solved rims.

A depth map smooths the step from lip to enamel, so that in a thin strip of teeth a lip edge 0.2 mm too low
looks like teeth too far forward. The picture shows that edge ten times sharper. Only the skin moves here: to
first order, the outline of a surface moves across itself as the surface does.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from bite.fit.block import Block, Look, pushes
from bite.fit.causes import UNKNOWNS, Cause, in_order, moved_head, skin_shift
from bite.fit.head import Head
from bite.fit.linear import CLIPPED_VARIANCE, MAD_TO_SD, Linear
from bite.fit.parameters import COUNT, HEAD_SHIFT
from bite.geometry.camera import Camera
from bite.geometry.rigid import Array

LIP_SD_MM = 0.2
"""By how much one lip's edge may be read off as a whole: shadow, wet skin, a rolled edge. Of five upper lips
that were traced by hand in photographs the means came out 0.10 to 0.21 mm off (rms, grey and colour), of
which the tracing itself is about half (``python -m tests.bench.real_lips``); on computed pictures it is 0.03
to 0.06 mm (``python -m tests.coverage.lip_line``)."""
LEAST_SD_MM = 0.1
"""No place on a lip line is believed better than this; how much places scatter is learned in each picture
(our choice)."""
AS_ONE = 2.0
"""Neighbouring places, 2 mm apart, hang together: so many count as one (our choice)."""


@dataclass(frozen=True, slots=True)
class LipBlock(Block):
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

    def _across(self, parameters: Array) -> tuple[Array, Array, Array]:
        """Give where the places stand, mm, what moves them across the lip, mm per mm, and where they show."""
        heights = parameters[COUNT : COUNT + self.own_moves_mm.shape[1]]
        waved = self.points_mm + np.einsum("njk,j->nk", self.own_moves_mm, heights)
        placed = self.head.place(waved, np.zeros(len(waved), dtype=bool), parameters)
        pixels, by_point = self.camera.project_with_derivative(placed)
        return placed, np.einsum("ni,nik->nk", self.outward, by_point) * self.mm_per_px, pixels

    def predict(self, parameters: Array) -> Linear:
        """Give residuals and slopes, a row a place."""
        count = self.own_moves_mm.shape[1]
        read_off_mm = parameters[COUNT + count :]
        start = self.points_mm
        still = np.zeros(len(start), dtype=bool)
        placed, across, pixels = self._across(parameters)
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

    @property
    def many(self) -> bool:
        """The places tell how many of them are clipped."""
        return True

    def linear_of(self, seen: Linear) -> Linear:
        """Give the residuals themselves."""
        return seen

    def with_noise_from(self, seen: Linear, parameters: Array, covariance: Array | None) -> LipBlock:
        """Give the block with its scatter learned: about zero, so that lips solved elsewhere count less."""
        scatter = MAD_TO_SD * float(np.median(np.abs(seen.residual))) * self.sd_mm
        return replace(self, sd_mm=max(LEAST_SD_MM, scatter))

    def kinds(self, seen: Linear) -> NDArray[np.str_]:
        """Name the lip line in the picture."""
        return np.full(len(seen.residual), self.name)

    def cause_slopes(self, seen: Linear, parameters: Array) -> Array:
        """Give d(predicted place)/d(unknown) over sd, shape (k, m): only the skin's own motions show."""
        none = {cause: np.zeros((len(names), len(self.points_mm))) for cause, names in UNKNOWNS.items()}
        forward = skin_shift(self.head, Cause.LIPS, np.ones(1), self.points_mm)
        turned = self.head.place(forward, False, parameters) - self.head.place(
            np.zeros((1, 3)), False, parameters
        )
        lips = np.einsum("nk,nk->n", self._across(parameters)[1], turned) / self.sd_mm
        return in_order(none | {Cause.LIPS: lips[None], Cause.HEAD: seen.slope[:, HEAD_SHIFT].T})

    def with_cause(self, cause: Cause, values: Array) -> LipBlock:
        """Give the block with its model mended: the picture shows the lips where it did."""
        if cause is Cause.SCALE:
            return self
        points = self.points_mm + skin_shift(self.head, cause, values, self.points_mm)
        shift_px = self.camera.project(points) - self.camera.project(self.points_mm)
        return replace(
            self,
            head=moved_head(self.head, cause, values),
            points_mm=points,
            off_px=self.off_px - np.einsum("ni,ni->n", self.outward, shift_px),
        )

    def apart(self, look: Look, other: Look) -> float | None:
        """Give what the places that two looks share leave in the difference, mm^2."""
        two = other.block
        if not isinstance(two, LipBlock) or not np.isin(self.key, two.key).any():
            return None
        both = np.union1d(self.key, two.key)
        here = np.bincount(np.searchsorted(both, self.key), pushes(look), len(both)).astype(np.float64)
        there = np.bincount(np.searchsorted(both, two.key), pushes(other), len(both)).astype(np.float64)
        return CLIPPED_VARIANCE * float(((here - there) ** 2).sum())
