"""Where the card ends: its straight edge before the wall, and the flats on both sides of it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from bite.device.plane import Plane, fit_plane
from bite.errors import InputError
from bite.fit.linear import robust_sd
from bite.geometry.rigid import Array

Mask = NDArray[np.bool_]
LEAST_ANGLE_DEG = 2.0
"""An edge nearer to the grid meets too few places between two pixels (our choice); ISO 12233 slants its edge
by about 5 degrees (from memory)."""
LEAST_STEP_NOISES = 10.0
"""A step of fewer noise sds tells no filter from another (our choice)."""
LEAST_ROWS = 24
"""Fewer rows across the edge meet it at too few fractions of a pixel."""
_GAP_PX, _WINDOW_PX = 3, 5
"""Medians of five pixels on either side of a gap: a smoothed step lies in the gap."""
_LINE_PX = 2.0
"""Rows whose step lies farther off the line are of something else."""
_PIXELS_FEWEST = 400
"""A flat with fewer readings tells neither noise nor its correlation."""
_MOST_HOLES = 0.5
"""Half of the card unread is a card too near or too shiny."""
_NEAR_PLANE_SHARE = 0.03
"""Readings within 3 % of the distance of a plane may belong to it; a hand's breadth behind does not."""
_MOST_BENT_SHARE = 0.01
"""Rms of the card's slow residual beyond which it is no flat card, as a share of its distance (our choice:
sensors that bend a flat by more would be of no use for teeth)."""


@dataclass(frozen=True, slots=True)
class Line:
    """A line in pixels: n . (x, y) = c, with the unit normal pointing from card to wall.

    ``span`` is the first and last place along the edge, px from the foot of the origin's perpendicular.
    """

    normal: tuple[float, float]
    offset_px: float
    span: tuple[float, float]

    def distance(self, x: Array, y: Array) -> Array:
        """Give the signed distance of pixels, px, positive on the wall."""
        return np.asarray(self.normal[0] * x + self.normal[1] * y - self.offset_px)

    def along(self, x: Array, y: Array) -> Array:
        """Give the place of pixels along the edge, px."""
        return np.asarray(-self.normal[1] * x + self.normal[0] * y)

    @property
    def angle_deg(self) -> float:
        """Angle to the nearer of rows and columns, degrees, 0 to 45."""
        less, more = sorted(map(abs, self.normal))
        return float(np.degrees(np.arctan2(less, more)))


@dataclass(frozen=True, slots=True)
class FoundCard:
    """A card before a wall.

    Parameters
    ----------
    line : Line, the edge to within a pixel or so
    card, wall : Plane
    card_flat, wall_flat : array of bool, shape (h, w), pixels of either surface away from the edge
    """

    line: Line
    card: Plane
    wall: Plane
    card_flat: Mask
    wall_flat: Mask


def find_card(depth_mm: Array, path: Path, *, margin_px: float = 10.0) -> FoundCard:
    """Find the largest depth step along a straight line, and the planes on its two sides.

    Parameters
    ----------
    depth_mm : array, shape (h, w), NaN without a reading
    path : Path, for messages
    margin_px : float, how far from the edge the flats begin

    Raises
    ------
    InputError
        When there is no straight step, the edge runs along the grid, the card or the wall is not flat, or
        most of the card has no reading.
    """
    line = _find_line(depth_mm, path)
    y, x = np.mgrid[0 : depth_mm.shape[0], 0 : depth_mm.shape[1]].astype(float)
    distance, along = line.distance(x, y), line.along(x, y)
    beside = (along >= line.span[0]) & (along <= line.span[1])
    strip = beside & (distance < -margin_px) & (distance > -margin_px - 30)
    holes = 1.0 - float(np.isfinite(depth_mm[strip]).mean()) if strip.any() else 0.0
    if holes > _MOST_HOLES:
        raise _too_near(path, holes)
    if line.angle_deg < LEAST_ANGLE_DEG:
        what = f"the card's edge runs {line.angle_deg:.1f} degrees off the pixel grid, needed 2 or more"
        raise InputError(path, "[depth] map", what, "turn the card by about 5 degrees and shoot again")
    card, card_flat = _side(depth_mm, beside & (distance < -margin_px), -distance, margin_px, path, "card")
    wall, wall_flat = _side(depth_mm, beside & (distance > margin_px), distance, margin_px, path, "wall")
    return FoundCard(line, card, wall, card_flat, wall_flat)


