"""What a depth sensor would see of a solved head, with slopes, at one point of parameter space."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.fit.parameters import COUNT
from bite.fit.seen_model import SeenModel
from bite.geometry.rigid import Array


@dataclass(frozen=True, slots=True)
class Prediction:
    """What the sensor would see, at one point of parameter space; arrays are (h, w) on the block's grid.

    Parameters
    ----------
    sharp_mm : before smoothing, mean over each pixel, enamel bias included, NaN where there is no surface
    part : sharp part labels, -1 where there is none
    depth_mm : after smoothing
    slopes : shape (14, h, w), d(depth)/d(parameter)
    own_slopes : shape (p, j), at the pixels in use: d(depth)/d(height) of each shape of the skin and bump
        of the teeth, and by how boxy the filter is
    teeth_share : share of each smoothed pixel that comes from enamel
    lower_forward : the part of the forward slope that lower teeth give
    nearness : 1 on teeth, falling over skin with distance from them
    readable : pixels with a reading and a prediction
    used : those that enter the fit
    weight : trust, before scaling by noise
    plain_weight : the same before strange patches of skin lose theirs: what tells how well the model fits
    model : what the rays meet there, for those who ask how it moves otherwise
    """

    sharp_mm: Array
    part: NDArray[np.int8]
    depth_mm: Array
    slopes: Array
    own_slopes: Array
    teeth_share: Array
    lower_forward: Array
    nearness: Array
    readable: NDArray[np.bool_]
    used: NDArray[np.bool_]
    weight: Array
    plain_weight: Array
    model: SeenModel

    def all_slopes(self) -> Array:
        """Slopes by every unknown, the block's own too, zero outside the pixels in use, (14 + k, h, w)."""
        maps = np.zeros((COUNT + self.own_slopes.shape[1], *self.used.shape))
        maps[:COUNT] = np.where(self.used, self.slopes, 0.0)
        maps[COUNT:, self.used] = self.own_slopes.T
        return maps
