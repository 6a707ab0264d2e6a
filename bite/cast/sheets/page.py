"""The page of a cast: one offline file, worst first, written piece by piece so that thousands fit."""

from __future__ import annotations

import base64
import hashlib
import os
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from bite.cast.content import CastContent, FrameRow
from bite.cast.sheets import bars, told
from bite.check.finding import Severity
from bite.check.words import CAUTION, signed

if TYPE_CHECKING:
    from jinja2 import Environment

SOURCES = (
    *(
        Path(__file__).with_name(name)
        for name in (
            "page.html", "page.parts.html", "page.css.html", "page.js.html", "page.py", "told.py", "bars.py",
            "pdf.py", "pdf_frames.py", "forest.py",
        )
    ),
    *(Path(__file__).parents[1] / name for name in ("advice.py", "mouth_pictures.py")),
)  # fmt: skip
"""What page and PDF are made with."""
MOST_FAILURES = 30
"""Lines before the frames; more of them come at the end, so that nobody scrolls past thousands."""
MOST_PICTURED = 300
"""Frames whose pictures are in the page, some 100 kB each: more make it slow to open (docs/measured.md)."""
MOST_OTHERS = 6
"""Other frames beside a performer's dial value; all of them stand in the table of all frames."""
_TYPED = "One value a performer, from the frame that knows it best."
_HELD = "What the frames ask for. Do not type these until the cause that all share is found."


@dataclass(frozen=True, slots=True)
class Pictures:
    """A frame's pictures as data addresses; empty for one that there is not.

    ``beside`` is the address of the check's own picture on disk, as seen from the page.
    """

    check: str
    before: str
    after: str
    beside: str


def page_pieces(content: CastContent, folder: Path) -> Iterator[str]:
    """Give the page's text in pieces; each frame's result and pictures are read only when its turn comes.

    At most `MOST_PICTURED` frames have their pictures in it: those that speak for their performers, then the
    worst. Of the others it has the thumbnails, and links to the checks' pictures on disk, as seen from
    ``folder``, where the page is to lie.

    Everything that comes from a file is escaped. The page's policy forbids every address outside it but a
    link's, and every script and style but its own.
    """
    environment = _environment()
    style, script = (_source(environment, name) for name in ("page.css.html", "page.js.html"))
    anchors, pictured = _anchors(content), _pictured(content)
    environment.globals.update(anchors=anchors, marks=told.MARKS)
    template = environment.get_template("page.html")
    yield from template.generate(
        cast=content,
        lead=told.lead_told(content),
        counts=[(v, sum(row.verdict is v for row in content.rows)) for v in told.MARKS],
        people=[answer for answer in content.answers if answer.needs_person],
        dial_tables=_dial_tables(content),
        answer_of={answer.performer: answer for answer in content.answers},
        warnings=[d for d in content.devices if d.severity in (Severity.WARN, Severity.FAIL)],
        frames=((row, *_frame_parts(row, folder, row.name in pictured)) for row in content.rows),
        pictured=len(pictured),
        most_failures=MOST_FAILURES,
        most_others=MOST_OTHERS,
        style=style,
        script=script,
        policy="default-src 'none'; img-src data:; "
        f"style-src '{_digest(style)}'; script-src '{_digest(script)}'",
        caution=CAUTION,
    )


def _dial_tables(content: CastContent) -> list[tuple[str, str, list[Any], str, str]]:
    """Give heading, anchor, answers, caption and column of the values to type and of those held back."""
    typed = [answer for answer in content.answers if told.typed(answer)]
    held = [answer for answer in content.answers if told.held(answer) and not answer.needs_person]
    tables = [("Dial values to type", "dials", typed, _TYPED, "Type this")] if typed or not held else []
    if held:
        tables.append(("Dial values held back", "held" if typed else "dials", held, _HELD, "Not yet"))
    return tables


def small_address(row: FrameRow) -> str:
    """Give the thumbnail of a row's mouth as a data address; only for a row that has one."""
    from bite.files.source import read_bytes

    assert row.mouth is not None
    return _address(read_bytes(row.mouth.small), "webp")


def two_places(value: float) -> str:
    """Give a number to two places with its sign; 0 has none."""
    return signed(f"{round(value, 2) + 0.0:.2f}")


def one_sign(text: str) -> str:
    """Give a sentence of a result with the sign that every screen has.

    Examples
    --------
    >>> one_sign("offset +1.24 +- 0.35 mm")
    'offset +1.24 ± 0.35 mm'
    """
    return text.replace(" +- ", " ± ")


def _pictured(content: CastContent) -> frozenset[str]:
    """Choose the frames whose pictures are in the page."""
    speak = {answer.frame.name for answer in content.answers if answer.frame is not None}
    # a sort that is stable: worst first stays within each
    order = sorted(content.rows, key=lambda row: row.name not in speak)
    return frozenset(row.name for row in order[:MOST_PICTURED])


def _frame_parts(row: FrameRow, folder: Path, pictured: bool) -> tuple[dict[str, Any], Pictures]:
    from bite.files.result import read_result
    from bite.files.source import read_bytes

    beside = row.result.with_name(f"{row.name}.before-after.png")
    address = quote(Path(os.path.relpath(beside, folder)).as_posix())
    if not pictured:
        return read_result(row.result), Pictures("", "", "", address)
    mouth = row.mouth
    shown = (row.picture, mouth.before if mouth else None, mouth.after if mouth else None)
    check, before, after = (_address(read_bytes(path), "webp") if path is not None else "" for path in shown)
    return read_result(row.result), Pictures(check, before, after, address)


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
    names = (
        "offset_told", "offset_alone", "interval_alone", "typed", "held", "todo_told", "why_told", "news_of",
        "frame_dial_told", "frame_alone", "list_dial", "picture_told",
    )  # fmt: skip
    environment.globals.update({name: getattr(told, name) for name in names})
    environment.globals.update(
        forest_bars=bars.forest_bars,
        small_address=small_address,
        two_places=two_places,
        one_sign=one_sign,
    )
    return environment


def _source(environment: Environment, name: str) -> str:
    assert environment.loader is not None
    return environment.loader.get_source(environment, name)[0]


def _digest(text: str) -> str:
    return f"sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode('ascii')}"
