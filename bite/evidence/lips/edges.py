"""Where a picture shows the lips ending before enamel, found on scan lines across rims near by.

Found in three steps. Lip and enamel are first told apart by the mixture of the logarithms of red, green and
blue that divides them best in this very picture (Fisher's linear discriminant): shadow of the lip on the
teeth darkens all three alike, which that mixture learns to overlook; a grey picture leaves it brightness
alone. A lip that was solved too high or too low lends that mixture the wrong colours, so the whole rim
follows what was found until it stands still, from several starts: the lip must come out redder than the
enamel, or darker, or the border of its red would pass for its edge. Then the edge is placed where the
stored values change most steeply from the colour of this piece of lip to that of the enamel beside it: on
computed pictures that lies within 0.08 mm of the true edge of all but a few lips (``python -m
tests.coverage.lip_line``), while the logarithms put it farther into the lip and linear light farther into
the enamel.

Source: Fisher 1936, The use of multiple measurements in taxonomic problems, Annals of Eugenics 7:179-188
(from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.evidence.picture.luminance import Picture
from bite.evidence.picture.scan_lines import sample_lines
from bite.geometry.rigid import Array

SEARCH_MM = 1.6
"""A solved lip is looked for this far from where it was solved (our choice)."""
LIP_MM = (0.8, 2.4)
"""Skin so far outward of the solved rim counts as lip."""
ENAMEL_ROOM_MM = 2.5
"""So much enamel beside a lip's edge says all there is to say of its light."""
BESIDE_MM = (0.35, 0.8)
"""Lip and enamel so far from the rough edge give the colours on its two sides."""
LEAST_APART = 1.5
"""Lip and enamel differ by this many sds of both together, or the picture does not tell them apart (our
choice)."""
LEAST_STEP = 0.4
"""The step at the edge, of the whole step from lip to enamel in this picture (our choice)."""
STARTS_MM = (0.0, -0.6, 0.6, -1.2, 1.2)
"""A whole lip is looked for from these shifts of where it was solved, outward positive: from any of them, on
photographs, it comes to rest at one place (``python -m tests.bench.real_lips``)."""
_STILL_MM, _ROUNDS = 0.1, 6
"""A rim that moves less than this from one round to the next stands still; most take two or three."""
FARTHEST_MM = 2.0
"""A lip solved farther off than this is no lip to be read (our choice)."""
MOST_UNEVEN_MM = 0.45
"""Edges scatter less than this (one sd) about a curve along the lip, or half of them are gum, shadow or
folds: a photographed lip that was read well scattered by 0.24 to 0.40, one whose shadow ran over the enamel
by 0.66 (`docs/measured.md`)."""
LEAST_REDDER = 0.1
"""Lip over enamel, in the logarithm of red over green and blue: with less, the lip must be the darker (our
choice: photographed lips were 0.2 to 0.34 redder)."""
_SIDE_MM = 0.6
"""Light of lip and enamel is averaged over this much on either side."""
_STEP_PX = 0.25
"""A quarter of a pixel along each scan line: places between are interpolated."""
_DARK = 6.0
"""Levels added before the logarithm is taken, so that noise in the dark counts no more than elsewhere."""
_CALM_MM = 0.4
"""Neighbouring lines agree within this, or the lip is not what they see (our choice)."""
_EDGE_MM = 0.12
"""A lip's edge is no sharper than its rounding over a tenth of a millimetre."""
_FEWEST_LINES, _FEWEST_SAMPLES = 10, 50
"""Fewer do not tell the light of lips and of enamel (our choice)."""


