"""Which single click all others speak against: named by corner and view.

Two views alone cannot tell which of two clicks is off: a shift across the epipolar line shows half in each,
and one along it shows as depth only. The solved model ties the corners together, so that each click can be
held against what all others and the model put there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bite.fit.corner_block import CornerBlock, Use
from bite.geometry.rigid import Array

_LEAST_LEFT = 0.05
"""Least share of a click's variance that is taken to be left beside what it decides by itself."""


@dataclass(frozen=True, slots=True)
class ClickFault:
    """One click held against the rest.

    Parameters
    ----------
    view, name : str
    off_px : float, how far the click lies from where the rest puts it
    off_sd : float, the same in sds, all others and the model taken into account
    chance : float, of one so far off among all clicks of the frame, where none is wrong
    """

    view: str
    name: str
    off_px: float
    off_sd: float
    chance: float


def worst_click(block: CornerBlock, parameters: Array, covariance: Array) -> ClickFault | None:
    """Find the click that lies farthest off for what it should be; None without corners or landmarks.

    Each residual is held against its own covariance, which is smaller than the click's where the click
    itself decides (data snooping after Baarda 1968, from memory), and carried back to how far the click
    itself must be off to leave it.

    Parameters
    ----------
    block : CornerBlock
    parameters, covariance : array, shape (n,) and (n, n), of the fit, for the unknowns that the block sees
    """
    from scipy.special import chdtrc

    found: list[ClickFault] = []
    count = 0
    for clicks in block.views:
        pixels, slopes = block.seen(clicks, parameters)
        for k, name in enumerate(clicks.names):
            if clicks.use[k] == Use.BOUND:
                continue
            count += 1
            variance = float(clicks.sigma_px[k]) ** 2
            decided = slopes[k] @ covariance @ slopes[k].T
            off = clicks.pixels[k] - pixels[k]
            # a far click counts less in the fit (Huber), and so decides less of its own place
            weight = min(1.0, 1.345 / max(float(np.hypot(*off)) / clicks.sigma_px[k], 1e-12))
            left = _floored(np.eye(2) - weight * decided / variance)
            standing = float(off @ np.linalg.solve(left, off)) / variance
            itself = np.linalg.solve(left, off)
            off_px, chance = float(np.hypot(*itself)), float(chdtrc(2, standing))
            found.append(ClickFault(clicks.view, name, off_px, float(np.sqrt(standing)), chance))
    if not found:
        return None
    worst = max(found, key=lambda fault: fault.off_sd)
    return ClickFault(worst.view, worst.name, worst.off_px, worst.off_sd, min(1.0, count * worst.chance))


def _floored(matrix: Array) -> Array:
    powers, axes = np.linalg.eigh(0.5 * (matrix + matrix.T))
    return np.asarray((axes * np.maximum(powers, _LEAST_LEFT)) @ axes.T)
