"""What `bite.fit.noise` says of a map, worked out the long way: every pair of pixels, every entry of C.

Shares no code with the product: no FFT, no filter of scipy's, no grid of lags. The constants stand here again
as numbers, so that a changed one is noticed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

WAVE_MM, TAPER_MM = 6.0, 14.0
LEAST_PAIRS = 30
LEAST_SHARE = 0.05
MAD = 1.482602219  # 1 / (normal quantile of 3/4), the value of reference/robust_constants.toml

Lag = tuple[int, int]
Form = Callable[[Lag], float]


@dataclass(frozen=True)
class Dense:
    """Scale, length and lobe of the noise, and its correlation at every lag of the padded grid."""

    skin_sd_mm: float
    length_px: float
    inflation: float
    short: np.ndarray
    whole: np.ndarray


def scatter_about_median(values: np.ndarray) -> float:
    return MAD * float(np.median(np.abs(values - np.median(values))))


def without_waves(values: np.ndarray, places: np.ndarray, width_px: float) -> np.ndarray:
    """Less the Gaussian mean over all other places, cut at three sds along each axis; values (n,)."""
    limit = 6.0 * scatter_about_median(values)
    away = places[:, None, :] - places[None, :, :]
    weight = np.exp(-0.5 * (away**2).sum(2) / width_px**2)
    weight[(np.abs(away) > int(3.0 * width_px + 0.5)).any(2)] = 0.0
    return values - weight @ np.clip(values, -limit, limit) / weight.sum(1)


def pair_means(values: np.ndarray, places: np.ndarray) -> dict[Lag, float]:
    """Mean product of all pairs of pixels at each lag that more than thirty pairs have, both ways round."""
    row, column = (places[:, None, k] - places[None, :, k] for k in (0, 1))
    far_y, far_x = int(row.max()), int(column.max())
    total = np.zeros((2 * far_y + 1, 2 * far_x + 1))
    count = np.zeros_like(total)
    np.add.at(total, (row + far_y, column + far_x), np.outer(values, values))
    np.add.at(count, (row + far_y, column + far_x), 1.0)
    return {
        (int(y) - far_y, int(x) - far_x): float(total[y, x] / count[y, x])
        for y, x in np.argwhere(count > LEAST_PAIRS)
    }


def shortest(k: int, size: int) -> int:
    return k if k <= size // 2 else k - size


def on_grid(means: dict[Lag, float], padded: Lag) -> np.ndarray:
    """Lay lags on the ring that the product uses, zero where nothing is known."""
    out = np.zeros(padded)
    for (dy, dx), mean in means.items():
        out[dy % padded[0], dx % padded[1]] = mean
    return out


def distances(padded: Lag) -> np.ndarray:
    return np.array(
        [[np.hypot(shortest(y, padded[0]), shortest(x, padded[1])) for x in range(padded[1])]
         for y in range(padded[0])]
    )  # fmt: skip


def restored(means: dict[Lag, float], padded: Lag, mm_per_px: float, reach_mm: float) -> np.ndarray:
    """Give back what lies below zero about the reach, fade out at one and a half reaches, cut what is < 0."""
    away_mm = distances(padded) * mm_per_px
    ring = [
        mean for (dy, dx), mean in means.items() if 0.75 < np.hypot(dy, dx) * mm_per_px / reach_mm < 1.25
    ]
    taken = max(0.0, -float(np.mean(ring))) if ring else 0.0
    fade = np.where(away_mm < 1.5 * reach_mm, np.cos(np.pi / 3.0 * away_mm / reach_mm) ** 2, 0.0)
    return positive((on_grid(means, padded) + taken) * fade)


def given_back(means: dict[Lag, float], padded: Lag, mm_per_px: float) -> np.ndarray:
    """Fade out at one and a half reaches and divide each power by what a white field would keep of it.

    A white field less its Gaussian mean is correlated as a point less twice a Gaussian plus a Gaussian wider
    by the root of two.
    """
    away_px = distances(padded)
    reach = away_px * mm_per_px / WAVE_MM
    fade = np.where(reach < 1.5, np.cos(np.pi / 3.0 * reach) ** 2, 0.0)
    width = WAVE_MM / mm_per_px

    def gaussian(sd_px: float) -> np.ndarray:
        total = np.zeros(padded)
        for far_y in range(-3, 4):  # round the ring
            for far_x in range(-3, 4):
                y, x = (np.arange(n) + far * n for n, far in zip(padded, (far_y, far_x), strict=True))
                total += np.exp(-0.5 * (y[:, None] ** 2 + x[None, :] ** 2) / sd_px**2)
        return total / (2.0 * np.pi * sd_px**2)

    kept = 1.0 * (away_px == 0.0) - 2.0 * gaussian(width) + gaussian(np.sqrt(2.0) * width)
    one, two = (np.exp(-2j * np.pi * np.outer(np.arange(n), np.arange(n)) / n) for n in padded)
    power, share = ((one @ field @ two.T).real for field in (on_grid(means, padded) * fade, kept * fade))
    power = np.maximum(power / np.maximum(share, LEAST_SHARE), 0.0)
    return np.asarray((one.conj().T @ power @ two.conj()).real / power.size)


def positive(correlation: np.ndarray) -> np.ndarray:
    """Cut the negative powers of an even field on a ring: transforms written out as matrices."""
    one, two = (np.exp(-2j * np.pi * np.outer(np.arange(n), np.arange(n)) / n) for n in correlation.shape)
    power = np.maximum((one @ correlation @ two.T).real, 0.0)
    return np.asarray((one.conj().T @ power @ two.conj()).real / correlation.size)


def length_px(short: np.ndarray, away_px: np.ndarray) -> float:
    """First crossing of 1/e by the ring means, on a straight line between rings."""
    ring = np.rint(away_px).astype(int)
    before = 1.0
    for k in range(ring.max() + 1):
        mean = float(short[ring == k].mean())
        if mean < np.exp(-1.0):
            return k - 1 + (before - np.exp(-1.0)) / (before - mean)
        before = mean
    raise AssertionError("this correlation never falls")


def dense_noise(
    residual_mm: np.ndarray, skin: np.ndarray, *, mm_per_px: float, floor_mm: float, padded: Lag
) -> Dense:
    """Work out what `map_noise` must say of skin; ``padded`` is the only thing taken from it."""
    places = np.argwhere(skin)
    values = residual_mm[skin]
    quick = without_waves(values, places, WAVE_MM / mm_per_px)
    sd = max(scatter_about_median(quick), floor_mm)
    clipped = np.clip(quick, -3.0 * sd, 3.0 * sd)
    slow = values - quick
    short = pair_means(clipped, places)
    whole = pair_means(clipped + slow - np.median(slow), places)
    away = distances(padded)
    shape = on_grid(short, padded) / short[0, 0]
    length = length_px(shape, away)
    lobe = np.maximum(shape, 0.0)[away <= max(3.0 * length, 1.0)].sum()
    scaled = ({lag: mean / sd**2 for lag, mean in means.items()} for means in (short, whole))
    first, second = scaled
    one, two = given_back(first, padded, mm_per_px), restored(second, padded, mm_per_px, TAPER_MM)
    return Dense(sd, length, max(1.0, float(lobe)), one, two)


def dense_meat(maps: np.ndarray, correlation: np.ndarray) -> np.ndarray:
    """M C M' with the n x n matrix C written out, over all pixels that the maps (k, h, w) look at."""
    seen = (maps != 0.0).any(0)
    places = np.argwhere(seen)
    row, column = (places[:, None, k] - places[None, :, k] for k in (0, 1))
    matrix = correlation[row % correlation.shape[0], column % correlation.shape[1]]
    flat = maps[:, seen]
    return np.asarray(flat @ matrix @ flat.T)
