"""Edge, side and angle of one tooth in scan lines: where its outline runs, to a fraction of a pixel."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.evidence.picture.edge_fit import fit_steps
from bite.evidence.picture.scan_lines import sample_lines
from bite.fit.linear import HUBER, robust_sd
from bite.geometry.rigid import Array

STEP_PX = 0.25
"""A quarter of a pixel along each scan line: places between are interpolated."""
ENDS_AT = 0.7
"""Enamel is taken to end where brightness has fallen by this share to the dark beyond. It is rounded at its
edges and darkens before it ends: on computed pictures of 15 heads half of the fall lay 0.14 mm short of the
true edge, seven tenths on it. Real enamel may differ, which whoever uses this must allow for."""
_SLOPES = np.tan(np.deg2rad(np.arange(-14.0, 14.1, 1.0)))
_LEAST_LINES = 12
"""Fewer lines do not tell an outline from a scratch (our choice)."""


@dataclass(frozen=True, slots=True)
class OutlineLine:
    """A line in the tooth's own frame: offset = at + slope * along, px, and how clear it is."""

    at: float
    slope: float
    signal: float


def edge_line(
    lines: Array,
    along: Array,
    offsets: Array,
    used: NDArray[np.bool_],
    reach: float,
    near: OutlineLine | None = None,
) -> OutlineLine:
    """Find the line along which scan lines get darker most, then where the enamel ends on each."""
    from scipy import ndimage

    slope = -ndimage.gaussian_filter1d(lines, 1.0 / STEP_PX, axis=1, order=1, mode="nearest") / STEP_PX
    found = _best_line(slope[used], along[used], offsets, reach, near)
    ends = _enamel_ends(lines[used], offsets, found.at + found.slope * along[used], ENDS_AT)
    good = np.isfinite(ends)
    if good.sum() < _LEAST_LINES:
        return OutlineLine(found.at, found.slope, 0.0)
    at, tilt = _robust_line(along[used][good], ends[good])
    return OutlineLine(at, tilt, found.signal)


def _enamel_ends(lines: Array, offsets: Array, steep: Array, share: float) -> Array:
    """Give where each scan line has fallen by a share from enamel to the dark just beyond, or NaN.

    Enamel is rounded at its edges and darkens before it ends, so that the steepest place lies inside the
    tooth.
    """
    count = len(offsets)
    ends = np.full(len(lines), np.nan)
    for k, (line, place) in enumerate(zip(lines, steep, strict=True)):
        first, last = np.searchsorted(offsets, (place - 1.0, place + 4.0))
        inside = line[slice(*np.searchsorted(offsets, (place - 6.0, place - 2.5)))]
        if last - first < 3 or last > count or inside.size < 3:
            continue
        darkest = first + int(line[first:last].argmin())
        level = np.median(inside) * (1 - share) + line[darkest] * share
        above = np.flatnonzero(line[:darkest] > level)
        if above.size and line[darkest] < level:
            j = int(above[-1])
            ends[k] = offsets[j] + STEP_PX * (line[j] - level) / (line[j] - line[j + 1])
    return ends


def _robust_line(x: Array, y: Array) -> tuple[float, float]:
    """Fit y = at + slope * x with Huber weights on the robust scale of the residuals."""
    design = np.column_stack([np.ones_like(x), x])
    weight: Array = np.ones_like(x)
    found: Array = np.zeros(2)
    for _ in range(12):
        found = np.asarray(np.linalg.lstsq(design * weight[:, None], y * weight, rcond=None)[0])
        off = y - design @ found
        scale = robust_sd(off) + 1e-6
        weight = np.sqrt(np.minimum(1.0, HUBER * scale / np.maximum(np.abs(off), 1e-12)))
    return float(found[0]), float(found[1])


def side_line(
    lines: Array,
    along: Array,
    offsets: Array,
    used: NDArray[np.bool_],
    reach: float,
    near: OutlineLine | None = None,
) -> OutlineLine:
    """Find the dark line between two crowns, or along the dark beyond a crown that stands alone."""
    from scipy import ndimage

    valley = ndimage.gaussian_filter1d(lines, 1.0 / STEP_PX, axis=1, order=2, mode="nearest") / STEP_PX**2
    return _best_line(valley[used], along[used], offsets, reach, near)


