"""Whether the clicked upper corners lie on the edge of enamel.

Three questions, each of which skin, lips, fur and noise answer with no. On scan lines down through the
clicked edge the picture must get darker there. The stretch above it must be less red than the lips and the
skin above and below the mouth. And along the row dark lines must stand where crowns end, and none in their
middles; lips answer the first question in a grey picture, but not the last.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.evidence.clicks.tooth_row import ToothRow
from bite.evidence.picture.luminance import Picture, check_picture, cie_lab, is_gray, luminance
from bite.evidence.picture.scan_lines import along_segment, sample_lines
from bite.geometry.rigid import Array

LEAST_FALL = 0.14
"""Below the edge a scan line is darker by this share of the enamel's luminance; the least of 22 real mouths
was 0.22 (our choice)."""
REACH_MM = (-0.8, 1.4)
"""Where the fall may lie, from the straight line between clicked corners: crowns bulge beyond it."""
_ENAMEL_MM = (-1.8, -0.7)
"""Clear of the edge, and within the thinnest strip of enamel that is worth a frame."""
_BELOW_MM = 1.8
"""The valley below an edge is as near as this in 22 real mouths."""
_AROUND_MM = ((-24.0, -13.0), (6.0, 17.0))
"""Above and below the row, lip and skin stand there in any smile."""
_ABOVE_MM = (-3.2, -1.0)
"""Where the shadow of the upper edge would run if the lower row were clicked."""
_VALLEY, _ROW_LIGHT = 0.1, 0.85
"""A shadow between two rows is darker than both by the first, and what stands above it as light as enamel
by the second share (our choice)."""
_SIDES_MM = (-2.6, -0.9)
"""The sides of crowns are read so far above the edge: below it their angles are round, above it gum and lip
begin."""
_STEP_MM = 0.1
"""A third of a pixel in the coarsest picture that is not refused."""
_NEAR, _BESIDE, _WIDE = 0.13, 0.3, 0.1
"""Shares of a crown: a side is looked for so near its place, and held against what stands so far beside
it."""


@dataclass(frozen=True, slots=True)
class EdgeOnEnamel:
    """What the picture shows along the clicked upper edge.

    Parameters
    ----------
    edge : share of scan lines that fall at the edge
    edge_11, edge_21 : the same on either central
    less_red : how much less red (CIE a*) the stretch above the edge is than lip and skin around; None in a
        grey picture, or where nothing around lies in it
    sides : depth of the deepest dark line at a crown's side, share of the enamel's luminance
    middles : the same in the middles of the crowns, where there is none on teeth
    lighter : how much lighter the stretch above the edge is than lip and skin around, share of its
        luminance; None where nothing around lies in the picture
    row_above : share of scan lines on which a dark line runs through the stretch above the edge: the clicks
        then lie on the lower row, or on a lip
    lines : scan lines read
    """

    edge: float
    edge_11: float
    edge_21: float
    less_red: float | None
    sides: float
    middles: float
    lighter: float | None
    row_above: float
    lines: int


def edge_on_enamel(
    picture: Picture, row: ToothRow, *, mm_per_px: float, blur_px: float = 0.5
) -> EdgeOnEnamel | None:
    """Look along the upper edge; None where fewer than eight scan lines lie in the picture.

    Parameters
    ----------
    picture : array, shape (h, w, 3), uint8, RGB
    row : ToothRow
    mm_per_px : float
    blur_px : float, sd of the picture's own edges: levels are read clear of them
    """
    check_picture(picture)
    edge = np.asarray(row.upper_edge_px, float)
    width_px = row.crown_width_px
    first, last = edge[0], edge[-1]
    middle = 0.5 * (first + last) if len(edge) < 4 else 0.5 * (edge[1] + edge[2])
    crowns = [
        along_segment(a + 0.15 * (b - a), a + 0.85 * (b - a), max(0.5, width_px / 24.0))
        for a, b in ((first, middle), (middle, last))
    ]
    origins = _onto_edge(np.concatenate(crowns), edge, row)
    on_11 = np.arange(len(origins)) < len(crowns[0])
    plane = luminance(picture)
    clear = max(0.0, blur_px * mm_per_px - 0.3)
    mm = np.arange(-4.5 - 2 * clear, 3.0 + clear, _STEP_MM)
    light = _lines(plane, origins, row.down, mm / mm_per_px)
    enamel = np.median(light[:, (mm >= _ENAMEL_MM[0] - clear) & (mm <= _ENAMEL_MM[1] - clear)], axis=1)
    read = np.isfinite(light).all(1) & (enamel > 4.0)
    if int(read.sum()) < 8:
        return None
    falls = read & _falls(light, enamel, mm, clear)
    sides, middles = _crown_sides(plane, edge, middle, row, mm_per_px, float(np.median(enamel[read])))
    return EdgeOnEnamel(
        float(falls[read].mean()),
        float(falls[on_11].mean()),
        float(falls[~on_11].mean()),
        _less_red(picture, origins, row, mm_per_px),
        sides,
        middles,
        _lighter(plane, origins, row, mm_per_px, float(np.median(enamel[read]))),
        float(_row_above(light[read], enamel[read], mm, clear).mean()),
        int(read.sum()),
    )


def _onto_edge(points: Array, edge: Array, row: ToothRow) -> Array:
    """Carry points along the row onto the line through the clicked corners."""
    along, down = edge @ row.across, edge @ row.down
    place = points @ row.across
    return np.asarray(place[:, None] * row.across + np.interp(place, along, down)[:, None] * row.down)


def _lines(plane: Array, origins: Array, down: Array, distances_px: Array) -> Array:
    lines = sample_lines(plane, origins, np.tile(down, (len(origins), 1)), distances_px)
    padded = np.concatenate([lines[:1], lines, lines[-1:]])
    return np.asarray((padded[:-2] + padded[1:-1] + padded[2:]) / 3)


def _falls(light: Array, enamel: Array, mm: Array, clear: float) -> NDArray[np.bool_]:
    """Tell which lines cross half their fall near the clicked edge."""
    below = np.where((mm > 0.0) & (mm < _BELOW_MM + clear), light, np.inf).min(1)
    deep = 1.0 - below / np.maximum(enamel, 1.0) >= LEAST_FALL
    dark = (light < 0.5 * (enamel + below)[:, None]) & (mm > _ENAMEL_MM[0] - clear)
    at = mm[dark.argmax(1)]
    return np.asarray(deep & dark.any(1) & (at > REACH_MM[0] - clear) & (at < REACH_MM[1] + clear))


def _row_above(light: Array, enamel: Array, mm: Array, clear: float) -> NDArray[np.bool_]:
    """Tell which lines have a valley on the enamel: darker than below it, and than enamel above it."""
    inside = np.flatnonzero((mm >= _ABOVE_MM[0] - 2 * clear) & (mm <= _ABOVE_MM[1] - clear))
    lowest = inside[light[:, inside].argmin(1)]
    found = []
    for line, level, at in zip(light, enamel, lowest, strict=True):
        above, below = line[:at], line[at : inside[-1] + round(0.4 / _STEP_MM)]
        sides = min(above.max(), below.max()) if len(above) and len(below) else 0.0
        # a lip above a thin strip of enamel is darker than another row of teeth
        found.append(line[at] < (1.0 - _VALLEY) * sides and above.max() > _ROW_LIGHT * level)
    return np.array(found, dtype=bool)


def _lighter(plane: Array, origins: Array, row: ToothRow, mm_per_px: float, enamel: float) -> float | None:
    beyond = _lines(plane, origins, row.down, _around_mm() / mm_per_px)
    if np.isfinite(beyond).mean() < 0.2:
        return None
    return 1.0 - float(np.nanmedian(beyond)) / max(enamel, 1.0)


def _around_mm() -> Array:
    return np.concatenate([np.arange(low, high, 0.5) for low, high in _AROUND_MM])


def _less_red(picture: Picture, origins: Array, row: ToothRow, mm_per_px: float) -> float | None:
    if is_gray(picture):
        return None
    redness = cie_lab(picture)[..., 1]
    own = _lines(redness, origins, row.down, np.arange(-2.0, -0.7, 0.2) / mm_per_px)
    beyond = _lines(redness, origins, row.down, _around_mm() / mm_per_px)
    if not np.isfinite(own).any() or np.isfinite(beyond).mean() < 0.2:
        return None
    return float(np.nanmedian(beyond) - np.nanmedian(own))


def _crown_sides(
    plane: Array, edge: Array, middle: Array, row: ToothRow, mm_per_px: float, enamel: float
) -> tuple[float, float]:
    """Give the deepest dark line at the sides of the crowns and in their middles."""
    place = np.arange(-1.5, 1.5 + 1e-9, 0.01)
    halves = np.where(place[:, None] < 0, middle - edge[0], edge[-1] - middle)
    points = _onto_edge(middle + place[:, None] * halves, edge, row)
    # clicks without mesial ones leave the middle to the picture: the midline is looked for a little wider
    rows = np.arange(_SIDES_MM[0], _SIDES_MM[1], 0.2) / mm_per_px
    lines = sample_lines(plane, points, np.tile(row.down, (len(points), 1)), rows)
    level = lines.mean(1) / max(enamel, 1.0)

    def depth(at: float) -> float:
        def around(centre: float, half: float) -> Array:
            return np.asarray(level[np.abs(place - centre) <= half])

        beside = min(around(at - _BESIDE, _WIDE).max(), around(at + _BESIDE, _WIDE).max())
        return float(beside - around(at, _NEAR).min())

    known = [depth(at) for at in (-1.0, 0.0, 1.0)], [depth(at) for at in (-0.5, 0.5)]
    deepest = [max([value for value in values if np.isfinite(value)], default=0.0) for values in known]
    return deepest[0], deepest[1]
