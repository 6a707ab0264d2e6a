"""The page of a cast: one offline file, worst first, written piece by piece so that thousands fit."""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bite.cast.content import NEEDS_A_PERSON, CastContent, FrameRow
from bite.check.decision import Verdict
from bite.check.finding import Severity
from bite.check.words import CAUTION, dial_told, rounded_pair, signed

if TYPE_CHECKING:
    from jinja2 import Environment

SOURCES = tuple(
    Path(__file__).with_name(name)
    for name in (
        "page.html", "page.css.html", "page.js.html", "page.py", "pdf.py", "pdf_frames.py", "forest.py",
    )
)  # fmt: skip
"""What page and PDF are made with."""
MOST_FAILURES = 30
"""Lines before the frames; more of them come at the end, so that nobody scrolls past thousands."""
MOST_OTHERS = 6
"""Other frames beside a performer's dial value; all of them stand in the table of all frames."""
MARKS = {
    Verdict.RESHOOT: "✕", Verdict.UNSURE: "?", Verdict.BEYOND: "!", Verdict.MOVE: "→", Verdict.LEAVE: "✓",
    Verdict.USABLE: "○",
}  # fmt: skip
"""A shape for each verdict, beside its word and colour."""


def page_pieces(content: CastContent) -> Iterator[str]:
    """Give the page's text in pieces; each frame's result and picture are read only when its turn comes.

    Everything that comes from a file is escaped. The page's policy forbids every address outside it, and
    every script and style but its own.
    """
    environment = _environment()
    style, script = (_source(environment, name) for name in ("page.css.html", "page.js.html"))
    template = environment.get_template("page.html")
    anchors = _anchors(content)
    yield from template.generate(
        cast=content,
        anchors=anchors,
        counts=[(v, sum(row.verdict is v for row in content.rows)) for v in MARKS],
        people=[a for a in content.answers if a.frame is None or a.frame.verdict in NEEDS_A_PERSON],
        typed_answers=[a for a in content.answers if a.frame is not None and _is_typed(a.frame)],
        disagreeing={name for n in content.notes if n.code == "frames-disagree" for name in n.frames},
        warnings=[d for d in content.devices if d.severity in (Severity.WARN, Severity.FAIL)],
        forests=((summary, forest_address(summary, content.tolerance_mm)) for summary in content.devices),
        frames=((row, *_frame_parts(row)) for row in content.rows),
        marks=MARKS,
        most_failures=MOST_FAILURES,
        most_others=MOST_OTHERS,
        style=style,
        script=script,
        policy="default-src 'none'; img-src data:; "
        f"style-src '{_digest(style)}'; script-src '{_digest(script)}'",
        caution=CAUTION,
    )


def forest_address(summary: Any, tolerance_mm: float) -> str:
    """Give a device's forest plot as a data address."""
    from bite.cast.sheets.forest import forest_figure
    from bite.plots.saving import figure_bytes

    return _address(figure_bytes(forest_figure(summary, tolerance_mm)), "png")


def offset_told(row: FrameRow) -> str:
    """Give offset and sd in mm, or that it was not measured."""
    if row.t_mm is None or row.sd_mm is None:
        return "not measured"
    value, sd = rounded_pair(row.t_mm, row.sd_mm)
    return f"{signed(value)} ± {sd} mm"


def dial_text(row: FrameRow) -> str:
    """Give the dial value that is to be typed, empty where none is advised."""
    return dial_told(row.dial, row.dial_step) if row.dial is not None and row.dial_advised else ""


def picture_told(row: FrameRow) -> str:
    """Say in words what a frame's picture shows, with its numbers."""
    dial = f"; dial {dial_text(row)}" if dial_text(row) else ""
    return f"Before and after, {row.name}: {row.verdict}, offset {offset_told(row)}{dial}"


def _is_typed(row: FrameRow) -> bool:
    return row.verdict in (Verdict.MOVE, Verdict.BEYOND, Verdict.LEAVE) and bool(dial_text(row))


def _frame_parts(row: FrameRow) -> tuple[dict[str, Any], str]:
    from bite.files.result import read_result
    from bite.files.source import read_bytes

    return read_result(row.result), _address(read_bytes(row.picture), "webp")


def _address(data: bytes, kind: str) -> str:
    return f"data:image/{kind};base64,{base64.b64encode(data).decode('ascii')}"


def _anchors(content: CastContent) -> dict[str, str]:
    """Give each frame's address in the page: its name, made distinct where letters had to go."""
    found = {}
    for row in content.rows:
        plain = re.sub(r"[^A-Za-z0-9_-]+", "-", row.name)
        own = plain if plain == row.name else f"{plain}-{hashlib.sha256(row.name.encode()).hexdigest()[:8]}"
        found[row.name] = f"frame-{own}"
    return found


def _environment() -> Environment:
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    environment = Environment(
        loader=FileSystemLoader(Path(__file__).parent),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals.update(offset_told=offset_told, dial_text=dial_text, picture_told=picture_told)
    return environment


def _source(environment: Environment, name: str) -> str:
    assert environment.loader is not None
    return environment.loader.get_source(environment, name)[0]


def _digest(text: str) -> str:
    return f"sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode('ascii')}"
