"""Clicked corners and landmarks as evidence, in any number of calibrated views.

A click scatters, and the model's corner may not be the performer's: digital crowns have angles of their own.
The click's scatter is each view's; what a corner is off by sits on the tooth and is the same in all views. So
each clicked corner brings two unknowns, right and up in the plane of the teeth, and clicks of many views
cannot average them away.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from bite.fit.block import CLICKS, Block, Look, pushes
from bite.fit.causes import PER_CENT, PER_DEG, Cause, directed, in_order, moved_head
from bite.fit.head import Head
from bite.fit.linear import CLIPPED_VARIANCE, Linear
from bite.fit.parameters import COUNT, HEAD_SHIFT, P
from bite.geometry.camera import Camera
from bite.geometry.rigid import Array
from bite.geometry.teeth import is_upper

SHAPE_SD_MM = 0.2
"""How far a model's corner is off, right or up, for the performer's own (our choice). Angles of crowns drawn
for another mouth differ by 0.16 mm in height in ``tests/worlds``; a person names a corner on a rounded angle,
which the rig's builder named elsewhere. Teeth known to be the performer's own are given less
(``evidence/crowns.py``)."""


class Use(IntEnum):
    """How a click enters the fit."""

    CORNER = 0
    """both coordinates"""
    BOUND = 1
    """a covered lower corner: the true one is not below this point"""
    LANDMARK = 2
    """both coordinates, and it moves with the head alone"""


@dataclass(frozen=True, slots=True)
class Clicks:
    """The clicks of one view that the fit can use.

    Parameters
    ----------
    view : str
    camera : Camera
    names : tuple of corner codes and landmark names, length n
    use : array, shape (n,), values of Use
    pixels : array, shape (n, 2), px
    sigma_px : array, shape (n,), px
    """

    view: str
    camera: Camera
    names: tuple[str, ...]
    use: NDArray[np.int8]
    pixels: Array
    sigma_px: Array


@dataclass(frozen=True, slots=True)
class CornerBlock(Block):
    """Clicks of all views beside a solved head.

    Parameters
    ----------
    head : Head
    views : tuple of Clicks
    shape_sd_mm : float, how far a model's corner may be off, right or up
    """

    head: Head
    views: tuple[Clicks, ...]
    shape_sd_mm: float = SHAPE_SD_MM

    @property
    def corners(self) -> tuple[str, ...]:
        """Codes of all corners that some view has a click of, each with two unknowns: right and up, mm."""
        return tuple(
            sorted(
                {
                    name
                    for clicks in self.views
                    for name, use in zip(clicks.names, clicks.use, strict=True)
                    if use != Use.LANDMARK
                }
            )
        )

    @property
    def extra_precision(self) -> Array:
        """Precision of what each corner is off by, 1 / mm^2."""
        return np.full(2 * len(self.corners), self.shape_sd_mm**-2)

    @property
    def name(self) -> str:
        """Kind of evidence."""
        return "corners"

    def project(self, clicks: Clicks, parameters: Array) -> tuple[Array, Array]:
        """Give where the model's points are seen, shape (n, 2), px, and the slopes, shape (n, 2, 14)."""
        corner = clicks.use != Use.LANDMARK
        start = np.array(
            [
                (self.head.corners if c else self.head.landmarks)[name]
                for c, name in zip(corner, clicks.names, strict=True)
            ]
        ).reshape(-1, 3)
        middle = {row: self.head.row_centre(row) for row in (True, False)}
        arm = np.array(
            [
                start[i] - middle[is_upper(name)] if corner[i] else np.zeros(3)
                for i, name in enumerate(clicks.names)
            ]
        ).reshape(-1, 3)
        size = np.exp(parameters[P.LOG_SIZE])
        placed = self.head.place(start + (size - 1.0) * arm, corner, parameters)
        speeds = np.zeros((COUNT, len(start), 3))
        speeds[:9] = self.head.speeds(placed, corner, parameters)
        turn_only = self.head.place(size * arm, False, parameters) - self.head.place(
            np.zeros((len(start), 3)), False, parameters
        )
        speeds[P.LOG_SIZE] = turn_only
        pixels, by_point = clicks.camera.project_with_derivative(placed)
        return pixels, np.einsum("nij,knj->nik", by_point, speeds)

    def seen(self, clicks: Clicks, parameters: Array) -> tuple[Array, Array]:
        """Give as ``project`` does, with what corners are off by: slopes have the shape (n, 2, 14 + j)."""
        pixels, slopes = self.project(clicks, parameters)
        place = {name: 2 * k for k, name in enumerate(self.corners)}
        own = np.zeros((len(pixels), 2, 2 * len(place)))
        for k, (name, use) in enumerate(zip(clicks.names, clicks.use, strict=True)):
            if use != Use.LANDMARK:
                own[k, :, place[name] : place[name] + 2] = slopes[k][:, [P.RIGHT_MM, P.UP_MM]]
        off = parameters[COUNT:] if len(parameters) > COUNT else np.zeros(own.shape[2])
        return pixels + own @ off, np.concatenate([slopes, own], axis=2)

    def scatter_px(self, clicks: Clicks, slopes: Array) -> Array:
        """Give the sd of each click about the model's point: its own, and the corner's, shape (n,), px."""
        per_mm = np.sqrt(0.5 * (slopes[:, :, [P.RIGHT_MM, P.UP_MM]] ** 2).sum((1, 2)))
        shape = np.where(clicks.use == Use.LANDMARK, 0.0, self.shape_sd_mm * per_mm)
        return np.asarray(np.hypot(clicks.sigma_px, shape))

    def predict(self, parameters: Array) -> Linear:
        """Give residuals and slopes: two rows a corner or landmark, one a covered corner."""
        width = COUNT + 2 * len(self.corners)
        residuals, slopes = [np.zeros(0)], [np.zeros((0, width))]
        for clicks in self.views:
            if not clicks.names:
                continue
            pixels, by_parameter = self.seen(clicks, parameters)
            sigma = clicks.sigma_px
            off = clicks.pixels - pixels
            full = clicks.use != Use.BOUND
            residuals.append((off[full] / sigma[full, None]).ravel())
            slopes.append((by_parameter[full] / sigma[full, None, None]).reshape(-1, width))
            bound = ~full
            if bound.any():
                down = -by_parameter[bound][:, :, P.UP_MM]
                down /= np.linalg.norm(down, axis=1, keepdims=True)
                below = -np.einsum("ni,ni->n", off[bound], down) / sigma[bound]
                active = below > 0
                residuals.append(np.where(active, -below, 0.0))
                slope = np.einsum("nik,ni->nk", by_parameter[bound], down) / sigma[bound, None]
                slopes.append(slope * active[:, None])
        residual, slope = np.concatenate(residuals), np.concatenate(slopes)
        return Linear(residual, slope, np.ones(len(residual)))

    def linear_of(self, seen: Linear) -> Linear:
        """Give the residuals themselves: the sigmas of clicks are taken as stated."""
        return seen

    def kinds(self, seen: Linear) -> NDArray[np.str_]:
        """Clicks, all of them."""
        return np.full(len(seen.residual), CLICKS)

    def cause_slopes(self, seen: Linear, parameters: Array) -> Array:
        """Give d(predicted click)/d(unknown) over sigma of every unknown, shape (k, m)."""
        own = self.predict(parameters).slope.T
        other = replace(self, head=directed(self.head)).predict(parameters).slope.T
        corner, lower = self._row_masks()
        other = np.where(corner, other, 0.0)
        none = np.zeros((1, own.shape[1]))
        return in_order(
            {
                Cause.FORWARD: own[[P.FORWARD_MM]],
                Cause.LATERAL: own[[P.RIGHT_MM, P.UP_MM]],
                Cause.SIZE: other[:1] * PER_CENT,
                Cause.TURN: other[1:3] * PER_DEG,
                Cause.ROWS: np.where(lower, own[[P.FORWARD_MM, P.UP_MM]], 0.0),
                Cause.LIPS: none,
                Cause.HEAD: own[HEAD_SHIFT],
                Cause.ENAMEL: none,
                Cause.SCALE: none,
            }
        )

    def _row_masks(self) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """Tell of each residual whether a corner, and whether a lower corner, made it."""
        corner: list[bool] = []
        lower: list[bool] = []
        for clicks in self.views:
            tooth = [use != Use.LANDMARK for use in clicks.use]
            low = [t and not is_upper(name) for t, name in zip(tooth, clicks.names, strict=True)]
            full = [k for k, use in enumerate(clicks.use) if use != Use.BOUND for _ in range(2)]
            order = full + [k for k, use in enumerate(clicks.use) if use == Use.BOUND]
            corner += [tooth[k] for k in order]
            lower += [low[k] for k in order]
        return np.array(corner, dtype=bool), np.array(lower, dtype=bool)

    def with_cause(self, cause: Cause, values: Array) -> CornerBlock:
        """Give the block with its model mended; clicks know nothing of a depth sensor's scale."""
        if cause is Cause.SCALE:
            return self
        return replace(self, head=moved_head(self.head, cause, values))

    def apart(self, look: Look, other: Look) -> float | None:
        """Give what the same clicks leave in the difference, mm^2."""
        two = other.block
        if not isinstance(two, CornerBlock) or len(look.linear.residual) != len(other.linear.residual):
            return None
        if [view.names for view in self.views] != [view.names for view in two.views]:
            return None
        return CLIPPED_VARIANCE * float(((pushes(look) - pushes(other)) ** 2).sum())