def _best_line(
    response: Array, along: Array, offsets: Array, reach: float, near: OutlineLine | None
) -> OutlineLine:
    """Find the straight line with the largest mean response, offset to a fraction of a sample."""
    middle = along.mean()
    starts = np.arange(-reach, reach + 1e-9, STEP_PX)
    slopes = _SLOPES
    if near is not None:
        starts = starts[np.abs(starts - near.at - near.slope * middle) <= 1.5]
        if not len(starts):
            # the whole line ran out of what is searched: its parts can tell nothing of it
            return OutlineLine(near.at, near.slope, 0.0)
        slopes = near.slope + np.tan(np.deg2rad(np.arange(-4.0, 4.1, 0.5)))
    # half of a line that leaves the sampled band says nothing: its ends are held at the border
    at = starts[:, None, None] + slopes[None, :, None] * (along - middle)[None, None, :]
    index = np.clip((at - offsets[0]) / STEP_PX, 0, len(offsets) - 1.001)
    low = index.astype(int)
    share = index - low
    rows = np.arange(len(along))
    values = response[rows, low] * (1 - share) + response[rows, low + 1] * share
    score = values.mean(2)
    i, j = np.unravel_index(score.argmax(), score.shape)
    start, slope = _peak(score[:, j], int(i), starts), _peak(score[i], int(j), slopes)
    best = values[i, j]
    signal = float(best.mean() / (best.std() / np.sqrt(len(best)) + 1e-9))
    return OutlineLine(start - slope * middle, slope, signal)


def _peak(score: Array, index: int, at: Array) -> float:
    """Give the top of the parabola through a maximum and its neighbours."""
    if not 0 < index < len(score) - 1:
        return float(at[index])
    a, b, c = score[index - 1 : index + 2]
    bend = a - 2 * b + c
    shift = 0.5 * (a - c) / bend if bend < 0 else 0.0
    return float(at[index] + np.clip(shift, -0.5, 0.5) * (at[1] - at[0]))


def meeting_of(
    click: Array, inward: Array, outward: Array, edge: OutlineLine, side: OutlineLine
) -> tuple[Array, Array]:
    """Give where edge and side meet, px, and the unit direction of their bisector into the tooth."""
    # edge: out = e0 + e1 * in; side: -in = s0 + s1 * (-out)
    matrix = np.array([[-edge.slope, 1.0], [-1.0, side.slope]])
    into, out = np.linalg.solve(matrix, np.array([edge.at, side.at]))
    edge_way = inward + edge.slope * outward
    side_way = -outward - side.slope * inward
    edge_way, side_way = edge_way / np.hypot(*edge_way), side_way / np.hypot(*side_way)
    inside = edge_way + side_way
    return click + into * inward + out * outward, inside / np.hypot(*inside)


def angle_back_px(plane: Array, meeting: Array, inside: Array, crown_px: float) -> float | None:
    """Give how far inside the meeting point the outline crosses the bisector, px.

    None where the angle cannot be told from what lies behind it, or reaches out of the picture.
    """
    sideways = np.array([-inside[1], inside[0]])
    distances = np.arange(-0.22 * crown_px, 0.10 * crown_px, STEP_PX)
    starts = meeting + np.linspace(-1.0, 1.0, 5)[:, None] * sideways
    lines = sample_lines(plane, starts, np.repeat(-inside[None], 5, 0), distances)
    if not np.isfinite(lines).all():
        return None
    profile = lines.mean(0, keepdims=True)
    fit = fit_steps(profile, distances)
    back = float(fit.place_px[0])
    if not (fit.step[0] < 0 and fit.explained[0] > 0.5 and -0.22 * crown_px < back < 0.08 * crown_px):
        return None
    end = float(_enamel_ends(profile, distances, np.array([back]), ENDS_AT)[0])
    return -end if np.isfinite(end) else None