def find_lip_edges(
    picture: Picture,
    origins_px: Array,
    outward: Array,
    *,
    room_mm: Array,
    spacing_mm: float,
    mm_per_px: float,
) -> Array:
    """Find the edge of one lip on scan lines that lie side by side.

    Parameters
    ----------
    picture : array, shape (h, w, 3), uint8, RGB
    origins_px, outward : array, shape (n, 2): where the rim is expected, and the unit direction from enamel
        to lip
    room_mm : array, shape (n,), how far enamel should reach inward
    spacing_mm : float, between neighbouring scan lines
    mm_per_px : float

    Returns
    -------
    array, shape (n,), px outward from the expected rim; NaN where no edge is clear
    """
    nothing = np.full(len(origins_px), np.nan)
    if len(origins_px) < _FEWEST_LINES:
        return nothing
    reach_px = (LIP_MM[1] + FARTHEST_MM) / mm_per_px
    steps_px = np.arange(-reach_px, reach_px + _STEP_PX, _STEP_PX)
    stored = np.stack(
        [sample_lines(picture[..., c].astype(float), origins_px, outward, steps_px) for c in range(3)], -1
    )
    stored[~np.isfinite(stored).all((1, 2))] = np.nan
    lines = _Lines(stored, steps_px * mm_per_px, room_mm, spacing_mm)
    found = [f for f in (_at_rest(lines, start_mm) for start_mm in STARTS_MM) if f is not None]
    if not found:
        return nothing
    rough = max(found, key=lambda f: f.apart).at
    known = rough >= 0
    calm, steep = lines.calm, lines.steep
    beside_mm = lines.away_mm - lines.away_mm[rough][:, None]
    level = _own_colours(_across(np.nan_to_num(stored), calm), beside_mm)
    close = (np.abs(beside_mm) < BESIDE_MM[0]) & known[:, None]
    return _between_steps(level, _steepest(level, close, steep), steep, steps_px)


@dataclass(frozen=True, slots=True)
class _Lines:
    """Scan lines across a rim.

    Parameters
    ----------
    stored : array, shape (n, m, 3), as the picture stores them; a line that leaves it is NaN
    away_mm : array, shape (m,), outward from the solved rim
    room_mm : array, shape (n,), how far enamel should reach inward of it
    spacing_mm : float, between neighbouring lines
    """

    stored: Array
    away_mm: Array
    room_mm: Array
    spacing_mm: float

    @property
    def calm(self) -> float:
        """Width of averages along the lip, in lines."""
        return _CALM_MM / self.spacing_mm

    @property
    def steep(self) -> float:
        """Width of an edge, in steps."""
        return _EDGE_MM / float(self.away_mm[1] - self.away_mm[0])


@dataclass(frozen=True, slots=True)
class _Rough:
    """At which step each line has its edge, -1 for none; how far apart lip and enamel are, sds squared."""

    at: NDArray[np.int64]
    apart: float


def _at_rest(lines: _Lines, start_mm: float) -> _Rough | None:
    """Let a shifted rim follow the edges it finds until it stands still; None where it finds no even lip."""
    shift_mm = start_mm
    for _ in range(_ROUNDS):
        rough = _rough_edges(lines, shift_mm)
        if rough is None:
            return None
        line = np.flatnonzero(rough.at >= 0)
        if len(line) < _FEWEST_LINES:
            return None
        off_mm = lines.away_mm[rough.at[line]]
        last_mm, shift_mm = shift_mm, float(np.median(off_mm))
        if abs(shift_mm - last_mm) < _STILL_MM:
            bend = np.polynomial.Polynomial.fit(line, off_mm, 2)(line)
            return rough if np.std(off_mm - bend) < MOST_UNEVEN_MM else None
    return None


def _rough_edges(lines: _Lines, shift_mm: float) -> _Rough | None:
    """Find edges with the colours of lip and enamel taken from beside a shifted rim."""
    if abs(shift_mm) > FARTHEST_MM:
        return None
    away_mm, room_mm = lines.away_mm - shift_mm, lines.room_mm + shift_mm
    told = _lip_to_enamel(lines.stored, away_mm, room_mm)
    if told is None:
        return None
    level, apart = told
    level = _across(level, lines.calm)
    allowed = (away_mm < SEARCH_MM) & (away_mm > -np.minimum(SEARCH_MM, 0.8 * room_mm)[:, None])
    at = _steepest(level, allowed, lines.steep)
    side = max(round(_SIDE_MM * lines.steep / _EDGE_MM), 1)
    at[_step_at(level, at, side) < LEAST_STEP] = -1
    return _Rough(at, apart)


