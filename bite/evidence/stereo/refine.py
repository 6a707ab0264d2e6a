"""How far a patch of one picture is shifted in the other: least squares on grey levels, to a hundredth pixel.

In each patch the left picture minus the shifted right one is explained by gradient times shift and a
difference in brightness, strong edges held down so that texture counts evenly. The shift is found against a
map smoothed by local planes over twice the patch, in each round anew: against a pixel's own last value, the
rounds would undo the patch's average and let the noise grow.
Source: Lucas & Kanade 1981, An iterative image registration technique (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.evidence.stereo.row_spline import sample_rows
from bite.geometry.rigid import Array

PATCH_SD_PX = 2.5
"""A patch counts by a Gaussian of this sd, about 9 px across: it is what the map is blurred by."""
EVEN_SD_PX, EVEN_SHARE = 1.0, 0.5
"""Gradient is evened out over this much of a patch, from this share of what is usual in the pictures on: one
strong edge would otherwise give its own depth to all that lies around it."""
PLANE_SD_PX = 3.0
"""The surface is taken as flat over a patch of this sd."""
WIDE_PX = 10.0
"""Light of both pictures is evened over a wider patch than is matched."""
JUMP_PX = 1.5
"""Neighbours further apart than this lie on two surfaces: a patch must not reach over such a step."""
STEP_REACH_PX = 3
"""Steps are smoothed over so many pixels to either side, or grain would steer them."""
ROUNDS = 3
"""Rounds of least squares, each of which squares what is left (our choice)."""
_STEP_PX = 1.0
"""No step farther than a pixel: grey levels are straight over no more than that."""
_GAIN = 1.6
"""One camera may see this much more contrast than the other; beyond it something else is seen."""


@dataclass(frozen=True, slots=True)
class Shifts:
    """Disparities of patches and what they rest on, shape (h, w), NaN or 0 outside ``known``.

    Parameters
    ----------
    disparity_px : shift of the patch round each pixel
    gradient : d(left - right)/d(disparity) at each pixel, less the patch's mean, grey levels per px
    residual : what the shift leaves of the difference, grey levels
    weight : how much each pixel counts in its patches, 0 to 1: strong edges are held down
    energy : mean product of both pictures' gradients over the patch
    spread_energy : mean square of the left one's, with squared weights of the patch, which scatter needs
    plane_px : the smoothed map that the last round started from
    known : pixels with a starting value
    """

    disparity_px: Array
    gradient: Array
    residual: Array
    weight: Array
    energy: Array
    spread_energy: Array
    plane_px: Array
    known: NDArray[np.bool_]


def blurred(image: Array, sd_px: float = PATCH_SD_PX) -> Array:
    """Give an image weighted over a patch, nothing outside it."""
    import cv2

    return np.asarray(
        cv2.GaussianBlur(np.asarray(image, np.float64), (0, 0), sd_px, borderType=cv2.BORDER_CONSTANT)
    )


def refined(left: Array, right: Array, start_px: Array) -> Shifts:
    """Refine disparities.

    Parameters
    ----------
    left, right : arrays, shape (h, w), grey levels, NaN for nothing seen
    start_px : array, shape (h, w), within a pixel or so, NaN for none
    """
    from scipy.ndimage import spline_filter1d

    started = np.isfinite(start_px) & np.isfinite(left) & ~beside_step(start_px)
    # nothing outside of what is known enters any sum
    box = box_of(started)
    known = started[box]
    filled = [np.where(np.isfinite(p), p, np.nanmedian(p))[box[0]] for p in (left, right)]
    left_rows, right_rows = (spline_filter1d(p, 3, axis=1, mode="mirror") for p in filled)
    columns = np.broadcast_to(np.arange(left.shape[1], dtype=np.float64)[box[1]], known.shape)
    left_value, left_slope = sample_rows(left_rows, columns)
    seen = np.isfinite(right[box[0]]).astype(np.float64)
    disparity = np.where(known, start_px[box], 0.0)
    for _ in range(ROUNDS):
        plane, slope = local_plane(disparity, known)
        moved, moved_slope = sample_rows(right_rows, columns - plane)
        known = known & _taken(seen, columns - plane)
        gain = _gain(left_value, moved, known)
        difference = np.where(known, left_value - gain * moved, 0.0)
        gradient = np.where(known, -left_slope / np.clip(1.0 - slope, 0.3, 3.0), 0.0)
        other = np.where(known, -gain * moved_slope, 0.0)
        sums = _sums(gradient, other, difference, known)
        disparity = np.where(known, plane + np.clip(sums.step_px, -_STEP_PX, _STEP_PX), 0.0)
    own = 0.5 * (gradient - sums.mean_gradient + other - sums.mean_other)

    def whole(part: Array, outside: float) -> Array:
        out = np.full(started.shape, outside)
        out[box] = part
        return out

    return Shifts(
        whole(np.where(known, disparity, np.nan), np.nan),
        whole(np.where(known, own, 0.0), 0.0),
        whole(np.where(known, difference - sums.mean_difference - sums.step_px * own, 0.0), 0.0),
        whole(sums.weight, 0.0),
        whole(sums.energy, 0.0),
        whole(sums.spread(gradient), 0.0),
        whole(np.where(known, plane, np.nan), np.nan),
        whole(known.astype(np.float64), 0.0) > 0,
    )


def box_of(known: NDArray[np.bool_]) -> tuple[slice, slice]:
    """Give the rows and columns that hold all that is known; the first pixel where nothing is."""
    rows, columns = (np.flatnonzero(known.any(axis)) for axis in (1, 0))
    if not rows.size:
        return slice(0, 1), slice(0, 1)
    return slice(int(rows[0]), int(rows[-1]) + 1), slice(int(columns[0]), int(columns[-1]) + 1)


@dataclass(frozen=True, slots=True)
class _Sums:
    """Weighted means over each pixel's patch."""

    weight: Array
    total: Array
    mean_gradient: Array
    mean_other: Array
    mean_difference: Array
    energy: Array
    step_px: Array

    def spread(self, gradient: Array) -> Array:
        """Give the sum of squares of what each pixel's noise does to the shift, times the energy squared."""
        narrow = PATCH_SD_PX / np.sqrt(2.0)
        squared = self.weight**2
        mean = self.mean_gradient
        spread = blurred(squared * gradient**2, narrow) - 2.0 * mean * blurred(squared * gradient, narrow)
        spread += mean**2 * blurred(squared, narrow)
        return np.maximum(spread, 0.0) / (4.0 * np.pi * PATCH_SD_PX**2) / self.total**2


