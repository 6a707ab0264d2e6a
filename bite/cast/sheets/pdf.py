"""The cast on A4 paper: who needs what, dial values, a forest plot for each device, the worst frames."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from io import BytesIO
from typing import TYPE_CHECKING
from warnings import catch_warnings, filterwarnings

from bite.cast.content import CastContent, FrameRow
from bite.cast.sheets.flow import (
    ALARM,
    TITLE_PT,
    WIDE_IN,
    Line,
    Piece,
    broken,
    heading,
    pages,
    sentences,
    table,
    text_sheet,
    write_foot,
)
from bite.cast.sheets.forest import forest_sheets
from bite.cast.sheets.pdf_frames import frame_sheets
from bite.cast.sheets.told import (
    MARKS,
    held,
    lead_told,
    list_dial,
    news_of,
    offset_told,
    todo_told,
    typed,
    why_told,
)
from bite.check.finding import Severity
from bite.check.words import CAUTION
from bite.plots.letters import make_readable
from bite.plots.style import house_style

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MOST_FAILURES, MOST_LISTED = 200, 500
"""More than anybody reads on paper; all of them stand in cast.html and cast.csv."""


def cast_pdf(content: CastContent) -> bytes:
    """Give the PDF's bytes: no date, so the same cast gives the same file."""
    from matplotlib.backends.backend_pdf import PdfPages

    stream = BytesIO()
    with house_style(), catch_warnings():
        filterwarnings("ignore", message="Glyph .* missing from")
        with PdfPages(stream, metadata={"CreationDate": None, "Creator": None, "Producer": None}) as sheets:
            every = _sheets(content)
            foot = f"{content.name[:60]}; bite {content.version}\n{CAUTION}"
            for number, draw in enumerate(every, 1):
                figure = draw()
                write_foot(figure, foot, number, len(every))
                make_readable(figure)
                sheets.savefig(figure)
    return stream.getvalue()


def _sheets(content: CastContent) -> list[Callable[[], Figure]]:
    """Give what draws each page, so that their number is known before the first is drawn."""
    every: list[Callable[[], Figure]] = [partial(text_sheet, page) for page in pages(_lines(content))]
    for summary in content.devices:
        every += forest_sheets(summary, content.tolerance_mm)
    return [*every, *frame_sheets(content)]


def _lines(content: CastContent) -> Iterator[Line]:
    for k, line in enumerate(broken(content.name, WIDE_IN, TITLE_PT, bold=True)[:3]):
        yield Line((Piece(line, bold=True),), TITLE_PT, above_pt=0.0 if k else 4.0, holds=True)
    failed = len(content.failures)
    could = f"; {failed} file{'s' if failed > 1 else ''} could not be checked" if failed else ""
    yield from sentences(f"{lead_told(content)}{could}.", bold=True, above_pt=6.0)
    device = content.performance_device or "a device that nobody named"
    yield from sentences(
        f"{len(content.rows)} frames checked; tolerance {content.tolerance_mm:g} mm; "
        f"performances with {device}. Forward, out of the mouth, is positive; ± is one sd."
    )
    for summary in content.devices:
        if summary.severity in (Severity.WARN, Severity.FAIL):
            first, rest = news_of(summary.text)
            yield from sentences(first, bold=True, colour=ALARM, above_pt=10.0)
            yield from sentences(f"To do: {summary.todo}") if summary.todo else ()
            yield from sentences(rest)
    yield from _people(content)
    yield from _dials(content)
    if content.failures:
        yield heading(f"Not checked ({failed})")
        for failure in content.failures[:MOST_FAILURES]:
            yield from sentences(failure.line, above_pt=2.0)
        if failed > MOST_FAILURES:
            yield from sentences(f"and {failed - MOST_FAILURES} more: see cast.html or cast.csv")
    if content.notes:
        yield heading("Frames against each other")
        for note in content.notes:
            yield from sentences(f"{note.severity}: {note.text}. To do: {note.todo}.", above_pt=3.0)
    yield from _every(content)


def _people(content: CastContent) -> Iterator[Line]:
    people = [answer for answer in content.answers if answer.needs_person]
    yield heading(f"Needs a person ({len(people)})")
    if not people:
        yield from sentences("Nobody.")
        return
    rows = (
        (
            answer.performer,
            _verdict(answer.frame),
            todo_told(answer),
            typed(answer) or "none",
            why_told(answer),
        )
        for answer in people
    )
    yield from table(
        (("Performer", 1.15), ("Verdict", 1.2), ("To do", 2.15), ("Type", 0.55), ("Why", WIDE_IN - 5.05)),
        rows,
    )


def _verdict(row: FrameRow | None) -> str:
    return "▲ not checked" if row is None else f"{MARKS[row.verdict]} {row.verdict}"


def _dials(content: CastContent) -> Iterator[Line]:
    back = [answer for answer in content.answers if held(answer) and not answer.needs_person]
    for word, column, answers, value in (
        ("Dial values to type", "Type this", [a for a in content.answers if typed(a)], typed),
        ("Dial values held back", "Not yet", back, held),
    ):
        if not answers:
            continue
        yield heading(f"{word} ({len(answers)})")
        rows = []
        for answer in answers:
            row = answer.frame
            assert row is not None
            was = "not known" if row.dial_before is None else f"{row.dial_before:.2f}"
            rows.append((answer.performer, value(answer), was, _verdict(row), offset_told(row), row.name))
        yield from table(
            (("Performer", 1.5), (column, 0.85), ("Dial was", 0.85), ("Verdict", 0.95), ("Offset", 1.45),
             ("From frame", WIDE_IN - 5.6)),
            rows, bold=1,
        )  # fmt: skip


def _every(content: CastContent) -> Iterator[Line]:
    answers = {answer.performer: answer for answer in content.answers}
    listed = content.rows[:MOST_LISTED]
    if not listed:
        return
    yield heading("All frames, worst first")
    rows = (
        (
            row.name,
            row.performer,
            _verdict(row),
            offset_told(row),
            list_dial(row, answers[row.performer]),
            row.device,
        )
        for row in listed
    )
    yield from table(
        (("Frame", 1.7), ("Performer", 1.25), ("Verdict", 0.95), ("Offset", 1.4), ("Dial", 0.95),
         ("Device", WIDE_IN - 6.25)),
        rows,
    )  # fmt: skip
    if len(content.rows) > MOST_LISTED:
        yield from sentences(f"and {len(content.rows) - MOST_LISTED} more: see cast.html or cast.csv")
