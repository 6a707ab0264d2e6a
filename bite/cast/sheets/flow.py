"""Text on A4 paper: headings, sentences and tables, broken into pages whose number is known beforehand."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from bite.plots.style import INK, NEUTRAL, blank_figure

if TYPE_CHECKING:
    from matplotlib.figure import Figure

A4_IN = (8.27, 11.69)
MARGIN_IN = 0.6
FOOT_IN, HEAD_IN = 0.75, 0.6
TEXT_PT, HEADING_PT, TITLE_PT, FOOT_PT = 9.5, 13.0, 19.0, 8.0
_LEADING = 1.32
"""Line's height over letter's height."""
_PT = 72.0
WIDE_IN = A4_IN[0] - 2 * MARGIN_IN
ALARM = "#8a1c00"


@dataclass(frozen=True, slots=True)
class Piece:
    """One line of text at a place of its own: from the left margin, in inches, and its looks."""

    text: str
    left_in: float = 0.0
    bold: bool = False
    colour: str = INK


@dataclass(frozen=True, slots=True)
class Line:
    """What stands on one height: pieces of text, the height it takes, and whether a rule follows it.

    ``holds`` says that the next line must stand on the same page; ``again`` that a page that breaks a table
    starts with it.
    """

    pieces: tuple[Piece, ...]
    size_pt: float = TEXT_PT
    above_pt: float = 0.0
    rule: bool = False
    holds: bool = False
    again: tuple[Line, ...] = ()

    @property
    def height_in(self) -> float:
        """Height that the line takes, inches."""
        return (self.size_pt * _LEADING + self.above_pt) / _PT


@lru_cache(maxsize=2)
def _font(bold: bool) -> object:
    from matplotlib.font_manager import FontProperties, findfont, get_font

    return get_font(findfont(FontProperties(family="DejaVu Sans", weight="bold" if bold else "normal")))


@lru_cache(maxsize=20_000)
def width_in(text: str, size_pt: float = TEXT_PT, bold: bool = False) -> float:
    """Give how wide a text comes out, inches; letters that the font lacks count as its box."""
    font = _font(bold)
    font.set_size(size_pt, 720)  # type: ignore[attr-defined]  # matplotlib's font has no types
    font.set_text(text.replace("\n", " "))  # type: ignore[attr-defined]  # matplotlib's font has no types
    return float(font.get_width_height()[0]) / 64.0 / 720.0  # type: ignore[attr-defined]  # matplotlib's font has no types


def broken(text: str, room_in: float, size_pt: float = TEXT_PT, *, bold: bool = False) -> list[str]:
    """Break a text into lines that fit; a word that is wider than a line is cut.

    Examples
    --------
    >>> broken("two words", 10.0)
    ['two words']
    """
    lines: list[str] = []
    line = ""
    for word in text.split():
        while width_in(word, size_pt, bold) > room_in and len(word) > 1:
            if line:
                lines.append(line)
                line = ""
            fits = max(1, int(len(word) * room_in / width_in(word, size_pt, bold)))
            while fits > 1 and width_in(word[:fits], size_pt, bold) > room_in:
                fits -= 1
            lines.append(word[:fits])
            word = word[fits:]
        longer = f"{line} {word}" if line else word
        if line and width_in(longer, size_pt, bold) > room_in:
            lines.append(line)
            line = word
        else:
            line = longer
    return [*lines, line] if line or not lines else lines


def heading(text: str) -> Line:
    """Give a heading, which never ends a page."""
    return Line((Piece(text, bold=True),), HEADING_PT, above_pt=12.0, rule=True, holds=True)


def sentences(text: str, *, bold: bool = False, colour: str = INK, above_pt: float = 0.0) -> list[Line]:
    """Give a paragraph over the whole width."""
    lines = broken(text, WIDE_IN, bold=bold)
    return [
        Line((Piece(line, bold=bold, colour=colour),), above_pt=above_pt if k == 0 else 0.0, holds=k == 0)
        for k, line in enumerate(lines)
    ]


def table(
    columns: Sequence[tuple[str, float]], rows: Iterable[Sequence[str]], bold: int = 0
) -> Iterator[Line]:
    """Give a table's lines; a page that it runs onto starts with its head.

    Parameters
    ----------
    columns : sequence of (word, width in inches); they share the page's width
    rows : iterable of sequences of str
    bold : int, the column that is set in bold
    """
    lefts = [sum(width for _, width in columns[:k]) for k in range(len(columns))]
    words = tuple(Piece(word, left, bold=True) for (word, _), left in zip(columns, lefts, strict=True))
    head = Line(words, 8.5, above_pt=4.0, rule=True, holds=True)
    yield head
    for row in rows:
        cells = [
            broken(cell, width - 0.1, bold=k == bold)
            for k, (cell, (_, width)) in enumerate(zip(row, columns, strict=True))
        ]
        high = max(len(cell) for cell in cells)
        for number in range(high):
            pieces = tuple(
                Piece(cell[number], left, bold=k == bold)
                for k, (cell, left) in enumerate(zip(cells, lefts, strict=True))
                if number < len(cell)
            )
            last = number == high - 1
            yield Line(pieces, above_pt=2.0 if number == 0 else 0.0, rule=last, holds=not last, again=(head,))


def pages(lines: Iterable[Line]) -> list[list[Line]]:
    """Fill pages with lines."""
    room = A4_IN[1] - HEAD_IN - FOOT_IN
    out: list[list[Line]] = []
    page: list[Line] = []
    used = 0.0
    block: list[Line] = []

    def settle() -> None:
        nonlocal page, used, block
        needed = sum(line.height_in for line in block)
        if page and used + needed > room:
            out.append(page)
            page = list(block[0].again)
            used = sum(line.height_in for line in page)
        for line in block:  # a block of more than a page is broken where the page ends
            if used + line.height_in > room and page:
                out.append(page)
                page, used = [], 0.0
            page.append(line)
            used += line.height_in
        block = []

    for line in lines:
        block.append(line)
        if not line.holds:
            settle()
    if block:
        settle()
    return [*out, page] if page else out


def text_sheet(lines: Sequence[Line]) -> Figure:
    """Draw one page of lines."""
    from matplotlib.lines import Line2D

    figure = blank_figure(*A4_IN)
    wide, high = A4_IN
    down = HEAD_IN
    for line in lines:
        down += line.height_in
        base = 1.0 - (down - 0.3 * line.size_pt / _PT) / high
        for piece in line.pieces:
            figure.text(
                (MARGIN_IN + piece.left_in) / wide, base, piece.text, va="baseline", fontsize=line.size_pt,
                fontweight="bold" if piece.bold else "normal", color=piece.colour,
            )  # fmt: skip
        if line.rule:
            at = 1.0 - (down + 0.01) / high
            ends = [MARGIN_IN / wide, 1.0 - MARGIN_IN / wide]
            strong = line.size_pt != TEXT_PT
            colour, wide_pt = (INK, 1.0) if strong else (NEUTRAL, 0.4)
            figure.add_artist(Line2D(ends, [at, at], color=colour, lw=wide_pt))
    return figure


def write_foot(figure: Figure, left: str, page: int, of: int) -> None:
    """Write what stands at the foot of every page: what it is, and which page of how many."""
    wide, high = figure.get_size_inches()
    at = 0.42 / high
    figure.text(MARGIN_IN / wide, at, left, fontsize=FOOT_PT, color=INK, va="top", linespacing=1.3)
    figure.text(
        1.0 - MARGIN_IN / wide, at, f"page {page} of {of}", ha="right", fontsize=FOOT_PT, fontweight="bold",
        color=INK, va="top",
    )  # fmt: skip


