"""A sheet of rows over the picture, as large as fits, in pages where it does not fit at once."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

from bite.annotate.drawing.lettering import (
    Colour,
    Pixels,
    colour_of,
    line_height,
    text_width,
    wrapped,
    write,
)
from bite.annotate.state.sheet import Sheet
from bite.annotate.state.view import Area, Point
from bite.plots.style import INK

_PAPER: Colour = (252, 251, 248)
"""Colours of a sheet: dark on light reads in a bright and in a dark room (our choice)."""
_MARKED: Colour = (255, 226, 160)  # a row that the arrows reached (our choice)
_KEYS: Colour = (0, 80, 140)  # as links (our choice)
_SIZES_PX = range(14, 9, -1)
"""Letter sizes that are tried at unit 1: smaller than 10 px nobody reads (our choice)."""
_FIRST_SHARE = 0.42
"""Most of a sheet's width that its first column takes; longer keys are broken (our choice)."""


@dataclass(frozen=True, slots=True)
class _Row:
    left: tuple[str, ...]
    right: tuple[str, ...]

    @property
    def lines(self) -> int:
        return max(len(self.left), len(self.right), 1)


@dataclass(frozen=True, slots=True)
class _Layout:
    """Where everything lies: letter size, first column's width, broken rows, and the rows of each page."""

    area: Area
    size: int
    first: int
    title: tuple[str, ...]
    rows: tuple[_Row, ...]
    pages: tuple[range, ...]
    page: int

    def placed(self) -> Iterator[tuple[int, int]]:
        """Give the row numbers of the page with the y of their first line, px of the area drawn in."""
        y = self.area.top + self.size // 2 + round((len(self.title) + 0.6) * line_height(self.size))
        for number in self.pages[self.page]:
            yield number, y
            y += self.rows[number].lines * line_height(self.size)


def draw_sheet(target: Pixels, area: Area, sheet: Sheet, *, unit: float = 1.0) -> Area:
    """Draw the page in the middle of an area; give where it lies.

    Parameters
    ----------
    target : array, shape (height, width, 4), of which ``area`` is a part
    """
    laid = _laid(area, sheet, unit)
    box, size, high = laid.area, laid.size, line_height(laid.size)
    target[box.top : box.bottom, box.left : box.right] = (*_PAPER, 255)
    cut = target[box.top : box.bottom, box.left : box.right]
    for edge in (cut[:2], cut[-2:], cut[:, :2], cut[:, -2:]):
        edge[..., :3] = colour_of(INK)
    pad = size // 2
    for k, line in enumerate(laid.title):
        write(cut, line, (pad, pad + k * high), size, colour_of(INK), bold=True)
    for number, y in laid.placed():
        row, top = laid.rows[number], y - box.top
        if number == sheet.marked:
            cut[top : top + row.lines * high, 2:-2, :3] = _MARKED
        for k, line in enumerate(row.left):
            write(cut, line, (pad, top + k * high), size, _KEYS, bold=True)
        for k, line in enumerate(row.right):
            write(cut, line, (pad + laid.first, top + k * high), size, colour_of(INK))
    return box


def page_count(area: Area, sheet: Sheet, *, unit: float = 1.0) -> int:
    """Give how many pages a sheet has in an area."""
    return len(_laid(area, sheet, unit).pages)


def row_at(area: Area, sheet: Sheet, at: Point, *, unit: float = 1.0) -> int | None:
    """Give the row under a screen place; None where there is none."""
    laid = _laid(area, sheet, unit)
    if not laid.area.holds(at):
        return None
    for number, y in laid.placed():
        if y <= at[1] < y + laid.rows[number].lines * line_height(laid.size):
            return number
    return None


@lru_cache(maxsize=4)  # a pointer that moves asks again and again for the same sheet
def _laid(area: Area, sheet: Sheet, unit: float) -> _Layout:
    room = max(40, area.height - 8)
    sizes = sorted({max(_SIZES_PX[-1], round(s * unit)) for s in _SIZES_PX}, reverse=True)
    for size in sizes:
        laid = _at_size(area, sheet, size, room)
        if len(laid.pages) == 1:
            return laid
    # in pages anyway: then at a size that reads well
    return _at_size(area, sheet, sizes[len(sizes) // 2], room)


def _at_size(area: Area, sheet: Sheet, size: int, room: int) -> _Layout:
    high, pad = line_height(size), size // 2
    widest = max(60, area.width - 8)
    first = max((text_width(left, size, True) for left, _ in sheet.rows), default=0) + size
    first = min(first, round(_FIRST_SHARE * widest))
    wide = min(
        widest,
        max(
            first + max((text_width(right, size) for _, right in sheet.rows), default=0) + 2 * pad + 4,
            text_width(sheet.title, size, True) + 2 * pad + 4,
        ),
    )
    rows = tuple(
        _Row(
            tuple(wrapped(left, first - pad, size, bold=True)),
            tuple(wrapped(right, wide - first - 2 * pad, size)),
        )
        for left, right in sheet.rows
    )
    title = tuple(wrapped(sheet.title, wide - 2 * pad, size, bold=True))
    head = round((len(title) + 0.6) * high) + 2 * pad
    pages = _paged(rows, max(1, (room - head) // high))
    if len(pages) > 1:
        # the count of pages needs a line of its own
        title = tuple(wrapped(f"{sheet.title}, page 9 of {len(pages)}", wide - 2 * pad, size, bold=True))
        head = round((len(title) + 0.6) * high) + 2 * pad
        pages = _paged(rows, max(1, (room - head) // high))
    if sheet.marked is not None:
        page = next((k for k, page in enumerate(pages) if sheet.marked in page), 0)
    else:
        page = sheet.page % len(pages)
    if len(pages) > 1:
        told = f"{sheet.title}, page {page + 1} of {len(pages)}"
        title = tuple(wrapped(told, wide - 2 * pad, size, bold=True))
    tallest = max(sum(rows[k].lines for k in page) for page in pages)
    tall = min(area.height, head + tallest * high)
    left = area.left + max(0, (area.width - wide) // 2)
    top = area.top + max(0, (area.height - tall) // 2)
    return _Layout(
        Area(left, top, left + wide, top + tall).within(area), size, first, title, rows, pages, page
    )


def _paged(rows: tuple[_Row, ...], lines: int) -> tuple[range, ...]:
    pages, start, used = [], 0, 0
    for number, row in enumerate(rows):
        if used + row.lines > lines and number > start:
            pages.append(range(start, number))
            start, used = number, 0
        used += row.lines
    return (*pages, range(start, len(rows)))
