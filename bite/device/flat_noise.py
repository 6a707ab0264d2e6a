"""Noise on a flat: its sd, how far it is correlated, the slow bend beneath it, ties between neighbours."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.device.plane import Plane
from bite.fit.linear import MAD_TO_SD
from bite.geometry.rigid import Array

Mask = NDArray[np.bool_]
_DEGREE = 3
"""A flat that is bent more than a cubic is no flat."""
_CUT_SD = 4.0
"""Readings farther off are left out of the noise: Gaussian ones are there once in 16,000."""
_WILD_SD = 8.0
"""And farther than this they are counted as wild."""
_LAGS = ((0, 1), (1, 0), (1, 1), (1, -1), (0, 2), (2, 0))
"""Neighbours along, across and aslant, and the next but one: enough to tell a length from a shape."""
_TILES = 4
"""The flat in four by four tiles, whose scatter gives the sds."""
_SIGNIFICANT = 2.0
"""A correlation below two of its sds is none (95 %)."""
_HIDDEN = 1 / 3
"""Rounding that is a third of the noise hides short correlations."""


@dataclass(frozen=True, slots=True)
class FlatNoise:
    """What one flat shows.

    Parameters
    ----------
    distance_mm : float, of the middle of the flat
    noise_mm, noise_sd_mm : float, sd of a reading, storage step included, and how well it is known
    correlation_px, correlation_sd_px : float
        Sd of the Gaussian that would make white noise so smooth, depth px; 0 for white noise.
    flatness_mm : float, rms of the slow residual
    wild_share : float, share of readings beyond 8 noise sds
    count : int, readings
    neighbour : float, correlation of neighbouring readings
    neighbour_sd : float
    """

    distance_mm: float
    noise_mm: float
    noise_sd_mm: float
    correlation_px: float
    correlation_sd_px: float
    flatness_mm: float
    wild_share: float
    count: int
    neighbour: float
    neighbour_sd: float


def flat_noise(depth_mm: Array, flat: Mask, plane: Plane, step_mm: float = 0.0) -> FlatNoise:
    """Measure the noise of a flat after its plane and a cubic bend are taken away.

    The correlation length c is fitted to the correlations at lags of one and two pixels, which are
    exp(-d^2 / 4c^2) for white noise under a Gaussian of sd c. Both sds come from leaving out each of 16 tiles
    in turn (delete-one jackknife).

    Parameters
    ----------
    depth_mm : array, shape (h, w), mm, NaN without a reading
    flat : array of bool, shape (h, w)
    plane : Plane
    step_mm : float
        Storage step there. Rounding to it adds step^2 / 12 of white noise, which is part of ``noise_mm`` and
        is kept out of the correlation.
    """
    residual, slow, kept, wild = residual_map(depth_mm, flat, plane)
    tiles = _tiles(kept)
    sums = _tile_sums(residual, kept, tiles)
    rounding = step_mm**2 / 12
    alone = [_figures(sums.sum(axis=0) - own, rounding) for own in sums]
    noise, length, neighbour = _figures(sums.sum(axis=0), rounding)
    spread = np.sqrt((len(alone) - 1) * np.var(alone, axis=0))
    count = int(kept.sum())
    noise *= np.sqrt(count / max(count - 10, 1))
    area = 1 + 4 * np.pi * length**2
    bend = float(np.mean(slow[kept] ** 2)) - 7 * noise**2 * area / count
    white = neighbour < _SIGNIFICANT * spread[2]
    # rounding that makes up a third of the noise or more hides how far the rest is correlated
    hidden = length if rounding > _HIDDEN * noise**2 else 0.02
    return FlatNoise(
        plane.middle_mm,
        float(noise),
        float(max(spread[0], noise / np.sqrt(2 * count))),
        0.0 if white else float(length),
        float(max(spread[1], hidden)) if not white else float(_length(max(2 * spread[2], 1e-6))),
        float(np.sqrt(max(bend, 0.0))),
        wild,
        count,
        float(neighbour),
        float(spread[2]),
    )


def residual_map(depth_mm: Array, flat: Mask, plane: Plane) -> tuple[Array, Array, Mask, float]:
    """Give noise and slow bend of a flat as maps, mm, the readings kept, and the share of wild ones."""
    off = depth_mm - plane.depth_mm(depth_mm.shape)
    y, x = np.nonzero(flat & np.isfinite(off))
    u = (x - x.mean()) / max(np.ptp(x) / 2, 1.0)
    v = (y - y.mean()) / max(np.ptp(y) / 2, 1.0)
    powers = [(a, b) for a in range(_DEGREE + 1) for b in range(_DEGREE + 1 - a)]
    design = np.column_stack([u**a * v**b for a, b in powers])
    values = off[y, x]
    kept = np.ones(len(values), dtype=bool)
    bend, spread = np.zeros(len(values)), 0.0
    for _ in range(5):
        bend = design @ np.linalg.lstsq(design[kept], values[kept], rcond=None)[0]
        off = values - bend
        # the median of rounded values may be 0: half the plain sd then stands in
        spread = max(MAD_TO_SD * float(np.median(np.abs(off))), 0.5 * float(np.std(off[kept])))
        kept = np.abs(values - bend) <= max(_CUT_SD * spread, 1e-9)
    wild = float(np.mean(np.abs(values - bend) > max(_WILD_SD * spread, 1e-9)))
    noise, slow = (np.full(depth_mm.shape, np.nan) for _ in range(2))
    noise[y, x], slow[y, x] = values - bend, bend
    used = np.zeros(depth_mm.shape, dtype=bool)
    used[y[kept], x[kept]] = True
    return noise, slow, used, wild


def _tiles(kept: Mask) -> NDArray[np.int64]:
    y, x = np.nonzero(kept)
    tiles = np.zeros(kept.shape, dtype=np.int64)
    row = (y - y.min()) * _TILES // max(np.ptp(y) + 1, 1)
    column = (x - x.min()) * _TILES // max(np.ptp(x) + 1, 1)
    tiles[y, x] = row * _TILES + column
    return tiles


def _tile_sums(residual: Array, kept: Mask, tiles: NDArray[np.int64]) -> Array:
    """Give for each tile the sums of products and their counts, at no lag and at each lag."""
    value = np.where(kept, residual, 0.0)
    columns = []
    for dy, dx in ((0, 0), *_LAGS):
        there = np.roll(value, (-dy, -dx), axis=(0, 1))
        both = kept & np.roll(kept, (-dy, -dx), axis=(0, 1))
        both[both.shape[0] - dy :] = False
        if dx:
            both[:, both.shape[1] - dx if dx > 0 else 0 : None if dx > 0 else -dx] = False
        columns.append(np.bincount(tiles[both], (value * there)[both], _TILES**2))
        columns.append(np.bincount(tiles[both], minlength=_TILES**2).astype(float))
    table = np.column_stack(columns).astype(np.float64)
    return np.asarray(table[table[:, 1] > 0])


def _figures(sums: Array, rounding: float) -> tuple[float, float, float]:
    """Give noise sd, correlation length and the correlation of neighbours from sums of products."""
    products, counts = sums[0::2], np.maximum(sums[1::2], 1.0)
    variance = products[0] / counts[0]
    if variance <= 0:
        return 0.0, 0.0, 0.0
    # where rounding is most of the noise, nothing can be said of what lies beneath it
    rho = products[1:] / counts[1:] / (variance - rounding if variance > 2 * rounding else variance)
    lags = np.hypot(*np.array(_LAGS, dtype=float).T)
    lengths = np.linspace(0.2, 6.0, 581)
    misfit = (np.exp(-(lags**2) / (4 * lengths[:, None] ** 2)) - rho) ** 2
    return float(np.sqrt(variance)), float(lengths[misfit.sum(axis=1).argmin()]), float(rho[:2].mean())


def _length(neighbour: float) -> float:
    """Give the correlation length at which neighbours are so correlated, px."""
    return float(np.sqrt(-1 / (4 * np.log(min(neighbour, 0.99)))))


def grain_mm(depth_mm: Array, flat: Mask) -> float | None:
    """Give the step between the values that a flat holds, mm; None where they lie on no regular steps."""
    values = depth_mm[flat & np.isfinite(depth_mm)]
    unique = np.unique(values)
    if len(unique) < 3 or len(unique) > 0.5 * len(values):
        return None
    gaps = np.diff(unique)
    step = float(np.percentile(gaps, 10))
    whole = gaps / step
    even = np.abs(whole - np.round(whole)) < 0.1 * np.maximum(np.round(whole), 1)
    return step if np.mean(even) > 0.9 else None
