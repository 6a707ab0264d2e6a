"""Which filter explains the steps of a depth map, and by how many pixels it leaves them unexplained."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bite.evidence.depth.cover import DepthCover
from bite.fit.depth_learned import left_at_steps_px
from bite.fit.offset import OffsetFit
from bite.fit.parameters import P
from bite.fit.smoothing import Kind, SensorFilter


@dataclass(frozen=True, slots=True)
class FilterFound:
    """The sensor's filter as the fit has it.

    Parameters
    ----------
    sensor : SensorFilter
    told_as : str, in words, with its blur
    by_device : bool, the device's table names the kind
    left_px : float or None, shift of map against model that would explain what is left at steps; None where
        there are too few
    strip_px : float or None, height of the strip of enamel, depth px
    """

    sensor: SensorFilter
    told_as: str
    by_device: bool
    left_px: float | None
    strip_px: float | None


def filter_found(fit: OffsetFit, cover: DepthCover | None) -> FilterFound | None:
    """Read the filter of a fit; None without a depth map.

    Parameters
    ----------
    fit : OffsetFit
    cover : DepthCover or None
    """
    block = fit.depth_block
    if block is None:
        return None
    seen = fit.solution.seen[fit.solution.number_of(block)]
    told = str(block.sensor)
    if block.sensor.kind is Kind.GAUSS:
        own = fit.solution.columns[fit.solution.number_of(block)][block.boxy_place]
        boxy, sd = float(fit.solution.parameters[own]), float(np.sqrt(fit.solution.bread[own, own]))
        told = "a box" if boxy > 0.5 and boxy > 2.0 * sd else "a Gaussian"
    if block.sensor.kind is Kind.BOX:
        told = "a box"
    if block.sensor.kind in (Kind.GAUSS, Kind.BOX):
        told += f" of sd {fit.solution.parameters[P.SMOOTHING_PX]:.1f} px"
    if block.sensor.kind is Kind.EDGE_PRESERVING:
        told = "a filter that keeps edges"
    strip = None if cover is None else cover.strip_px
    return FilterFound(block.sensor, told, block.told, left_at_steps_px(block, seen), strip)
