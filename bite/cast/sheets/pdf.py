"""The cast on paper: who needs what, dial values, a forest plot for each device, every frame's picture."""

from __future__ import annotations

from collections.abc import Iterator
from io import BytesIO
from textwrap import wrap
from typing import TYPE_CHECKING
from warnings import catch_warnings, filterwarnings

from bite.cast.content import CastContent
from bite.cast.sheets.forest import forest_figure
from bite.cast.sheets.page import dial_text, offset_told
from bite.cast.sheets.pdf_frames import PAPER_IN, frame_sheets
from bite.check.words import CAUTION
from bite.plots.style import INK, TITLE_PT, blank_figure, house_style

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_LINES = 72
_WIDE = 104
_LINE_PT = 7.5
MOST_FAILURES = 200
"""More lines than anybody reads on paper; all of them stand in cast.html and cast.csv."""


def cast_pdf(content: CastContent) -> bytes:
    """Give the PDF's bytes: no date, so the same cast gives the same file."""
    from matplotlib.backends.backend_pdf import PdfPages

    stream = BytesIO()
    with house_style(), catch_warnings():
        filterwarnings("ignore", message="Glyph .* missing from")
        with PdfPages(stream, metadata={"CreationDate": None, "Creator": None, "Producer": None}) as pages:
            for figure in _figures(content):
                pages.savefig(figure)
    return stream.getvalue()


def _figures(content: CastContent) -> Iterator[Figure]:
    lines = list(_lines(content))
    count = -(-len(lines) // _LINES)
    for number in range(count):
        figure = blank_figure(*PAPER_IN)
        title = f"{content.name[:70]}, page {number + 1} of {count}"
        figure.text(0.06, 0.965, title, va="top", fontsize=TITLE_PT, fontweight="bold", color=INK)
        text = "\n".join(lines[number * _LINES : (number + 1) * _LINES])
        figure.text(
            0.06,
            0.94,
            text,
            va="top",
            fontsize=_LINE_PT,
            family="DejaVu Sans Mono",
            linespacing=1.35,
            color=INK,
        )
        figure.text(0.06, 0.02, f"bite {content.version}. {CAUTION}", fontsize=6.0, color=INK)
        yield figure
    for summary in content.devices:
        yield forest_figure(summary, content.tolerance_mm)
    yield from frame_sheets(content.rows, content.version)


def _lines(content: CastContent) -> Iterator[str]:
    yield (
        f"{len(content.rows)} frames checked, {len(content.failures)} not; tolerance "
        f"{content.tolerance_mm:g} mm; forward is positive"
    )
    for summary in content.devices:
        yield ""
        yield from wrap(summary.text, _WIDE)
        yield from wrap(f"To do: {summary.todo}", _WIDE) if summary.todo else ()
    yield from ("", "ONE ANSWER A PERFORMER, WORST FIRST", "")
    for answer in content.answers:
        row = answer.frame
        if row is None:
            yield f"{answer.performer[:24]:<25}not checked"
            continue
        dial = f"  type {dial_text(row)}" if dial_text(row) else ""
        told = f"{row.verdict.upper():<9}{offset_told(row):<20}{row.name[:28]}{dial}"
        yield f"{answer.performer[:24]:<25}{told}"
        if row.needs_person:
            yield from wrap(row.why, _WIDE, initial_indent="    ", subsequent_indent="    ")
    if content.failures:
        yield from ("", "NOT CHECKED", "")
        for failure in content.failures[:MOST_FAILURES]:
            yield from wrap(failure.line, _WIDE, subsequent_indent="    ")
        if len(content.failures) > MOST_FAILURES:
            yield f"and {len(content.failures) - MOST_FAILURES} more: see cast.html or cast.csv"
    if content.notes:
        yield from ("", "FRAMES AGAINST EACH OTHER", "")
        for note in content.notes:
            yield from wrap(f"{note.severity}: {note.text}", _WIDE, subsequent_indent="    ")
    yield from ("", "ALL FRAMES, WORST FIRST", "")
    for row in content.rows:
        yield (
            f"{row.name[:34]:<35}{row.verdict.upper():<9}{offset_told(row):<20}"
            f"{dial_text(row):<8}{row.device[:18]}"
        )