def _sums(gradient: Array, other: Array, difference: Array, known: NDArray[np.bool_]) -> _Sums:
    """Take the sums over each patch, strong edges held down.

    The difference is held against the left picture's gradient, read at whole pixels, where its noise has
    nothing to do with that of the values. The right one's is read in between, where it has, and would pull
    every shift towards whole pixels. The product of both gradients is free of noise.
    """
    share = np.maximum(blurred(known.astype(np.float64), EVEN_SD_PX), 1e-6)
    near = np.maximum(blurred(gradient * other, EVEN_SD_PX), 0.0) / share
    typical = max(float(np.median(near[known])), 1e-3) if known.any() else 1.0
    weight = np.where(known, 1.0 / (1.0 + near / (EVEN_SHARE * typical)), 0.0)
    total = np.maximum(blurred(weight), 1e-9)
    mean_gradient, mean_other, mean_difference = (
        blurred(weight * image) / total for image in (gradient, other, difference)
    )
    energy = blurred(weight * gradient * other) / total - mean_gradient * mean_other
    both = blurred(weight * gradient * difference) / total - mean_gradient * mean_difference
    step = both / np.maximum(energy, 1e-6)
    return _Sums(weight, total, mean_gradient, mean_other, mean_difference, energy, step)


def beside_step(disparity_px: Array) -> NDArray[np.bool_]:
    """Tell which pixels have a step between two surfaces within reach of their patch."""
    import cv2

    known = np.isfinite(disparity_px)
    box = np.ones((3, 3), np.uint8)
    high = cv2.dilate(np.where(known, disparity_px, -1e6), box)
    low = cv2.erode(np.where(known, disparity_px, 1e6), box)
    step = known & (high - low > JUMP_PX)
    reach = 2 * STEP_REACH_PX + 1
    return np.asarray(cv2.dilate(step.astype(np.uint8), np.ones((reach, reach), np.uint8)) > 0)


def local_plane(values: Array, known: NDArray[np.bool_]) -> tuple[Array, Array]:
    """Smooth a map by the plane that fits it best round each pixel; also give that plane's slope along x.

    Values are taken from where they are known alone, so that a plane at the rim of a hole is not pulled in.
    Where too little is known for a plane, the mean stands in for it.
    """
    middle = float(np.median(values[known])) if known.any() else 0.0
    y, x = (np.arange(n) - 0.5 * (n - 1) for n in values.shape)
    x, y = x[None], y[:, None]
    weight = known.astype(np.float64)
    value = np.where(known, values - middle, 0.0)
    n, sx, sy, sxx, sxy, syy, sv, sxv, syv = (
        blurred(part, PLANE_SD_PX)
        for part in (
            weight, weight * x, weight * y, weight * x * x, weight * x * y, weight * y * y,
            value, value * x, value * y,
        )
    )  # fmt: skip
    n = np.maximum(n, 1e-9)
    mx, my, mv = sx / n, sy / n, sv / n
    cxx, cxy, cyy = sxx / n - mx * mx, sxy / n - mx * my, syy / n - my * my
    cxv, cyv = sxv / n - mx * mv, syv / n - my * mv
    # a floor keeps the plane of a thin sliver of pixels from tilting at will
    cxx, cyy = cxx + 0.5, cyy + 0.5
    det = cxx * cyy - cxy * cxy
    slope_x, slope_y = (cyy * cxv - cxy * cyv) / det, (cxx * cyv - cxy * cxv) / det
    return middle + mv + slope_x * (x - mx) + slope_y * (y - my), slope_x


def _taken(seen: Array, columns: Array) -> NDArray[np.bool_]:
    """Tell where the right picture holds the places looked at."""
    width = seen.shape[1]
    inside = (columns >= 1) & (columns <= width - 3)
    near = np.clip(np.rint(columns), 0, width - 1).astype(np.int64)
    return np.asarray(inside & (np.take_along_axis(seen, near, axis=1) > 0))


def _gain(left: Array, moved: Array, use: NDArray[np.bool_]) -> Array:
    """Give the contrast of the left picture over that of the right one, from a wide surrounding."""
    total = np.maximum(blurred(use.astype(np.float64), WIDE_PX), 1e-6)
    spread = []
    for picture in (left, moved):
        kept = np.where(use, picture, 0.0)
        mean = blurred(kept, WIDE_PX) / total
        spread.append(np.maximum(blurred(kept**2, WIDE_PX) / total - mean**2, 0.0))
    return np.clip(np.sqrt((spread[0] + 1.0) / (spread[1] + 1.0)), 1.0 / _GAIN, _GAIN)
