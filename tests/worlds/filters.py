"""What sensors do to their own maps: Gaussian, box, median, edge-preserving, block-matching.

All take a map with NaN for no reading and weigh what there is; a pixel without a reading stays without.
"""

from __future__ import annotations

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, uniform_filter1d

from tests.worlds.description import Filter

Array = NDArray[np.float64]

_BLOCK_LIKE_MM = 0.8
_BLOCK_STEP_MM = 4.0
_BLOCK_NEAR_PULL = 2.3
"""A surface nearer by a step counts 3.3 times: it then grows by 2 px in blocks of 7 (our choice)."""
_EDGE_SD_MM = 1.5


def filtered(depth_mm: Array, kind: Filter, width_px: float) -> Array:
    """Filter a map.

    Parameters
    ----------
    depth_mm : array, shape (h, w), NaN for no reading
    width_px : float
        Standard deviation of the Gaussian and of the edge-preserving filter; full width, rounded to odd for
        median and block matching, of the others; 0 is no filter.
    """
    if width_px <= 0.0:
        return depth_mm
    seen = np.isfinite(depth_mm)
    if kind is Filter.GAUSS:
        found = _normalised(depth_mm, seen, lambda a: gaussian_filter(a, width_px, truncate=5.0))
    elif kind is Filter.BOX:
        found = _normalised(depth_mm, seen, lambda a: _box(_box(a, width_px, 0), width_px, 1))
    elif kind is Filter.MEDIAN:
        found = _by_rows(depth_mm, _odd(width_px), _median)
    elif kind is Filter.BILATERAL:
        found = _bilateral(depth_mm, width_px)
    else:
        found = _by_rows(depth_mm, _odd(width_px), _winner)
    return np.where(seen, found, np.nan)


def smoothing_px(kind: Filter, width_px: float) -> float | None:
    """Give the sd of the Gaussian with a filter's variance; None where a filter has none."""
    if kind is Filter.GAUSS:
        return width_px
    return width_px / float(np.sqrt(12.0)) if kind is Filter.BOX else None


def _normalised(depth_mm: Array, seen: NDArray[np.bool_], blur) -> Array:  # type: ignore[no-untyped-def]  # handed in
    return blur(np.where(seen, depth_mm, 0.0)) / np.maximum(blur(seen.astype(float)), 1e-9)


def _box(values: Array, width: float, axis: int) -> Array:
    """Mean over a width that need not be whole: the outermost pixels count in part."""
    inner = int(2 * np.floor((width - 1.0) / 2.0) + 1)
    part = (width - inner) / 2.0
    total = uniform_filter1d(values, inner, axis) * inner
    wide = uniform_filter1d(values, inner + 2, axis) * (inner + 2)
    return (total + part * (wide - total)) / width


def _odd(width_px: float) -> int:
    return 2 * round((width_px - 1.0) / 2.0) + 1


def _by_rows(depth_mm: Array, side: int, choose) -> Array:  # type: ignore[no-untyped-def]  # handed in
    """Apply a choice among the values of a window about each pixel, a few rows at a time."""
    half = side // 2
    windows = sliding_window_view(np.pad(depth_mm, half, constant_values=np.nan), (side, side))
    found = np.full_like(depth_mm, np.nan)
    for top in range(0, len(depth_mm), 32):
        block = windows[top : top + 32]
        found[top : top + 32] = choose(block.reshape(*block.shape[:2], -1))
    return found


def _median(values: Array) -> Array:
    # NaN sorts last: the middle of what there is
    ordered = np.sort(values, axis=-1)
    count = np.isfinite(values).sum(axis=-1)
    low, high = np.maximum((count - 1) // 2, 0), count // 2
    pick = [np.take_along_axis(ordered, k[..., None], -1)[..., 0] for k in (low, np.minimum(high, 10**6))]
    return 0.5 * (pick[0] + pick[1])


def _winner(values: Array) -> Array:
    """The depth that most of a window shares, nearer surfaces preferred: what matching blocks finds.

    The outline of a near surface is what a block of a picture is matched by, so that it wins blocks of
    which it fills less than half: foreground grows over background. On a smooth surface the middle wins.
    """
    ordered = np.sort(values, axis=-1)
    count = np.isfinite(values).sum(axis=-1)
    own = values[..., values.shape[-1] // 2]
    best, votes = np.full(values.shape[:-1], np.nan), np.full(values.shape[:-1], -np.inf)
    for rank in (None, *np.linspace(0.04, 0.96, 9)):
        if rank is None:
            candidate = own[..., None]
        else:
            at = np.clip((rank * (count - 1)).astype(int), 0, values.shape[-1] - 1)
            candidate = np.take_along_axis(ordered, at[..., None], -1)
        near = np.abs(values - candidate) < _BLOCK_LIKE_MM
        total = near.sum(axis=-1)
        mean = np.where(near, values, 0.0).sum(axis=-1) / np.maximum(total, 1)
        before = own - candidate[..., 0]
        pull = _BLOCK_NEAR_PULL * (before > _BLOCK_STEP_MM) + 0.25 * np.exp(-((before / _BLOCK_LIKE_MM) ** 2))
        score = total * (1.0 + pull)
        better = (score > votes) & (total > 0)
        best, votes = np.where(better, mean, best), np.where(better, score, votes)
    return best


def _bilateral(depth_mm: Array, sd_px: float) -> Array:
    half = int(np.ceil(2.5 * sd_px))
    padded = np.pad(depth_mm, half, constant_values=np.nan)
    total, weight = np.zeros_like(depth_mm), np.zeros_like(depth_mm)
    rows, columns = depth_mm.shape
    for down in range(-half, half + 1):
        for right in range(-half, half + 1):
            other = padded[half + down : half + down + rows, half + right : half + right + columns]
            if down**2 + right**2 > half**2:
                continue
            own = np.exp(-0.5 * (down**2 + right**2) / sd_px**2)
            w = own * np.exp(-0.5 * ((other - depth_mm) / _EDGE_SD_MM) ** 2)
            w = np.where(np.isfinite(other), w, 0.0)
            total += w * np.where(np.isfinite(other), other, 0.0)
            weight += np.nan_to_num(w)
    return total / np.maximum(weight, 1e-12)
