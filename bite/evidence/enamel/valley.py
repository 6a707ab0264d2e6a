"""The first dark valley below the upper enamel on scan lines: where it lies, how dark and how wide it is."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from bite.geometry.rigid import Array

READABLE = 0.62
"""A line starts on enamel when it is at least this share of what its fellows start with."""
RISE = 0.07
"""A line that rises again by this share of the enamel's luminance has passed the bottom of its valley."""
BORDER = 0.12
"""Within 0.6 mm the far side of a valley rises by this share, or it is no border but shade on a lip."""
SHADE_MM, SHADE_LEFT = 1.8, 0.4
"""A valley wider than this that has not fallen to 0.4 of its depth soon after the edge is shade: the
dark of an open mouth begins at once below the edge (our choice)."""
_BORDER_MM, _FOLLOW_MM = 0.6, 1.5
"""A border is this steep in photographs that are sharp enough; what follows it is read within the second
(our choice)."""
_UPPER_MM = (-1.8, -0.7)
"""Clear of the edge, and within the thinnest strip of enamel that is worth a frame."""
_EDGE_MM = 1.6
"""Crowns end this near below the straight line between their clicked corners: 0.7 mm at most in 22 real
mouths."""
_NEVER = 0.12
"""Shallower than this share is shading of one surface: the shallowest edge of 22 real mouths is 0.22 deep
(our choice)."""


@dataclass(frozen=True, slots=True)
class Valleys:
    """One entry a scan line, arrays of shape (n,).

    Parameters
    ----------
    read : the line lies in the picture as far as is looked, and starts on enamel
    enamel : its luminance
    found : a valley follows
    bordered : the valley has a far side that rises steeply
    bottom : its darkest luminance, as a share of the enamel's
    width_mm : between the places half way up its two sides, blur taken out; NaN without a far side
    end_mm : where its far side is half way up; without one where the upper enamel ends, or the clicked edge
    """

    read: NDArray[np.bool_]
    enamel: Array
    found: NDArray[np.bool_]
    bordered: NDArray[np.bool_]
    bottom: Array
    width_mm: Array
    end_mm: Array


def find_valleys(light: Array, mm: Array, *, blur_mm: float, clear_mm: float = 0.0) -> Valleys:
    """Walk down each scan line until it has risen again.

    Parameters
    ----------
    light : array, shape (n, k), luminance from inside the upper enamel downwards
    mm : array, shape (k,), evenly spaced; 0 at the clicked edge
    blur_mm : float, sd of the picture's edges
    clear_mm : float, how much farther inside the enamel's level is read
    """
    count = len(light)
    step = float(mm[1] - mm[0])
    on_upper = (mm >= _UPPER_MM[0] - clear_mm) & (mm <= _UPPER_MM[1] - clear_mm)
    enamel = np.median(light[:, on_upper], axis=1) if on_upper.any() else np.full(count, np.nan)
    whole = np.isfinite(light).all(1)
    typical = float(np.median(enamel[whole])) if whole.any() else 0.0
    read = whole & (enamel >= READABLE * typical) & (typical > 4.0)
    found, bordered = np.zeros(count, bool), np.zeros(count, bool)
    bottom, width, end = np.ones(count), np.full(count, np.nan), np.zeros(count)
    for i in np.flatnonzero(read):
        line = light[i] / enamel[i]
        first = int(np.searchsorted(mm, _UPPER_MM[1] - clear_mm))
        lowest = np.minimum.accumulate(line[first:])
        risen = (line[first:] > lowest + RISE) & (lowest < 1.0 - _NEVER)
        # a speck on the enamel above the edge is no valley below it
        risen &= mm[first:] > -0.3
        stop = first + int(risen.argmax()) if risen.any() else len(line) - 1
        bottom_at = first + int(line[first : stop + 1].argmin())
        bottom[i] = line[bottom_at]
        left = _crossing(line, mm, bottom_at, -1, 0.5 * (1.0 + bottom[i]))
        end[i] = left if left <= _EDGE_MM + clear_mm else 0.0
        if bottom[i] > 1.0 - _NEVER or left > _EDGE_MM + clear_mm:
            continue
        found[i] = True
        if not risen.any():
            continue
        reach = round(_FOLLOW_MM / step)
        follow = float(line[bottom_at : stop + reach].max())
        right = _crossing(line, mm, bottom_at, 1, 0.5 * (follow + bottom[i]))
        across = max(1, round((_BORDER_MM + 2 * blur_mm) / step))
        rise = line[bottom_at + across : stop + reach + across]
        steepest = float((rise - line[bottom_at : bottom_at + len(rise)]).max()) if len(rise) else 0.0
        if not right > left:
            continue
        fallen = line[min(int(np.searchsorted(mm, left)) + across, len(line) - 1)]
        if right - left > SHADE_MM and fallen > bottom[i] + SHADE_LEFT * (1.0 - bottom[i]):
            found[i] = False  # lower teeth that grow darker towards the lip, and no dark of a mouth
            continue
        bordered[i] = steepest >= BORDER
        width[i], end[i] = right - left, right
    return Valleys(read, enamel, found, bordered, bottom, unblurred(width, blur_mm), end)


def _crossing(line: Array, mm: Array, seed: int, way: int, level: float) -> float:
    """Give where a line rises past a level, walking from a darker sample; NaN where it never does."""
    i = seed
    while 0 <= i + way < len(line) and line[i + way] <= level:
        i += way
    j = i + way
    if not 0 <= j < len(line):
        return float("nan")
    share = (level - line[i]) / (line[j] - line[i])
    return float(mm[i] + share * (mm[j] - mm[i]))


def unblurred(measured: Array, sigma: float) -> Array:
    """Give the widths of boxes whose Gaussian-blurred images have the measured widths at half their depth.

    At half depth a box wider than four sigma keeps its width; a thin one never looks narrower than 2.355
    sigma. NaN stays NaN.

    Examples
    --------
    >>> unblurred(np.array([0.0, 2.0, 2.5, 10.0]), 1.0).round(2)
    array([ 0. ,  0. ,  1.2, 10. ])
    """
    if not sigma > 0:
        return np.array(measured, float)
    boxes, looks = _box_table()
    ratio = np.asarray(measured, float) / sigma
    return np.where(ratio >= looks[-1], measured, np.interp(ratio, looks, boxes, left=0.0) * sigma)


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