def _lip_to_enamel(stored: Array, away_mm: Array, room_mm: Array) -> tuple[Array, float] | None:
    """Give each sample on a scale from 0, lip, to 1, enamel, and how far apart the two are, sds squared.

    None where there is too little of either, where they are alike, or where the outer one is not the lip.
    """
    logs = np.log(np.clip(stored, 0.0, 255.0) + _DARK)
    near, far = 0.4 * np.minimum(room_mm, 1.5), 0.9 * np.minimum(room_mm, ENAMEL_ROOM_MM)
    readable = np.isfinite(logs).all(-1)
    on_lip = readable & (away_mm > LIP_MM[0]) & (away_mm < LIP_MM[1])
    on_enamel = readable & (away_mm < -near[:, None]) & (away_mm > -far[:, None])
    if min(on_lip.sum(), on_enamel.sum()) < _FEWEST_SAMPLES:
        return None
    lip, enamel = logs[on_lip], logs[on_enamel]
    within = np.cov(lip.T) + np.cov(enamel.T) + 1e-4 * np.eye(3)
    apart = enamel.mean(0) - lip.mean(0)
    redder = float(apart[1:].mean() - apart[0])
    if redder < -LEAST_REDDER or (redder < LEAST_REDDER and apart.sum() < 0.0):
        return None
    mixture = np.linalg.solve(within, apart)
    scale = float(mixture @ apart)
    if scale < LEAST_APART**2:
        return None
    return np.asarray((np.nan_to_num(logs) - np.median(lip, axis=0)) @ mixture / scale), scale


def _across(values: Array, sd_lines: float) -> Array:
    """Average along the lip: noise falls, an edge across the scan lines stays as sharp."""
    from scipy.ndimage import gaussian_filter1d

    return np.asarray(gaussian_filter1d(values, sd_lines, axis=0, mode="nearest"))


def _fall(level: Array, sd_steps: float) -> Array:
    from scipy.ndimage import gaussian_filter1d

    return np.asarray(-gaussian_filter1d(level, sd_steps, axis=1, order=1, mode="nearest"))


def _steepest(level: Array, allowed: NDArray[np.bool_], sd_steps: float) -> NDArray[np.int64]:
    """Give the step at which each line falls most steeply outward; -1 where that is at an end."""
    fall = np.where(allowed, _fall(level, sd_steps), -np.inf)
    best = fall.argmax(1)
    rows, last = np.arange(len(level)), level.shape[1] - 1
    inside = (best > 0) & (best < last)
    for side in (-1, 1):
        inside &= np.isfinite(fall[rows, np.clip(best + side, 0, last)])
    return np.where(inside, best, -1)


def _step_at(level: Array, at: NDArray[np.int64], side: int) -> Array:
    """Give how far each line falls from just inside to just outside a step."""
    places = at[:, None] + np.arange(-side, side + 1)
    around = np.take_along_axis(level, np.clip(places, 0, level.shape[1] - 1), axis=1)
    return np.asarray(around[:, :side].max(1) - around[:, side + 1 :].min(1))


def _own_colours(stored: Array, beside_mm: Array) -> Array:
    """Give each sample on a scale from the colour just outside an edge, 0, to that just inside it, 1."""
    away = np.abs(beside_mm)
    ring = (away > BESIDE_MM[0]) & (away < BESIDE_MM[1])
    colours = []
    for own in (ring & (beside_mm < 0), ring & (beside_mm > 0)):
        colours.append((stored * own[..., None]).sum(1) / np.maximum(own.sum(1), 1)[:, None])
    apart = colours[0] - colours[1]
    along = ((stored - colours[1][:, None]) * apart[:, None]).sum(-1)
    return np.asarray(along / np.maximum((apart**2).sum(-1), 1e-9)[:, None])


def _between_steps(level: Array, at: NDArray[np.int64], sd_steps: float, steps_px: Array) -> Array:
    """Place the steepest fall between samples by a parabola; NaN where there is none."""
    fall = _fall(level, sd_steps)
    rows, middle = np.arange(len(at)), np.clip(at, 1, len(steps_px) - 2)
    left, centre, right = (fall[rows, middle + k] for k in (-1, 0, 1))
    bend = np.minimum(left - 2.0 * centre + right, -1e-12)
    found = steps_px[middle] + 0.5 * (left - right) / bend * _STEP_PX
    return np.where(at >= 0, found, np.nan)