def _side(
    depth_mm: Array, where: Mask, away_px: Array, margin_px: float, path: Path, name: str
) -> tuple[Plane, Mask]:
    """Fit the plane beside the edge, and grow it to all pixels of that surface."""
    from scipy import ndimage

    strip = where & (away_px < margin_px + 30) & np.isfinite(depth_mm)
    if strip.sum() < _PIXELS_FEWEST:
        what = f"{int(strip.sum())} readings on the {name} beside its edge, needed {_PIXELS_FEWEST}"
        raise InputError(path, "[depth] map", what, f"let more of the {name} be seen beside the edge")
    plane = fit_plane(depth_mm, strip)
    flat = strip
    reach_mm = max(_NEAR_PLANE_SHARE * plane.middle_mm, 5.0 * _rough_noise_mm(depth_mm, strip))
    for _ in range(2):
        near = np.abs(depth_mm - plane.depth_mm(depth_mm.shape)) < reach_mm
        bridged = ndimage.binary_closing(where & near, iterations=2) & where
        labels, _count = ndimage.label(bridged)
        largest = np.bincount(labels[strip])
        largest[0] = 0
        flat = (labels == int(np.argmax(largest))) & near if largest.any() else strip & near
        if flat.sum() < _PIXELS_FEWEST:
            break
        plane = fit_plane(depth_mm, flat)
    share = float((flat & strip).sum() / strip.sum())
    if share < 0.7:
        what = f"the {name} is not flat: {share:.0%} of it lies within {reach_mm:.1f} mm of one plane"
        raise InputError(path, "[depth] map", what, f"use a flat {name}, stiff and without relief")
    return plane, flat


def _rough_noise_mm(depth_mm: Array, where: Mask) -> float:
    """Give the noise by second differences at a lag of four pixels, which a bent surface hardly changes."""
    kept = np.where(where, depth_mm, np.nan)
    second = [kept[8:] - 2 * kept[4:-4] + kept[:-8], kept[:, 8:] - 2 * kept[:, 4:-4] + kept[:, :-8]]
    values = np.concatenate([s[np.isfinite(s)] for s in second])
    return float(robust_sd(values) / np.sqrt(6)) if values.size else 0.0


def check_bent(path: Path, name: str, flatness_mm: float, distance_mm: float) -> None:
    """Refuse a surface whose slow residual is too large to be a sensor's.

    Raises
    ------
    InputError
        When its rms is over 1 % of the distance.
    """
    if flatness_mm > _MOST_BENT_SHARE * distance_mm:
        what = (
            f"the {name} is not flat: {flatness_mm:.1f} mm rms off a plane at {distance_mm:.0f} mm, "
            f"needed under {_MOST_BENT_SHARE:.0%}"
        )
        raise InputError(path, "[depth] map", what, f"use a flat {name}, stiff and without relief")


def _too_near(path: Path, holes: float) -> InputError:
    what = f"{holes:.0%} of the card has no reading, as when it is nearer than the sensor reads"
    return InputError(path, "[depth] map", what, "hold the card farther away, or use a matt one")


def _find_line(depth_mm: Array, path: Path) -> Line:
    candidates = []
    for turned in (False, True):
        jump = _jumps(depth_mm.T if turned else depth_mm)
        for sign in (1.0, -1.0):
            found = _line_through(sign * jump, turned=turned, wall_after=sign > 0)
            if found is not None:
                candidates.append(found)
    if not candidates:
        holes = 1.0 - float(np.isfinite(depth_mm).mean())
        if holes > 0.25:
            raise _too_near(path, holes)
        what = "no step in depth along a straight line: no card before a wall is seen"
        mend = "hold a flat card with a straight edge well before a wall, both in view"
        raise InputError(path, "[depth] map", what, mend)
    return max(candidates, key=lambda c: c[0])[1]


