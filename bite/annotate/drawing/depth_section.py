"""Depth at the cursor as a line, above and below it as the sensor read; and the layer's colours as a bar."""

from __future__ import annotations

import numpy as np

from bite.annotate.drawing.depth_layer import STEP_MM, DepthLayer, colours_of
from bite.annotate.drawing.draw_marks import BLACK, WHITE, Brush
from bite.annotate.drawing.lettering import (
    Colour,
    Pixels,
    colour_of,
    line_height,
    text_width,
    write,
    write_on_halo,
)
from bite.annotate.state.view import Area, Point, ViewTransform
from bite.plots.style import INK, MEASURED

HALF_MM = 8.0
"""Reach of the line above and below the cursor: from lip to lip over both rows (our choice)."""
_LEAST_SPAN_MM = 2.0
"""Noise of a tenth of a millimetre shall not fill the plot (our choice)."""
# round steps for ticks, the finest what the colours are stepped by (our choice)
_STEPS_MM = (0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0)
_PAPER: Colour = (252, 251, 248)
"""As the sheets: dark on light reads in a bright and in a dark room (our choice)."""
_GRID: Colour = (205, 203, 198)
"""Lighter than any letter (our choice)."""


def section_area(picture: Area, pointer: Point, unit: float) -> Area | None:
    """Give where the plot lies: at the bottom, on the side away from the pointer; None on small screens."""
    wide, high, rim = round(230 * unit), round(250 * unit), round(34 * unit)
    if picture.width < 3 * wide or picture.height < 2 * high:
        return None
    bar = round(90 * unit)
    left = picture.left + rim if pointer[0] > picture.left + picture.width / 2 else picture.right - wide - bar
    return Area(left, picture.bottom - high - rim, left + wide, picture.bottom - rim)


def draw_section(target: Pixels, area: Area, layer: DepthLayer, at: Point, *, unit: float) -> None:
    """Draw depth along the picture's column through a place: up is up, nearer is to the right.

    Parameters
    ----------
    target : array, shape (height, width, 4), the whole screen
    at : picture place, px
    """
    target[area.top : area.bottom, area.left : area.right] = (*_PAPER, 255)
    size = max(10, round(11 * unit))
    along, depth = layer.column(at, HALF_MM)
    head = area.top + 2 * line_height(size) + 6
    box = Area(area.left + 8, head, area.right - 8, area.bottom - line_height(size) - 6)
    here = layer.depth_at(at)
    told = "no reading here" if here is None else f"{here:.2f} mm at the cursor"
    write(target, told, (area.left + 8, area.top + 3), size, colour_of(INK), bold=True)
    under = f"above and below by {HALF_MM:.0f} mm"
    write(target, under, (area.left + 8, area.top + 3 + line_height(size)), size, colour_of(INK))
    seen = np.isfinite(depth)
    if not seen.any():
        return
    low, high = float(depth[seen].min()), float(depth[seen].max())
    spare = max(0.0, _LEAST_SPAN_MM - (high - low)) / 2 + 0.05 * (high - low)
    low, high = low - spare, high + spare
    brush = Brush(target, Area(0, 0, target.shape[1], target.shape[0]), ViewTransform(1.0, 0.0, 0.0), unit)

    def x_of(mm: float) -> float:
        return box.right - (mm - low) / (high - low) * box.width

    step = next((s for s in _STEPS_MM if (high - low) / s <= 4), _STEPS_MM[-1])
    for tick in np.arange(np.ceil(low / step) * step, high, step):
        x = x_of(float(tick))
        brush.line([(x, box.top), (x, box.bottom)], _GRID, 1)
        text = f"{tick:.1f}" if step < 1 else f"{tick:.0f}"
        left = round(x - text_width(text, size) / 2)
        if area.left < left and left + text_width(text, size) < area.right:
            write(target, text, (left, box.bottom + 3), size, colour_of(INK))
    middle = (box.top + box.bottom) / 2
    brush.line([(box.left, middle), (box.right, middle)], _GRID, 1)
    y = middle + along / HALF_MM * box.height / 2
    breaks = np.flatnonzero(np.diff(seen.astype(int)) != 0) + 1
    for part in np.split(np.arange(len(depth)), breaks):
        if seen[part[0]]:
            line = [(x_of(float(depth[k])), float(y[k])) for k in part]
            thick = max(2, round(2 * unit))
            brush.line(line if len(line) > 1 else line * 2, colour_of(MEASURED.colour), thick)
    if here is not None:
        place = round(x_of(here)), round(middle)
        target[place[1] - 3 : place[1] + 4, place[0] - 3 : place[0] + 4, :3] = BLACK


def draw_bar(brush: Brush, layer: DepthLayer) -> None:
    """Draw the layer's colours at the right border, a tick each 0.2 mm and a number each millimetre."""
    unit, size = brush.unit, round(11 * brush.unit)
    high = min(round(240 * unit), brush.area.height // 2)
    wide, top = round(14 * unit), round(34 * unit)
    left = brush.area.width - round(26 * unit) - wide
    span = layer.farthest_mm - layer.nearest_mm
    shown = layer.nearest_mm + (np.arange(high) + 0.5) / high * span
    colours = colours_of(shown, layer.nearest_mm, span)
    brush.target[top : top + high, left : left + wide, :3] = colours[:, None, :3]
    write_on_halo(brush.target, "mm", (left, top - round(1.5 * size)), size, BLACK, WHITE)
    steps = np.arange(np.ceil(layer.nearest_mm / STEP_MM), np.floor(layer.farthest_mm / STEP_MM) + 1)
    for step in steps:
        mm = float(step * STEP_MM)
        y = top + (mm - layer.nearest_mm) / span * high
        whole = abs(mm - round(mm)) < STEP_MM / 2
        reach = (8 if whole else 4) * unit
        brush.line([(left - reach, y), (left - 1, y)], BLACK if whole else WHITE, 1)
        if whole:
            text = f"{mm:.0f}"
            place = round(left - reach - 4 - text_width(text, size, True)), round(y - 0.7 * size)
            write_on_halo(brush.target, text, place, size, BLACK, WHITE)
