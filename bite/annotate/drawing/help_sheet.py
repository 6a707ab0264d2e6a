"""The help sheet: every key and mouse action, from the table that the window itself obeys."""

from __future__ import annotations

from bite.annotate.drawing.lettering import Colour, Pixels, colour_of, line_height, text_width, write
from bite.annotate.state.keys import help_rows
from bite.annotate.state.view import Area
from bite.plots.style import INK

_PAPER: Colour = (252, 251, 248)
"""Off-white: less glare than white in a dark room (our choice)."""


def draw_help(target: Pixels, area: Area, *, unit: float = 1.0) -> Area:
    """Draw the sheet in the middle of an area, as large as fits; give where it lies."""
    rows = help_rows()
    size = max(9, round(13 * unit))
    while size > 9 and _size(size)[1] > area.height - 16:
        size -= 1
    while size > 9 and _size(size)[0] > area.width - 16:
        size -= 1
    wide, high, first = _size(size)
    left = area.left + max(0, (area.width - wide) // 2)
    top = area.top + max(0, (area.height - high) // 2)
    sheet = Area(left, top, left + wide, top + high).within(area)
    target[sheet.top : sheet.bottom, sheet.left : sheet.right] = (*_PAPER, 255)
    cut = target[sheet.top : sheet.bottom, sheet.left : sheet.right]
    for edge in (cut[:2], cut[-2:], cut[:, :2], cut[:, -2:]):
        edge[..., :3] = colour_of(INK)
    y = size
    write(cut, "Keys and mouse  -  ? closes this sheet", (size, y), size, colour_of(INK), bold=True)
    y += round(1.6 * line_height(size))
    for keys, what in rows:
        write(cut, keys, (size, y), size, (0, 80, 140), bold=True)
        write(cut, what, (size + first, y), size, colour_of(INK))
        y += line_height(size)
    return sheet


def _size(size: int) -> tuple[int, int, int]:
    """Give width and height of the sheet and of its first column at a letter size, px."""
    rows = help_rows()
    first = max(text_width(keys, size, True) for keys, _ in rows) + size
    wide = first + max(text_width(what, size) for _, what in rows) + 2 * size + 4
    return wide, round((len(rows) + 1.6) * line_height(size)) + 2 * size, first