def _jumps(depth_mm: Array) -> Array:
    """Give for each pixel the median of five readings after it minus that of five before it, mm."""
    from warnings import catch_warnings, simplefilter

    with catch_warnings():
        simplefilter("ignore", RuntimeWarning)
        shifted = np.stack([np.roll(depth_mm, -k, axis=1) for k in range(_WINDOW_PX)])
        median = np.nanmedian(shifted, axis=0)
    jump = np.full(depth_mm.shape, np.nan)
    edge = _GAP_PX + _WINDOW_PX
    if depth_mm.shape[1] > 2 * edge:
        after = median[:, edge - 1 + _GAP_PX : depth_mm.shape[1] - _WINDOW_PX + 1]
        before = median[:, : after.shape[1]]
        jump[:, edge - 1 : edge - 1 + after.shape[1]] = after - before
    return jump


def _line_through(jump: Array, *, turned: bool, wall_after: bool) -> tuple[float, Line] | None:
    """Give the line that most rows' largest jumps lie on, and its weight; None where they do not line up."""
    filled = np.where(np.isfinite(jump), jump, -np.inf)
    strength = filled.max(axis=1)
    rows = np.flatnonzero(strength > 0)
    if len(rows) < LEAST_ROWS:
        return None
    # a step is a plateau of jumps as long as the gap; its middle is the edge
    top = filled[rows] >= 0.8 * strength[rows, None]
    columns = np.arange(jump.shape[1])
    peak = filled[rows].argmax(axis=1)
    top &= np.abs(columns[None, :] - peak[:, None]) <= 2 * (_GAP_PX + _WINDOW_PX)
    places = (top * columns[None, :]).sum(axis=1) / top.sum(axis=1)
    picked = np.unique(np.linspace(0, len(rows) - 1, 60).round().astype(int))
    first, last = (picked[k] for k in np.triu_indices(len(picked), 1))
    far = rows[last] - rows[first] >= 8
    first, last = first[far], last[far]
    slopes = (places[last] - places[first]) / (rows[last] - rows[first])
    first, slopes = first[np.abs(slopes) <= 1.05], slopes[np.abs(slopes) <= 1.05]
    if len(first) == 0:
        return None
    off = places[None, :] - places[first, None] - slopes[:, None] * (rows[None, :] - rows[first, None])
    inside = np.abs(off) < _LINE_PX
    best = inside[int(inside.sum(axis=1).argmax())]
    if best.sum() < LEAST_ROWS:
        return None
    slope, at = np.polyfit(rows[best], places[best], 1)
    # a straight edge fills most of the rows between its ends; chance does not
    span_rows = rows[best].max() - rows[best].min() + 1
    if best.sum() < 0.6 * span_rows:
        return None
    length = float(np.hypot(1.0, slope))
    normal = (1 / length, -slope / length) if not turned else (-slope / length, 1 / length)
    offset = float(at / length)
    if not wall_after:
        normal, offset = (-normal[0], -normal[1]), -offset
    ends_rows = rows[best][[0, -1]].astype(float)
    ends_columns = slope * ends_rows + at
    x, y = (ends_rows, ends_columns) if turned else (ends_columns, ends_rows)
    along = -normal[1] * x + normal[0] * y
    line = Line((float(normal[0]), float(normal[1])), offset, (float(along.min()), float(along.max())))
    return float(best.sum() * np.median(strength[rows][best])), line


def check_phases(at_px: Array, angle_deg: float, path: Path) -> None:
    """Refuse an edge whose pixels lie at few distances from it: they show no more than the grid does.

    Parameters
    ----------
    at_px : array, distances of readings from the fitted edge, px
    angle_deg : float, of the edge, for the message
    path : Path, for the message

    Raises
    ------
    InputError
        When two neighbouring distances within a pixel of the edge are more than a quarter pixel apart.
    """
    places = np.sort(at_px[np.abs(at_px) < 1])
    gap = float(np.max(np.diff(places), initial=0.0))
    if gap > 0.25:
        what = (
            f"the card's edge at {angle_deg:.1f} degrees to the grid leaves {gap:.2f} px between the "
            "places where pixels meet it, needed 0.25"
        )
        mend = "turn the card by about 5 degrees, or show more of its edge"
        raise InputError(path, "[depth] map", what, mend)
