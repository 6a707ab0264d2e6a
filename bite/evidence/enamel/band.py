"""A dark band between two stretches of enamel on scan lines: where it starts and ends, and how dark it is."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from bite.geometry.rigid import Array

ENAMEL_LIGHT = 0.62
"""Enamel shows at least this share of the upper enamel's stored luminance; in linear light about a third."""
ENAMEL_REDNESS = 9.0
"""Enamel is at most this much redder (a*) than the upper enamel; lips and gums are redder by 10 to 25."""
_EDGE_TOLERANCE_MM = 1.0
_UPPER_MM = (-2.0, -0.9)
_LEAST_ENAMEL_MM = 0.7
_FAINTEST = 0.06


@dataclass(frozen=True, slots=True)
class Band:
    """One entry a scan line, arrays of shape (n,).

    Parameters
    ----------
    read : the line lies in the picture and starts on enamel
    found : a dark band was found
    open_end : no enamel follows to the end of the line
    width_px : between half-depth crossings, blur taken out, or ``black_px`` where that is more; 0 without a
    band, NaN at
        an open end
    black_px : least width that explains the depth: that of a black band, so blurred. All that is known of a
    band thinner
        than the blur
    darkness : 1 minus the band's luminance over that of the darker enamel beside it; 0 without a band
    followed_px : length of the line below the start of the band
    """

    read: NDArray[np.bool_]
    found: NDArray[np.bool_]
    open_end: NDArray[np.bool_]
    width_px: Array
    black_px: Array
    darkness: Array
    followed_px: Array


