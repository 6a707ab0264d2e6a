"""The unknowns of a bite frame, their order, their priors and their bounds.

``head_*`` is the small motion of the whole solved model onto the measured skin, ``forward``, ``right`` and
``up`` move the
teeth inside it, ``smoothing`` is the sensor's own blur, ``enamel_bias`` how much too deep it sees enamel,
``log_size`` a
size error of the digital teeth (without it the corners of one view would fake a distance out of a known
tooth width), and
``profile_*`` place a depth profile, which has no camera of its own.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np

from bite.geometry.rigid import Array, frozen, same_fields


class P(IntEnum):
    """Index of each parameter."""

    HEAD_X_MM = 0
    HEAD_Y_MM = 1
    HEAD_Z_MM = 2
    HEAD_TURN_X_RAD = 3
    HEAD_TURN_Y_RAD = 4
    HEAD_TURN_Z_RAD = 5
    FORWARD_MM = 6
    RIGHT_MM = 7
    UP_MM = 8
    SMOOTHING_PX = 9
    ENAMEL_BIAS_MM = 10
    LOG_SIZE = 11
    PROFILE_OFFSET_MM = 12
    PROFILE_SLOPE = 13


COUNT = len(P)
HEAD_SHIFT = slice(0, 3)
HEAD_TURN = slice(3, 6)
GEOMETRIC = tuple(range(9))
"""Parameters that move surfaces, in order: head shift, head turn, teeth forward, right, up."""


@dataclass(frozen=True, slots=True)
class Prior:
    """Independent normal priors and hard bounds, one entry a parameter; an infinite sd means no prior.

    Parameters
    ----------
    mean, sd, low, high : array, shape (14,), in the unit of each parameter
    """

    mean: Array
    sd: Array
    low: Array
    high: Array

    def __eq__(self, other: object) -> bool:
        return same_fields(self, other)

    @property
    def precision(self) -> Array:
        """One over the variance, zero where there is no prior, shape (14,)."""
        return 1.0 / self.sd**2


def make_prior(
    *,
    smoothing_px: float = 2.0,
    smoothing_sd_px: float = 1.5,
    enamel_bias_mm: float = 0.2,
    enamel_bias_sd_mm: float = 0.2,
    head_shift_sd_mm: float = 1.0,
    head_turn_sd_deg: float = 1.0,
    lateral_sd_mm: float = 2.0,
    log_size_sd: float = 0.069,
) -> Prior:
    """Build the prior of one frame.

    A solved head is near its sensor (1 mm, 1 degree: common practice, no source). Enamel bias 0.2 +- 0.2 mm
    deeper is an
    engineering estimate from the transport length of light in enamel, 0.47 mm (Zijp, ten Bosch & Groenhuis
    1995); no direct
    measurement was found. Tooth size varies by 6.9 % in the population (Kaewplung 2008: 0.6 of 8.7 mm).
    """
    mean, sd = np.zeros(COUNT), np.full(COUNT, np.inf)
    low, high = np.full(COUNT, -np.inf), np.full(COUNT, np.inf)
    sd[HEAD_SHIFT], sd[HEAD_TURN] = head_shift_sd_mm, np.deg2rad(head_turn_sd_deg)
    sd[P.RIGHT_MM] = sd[P.UP_MM] = lateral_sd_mm
    mean[P.SMOOTHING_PX], sd[P.SMOOTHING_PX] = smoothing_px, smoothing_sd_px
    low[P.SMOOTHING_PX], high[P.SMOOTHING_PX] = 0.3, 10.0
    mean[P.ENAMEL_BIAS_MM], sd[P.ENAMEL_BIAS_MM] = enamel_bias_mm, enamel_bias_sd_mm
    sd[P.LOG_SIZE] = log_size_sd
    sd[P.PROFILE_OFFSET_MM], sd[P.PROFILE_SLOPE] = 20.0, np.deg2rad(10.0)
    low[P.FORWARD_MM], high[P.FORWARD_MM] = -25.0, 25.0
    return Prior(frozen(mean), frozen(sd), frozen(low), frozen(high))