def measure_bands(
    light: Array,
    redness: Array | None,
    distances_px: Array,
    *,
    mm_per_px: float,
    blur_sigma_px: float,
) -> Band:
    """Measure the first dark band below the upper edge on each scan line.

    Parameters
    ----------
    light : array, shape (n, k)
        Luminance along the lines, from inside the upper enamel (negative distances) downwards.
    redness : array, shape (n, k), or None
        a* along the same lines; None for a gray picture.
    distances_px : array, shape (k,), px, evenly spaced; 0 at the clicked edge
    mm_per_px, blur_sigma_px : float
    """
    count = len(light)
    read, found, open_end = (np.zeros(count, bool) for _ in range(3))
    width, darkness, followed = np.zeros(count), np.zeros(count), np.full(count, np.nan)
    mm = distances_px * mm_per_px
    blur_mm = blur_sigma_px * mm_per_px
    shift_mm = max(0.0, 2 * blur_mm + _UPPER_MM[1])  # keep the levels clear of the blurred edge
    on_upper = (mm >= _UPPER_MM[0] - shift_mm) & (mm <= _UPPER_MM[1] - shift_mm)
    if not on_upper.any():
        return Band(read, found, open_end, width, width.copy(), darkness, followed)
    upper_light = np.median(light[:, on_upper], axis=1)
    # one level for all lines: a line that starts in a dark spot must not lower the bar for itself
    whole = np.asarray(np.isfinite(light).all(1))
    if not whole.any():
        return Band(read, found, open_end, width, width.copy(), darkness, followed)
    typical = float(np.median(upper_light[whole]))
    typical_redness = 0.0 if redness is None else float(np.median(redness[whole][:, on_upper]))
    for i in range(count):
        line = light[i]
        if not whole[i] or typical <= 0 or upper_light[i] < ENAMEL_LIGHT * typical:
            continue
        read[i] = True
        enamel = line >= ENAMEL_LIGHT * upper_light[i]
        if redness is not None:
            enamel &= redness[i] <= typical_redness + ENAMEL_REDNESS
        start, end = _span(line, enamel, mm)
        if start < 0:
            continue
        if end < 0:
            found[i] = open_end[i] = True
            followed[i] = distances_px[-1] - distances_px[start]
            darkness[i] = 1 - float(np.median(line[start:])) / upper_light[i]
            continue
        clear_mm = mm[end] + max(0.15, 2 * blur_mm)
        after = (mm > clear_mm) & (mm <= clear_mm + 1.0)
        lower_light = float(np.median(line[after])) if after.any() else float(line[end])
        inside = np.sort(line[start : end + 1])
        bottom = float(inside[: max(1, len(inside) // 4)].mean())
        depth = 1 - bottom / min(upper_light[i], lower_light)
        if depth < _FAINTEST:
            continue
        left = _crossing(line, distances_px, start, -1, 0.5 * (upper_light[i] + bottom))
        right = _crossing(line, distances_px, end, 1, 0.5 * (lower_light + bottom))
        if not right > left:
            continue
        found[i], darkness[i] = True, depth
        width[i] = right - left
    black = np.where(open_end, 0.0, black_width(darkness, blur_sigma_px))
    width = np.where(open_end, np.nan, np.maximum(unblurred(width, blur_sigma_px), black))
    return Band(read, found, open_end, width, black, darkness, followed)


def _span(line: Array, enamel: NDArray[np.bool_], mm: Array) -> tuple[int, int]:
    """Give first and last sample of the band; (-1, -1) without one, last -1 at an open end.

    A line too thin or faint to leave the enamel range is looked for as the darkest place near the edge.
    """
    near = np.flatnonzero(np.abs(mm) <= _EDGE_TOLERANCE_MM)
    least = max(1, round(_LEAST_ENAMEL_MM / (mm[1] - mm[0])))
    dark = near[~enamel[near]]
    if len(dark) == 0:
        # the ends of the stretch are no valley: a darkest place there is only the start of something else
        valley = int(near[np.argmin(line[near])])
        return (valley, valley) if near[0] < valley < near[-1] else (-1, -1)
    start = int(dark[0])
    after = enamel[start:].astype(int)
    run = np.convolve(after, np.ones(least, int), "valid") == least
    back = np.flatnonzero(run)
    if len(back) == 0:
        return start, -1
    return start, start + int(back[0]) - 1


def _crossing(line: Array, distances_px: Array, seed: int, step: int, level: float) -> float:
    """Give the place nearest to a seed sample where the line rises past a level in direction ``step``."""
    i = seed
    # the threshold that set the seed may lie above the half level: first walk into the band
    while 0 <= i - step < len(line) and line[i] > level:
        i -= step
        if abs(i - seed) > len(line) // 2:
            return float("nan")
    while 0 <= i + step < len(line) and line[i + step] <= level:
        i += step
    j = i + step
    if not 0 <= j < len(line) or line[j] == line[i]:
        return float(distances_px[i])
    share = (level - line[i]) / (line[j] - line[i])
    return float(distances_px[i] + share * (distances_px[j] - distances_px[i]))


def unblurred(measured_px: Array, sigma_px: float) -> Array:
    """Give the widths of boxes whose Gaussian-blurred images have the measured widths at half their depth.

    At half depth a box wider than four sigma keeps its width; a thin one never looks narrower than 2.355
    sigma.

    Examples
    --------
    >>> unblurred(np.array([0.0, 2.0, 2.5, 10.0]), 1.0).round(2)
    array([ 0. ,  0. ,  1.2, 10. ])
    """
    if not sigma_px > 0:
        return np.array(measured_px, float)
    boxes, looks = _box_table()
    ratio = np.asarray(measured_px, float) / sigma_px
    return np.where(ratio >= looks[-1], measured_px, np.interp(ratio, looks, boxes, left=0.0) * sigma_px)


def black_width(darkness: Array, sigma_px: float) -> Array:
    """Give the width of a black band that, blurred, is as dark at its middle as measured.

    Examples
    --------
    >>> black_width(np.array([0.0, 0.683]), 2.0).round(2)
    array([0., 4.])
    """
    from scipy import special

    share = np.clip(darkness, 0.0, 0.99)
    return np.asarray(2 * sigma_px * special.ndtri(0.5 * (1 + share)))


@cache
def _box_table() -> tuple[Array, Array]:
    """Tabulate box width against its blurred width at half depth, both in sigma."""
    from scipy import special

    boxes = np.linspace(0.02, 8.0, 400)
    x = np.linspace(0.0, 6.0, 1201)
    image = special.ndtr(x + boxes[:, None] / 2) - special.ndtr(x - boxes[:, None] / 2)
    below = image <= 0.5 * image[:, :1]
    at = below.argmax(1)
    row = np.arange(len(boxes))
    high, low = image[row, at - 1], image[row, at]
    share = (high - 0.5 * image[:, 0]) / (high - low)
    looks = 2 * (x[at - 1] + share * (x[1] - x[0]))
    return np.append(0.0, boxes), np.append(2 * np.sqrt(2 * np.log(2)), looks)
