"""Pages of a cast's PDF that show one frame each: what to do, the mouth before and after, the check."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from bite.cast.content import CastContent, FrameRow, PerformerAnswer
from bite.cast.sheets.flow import A4_IN, HEAD_IN, HEADING_PT, MARGIN_IN, TEXT_PT, WIDE_IN, broken
from bite.cast.sheets.told import (
    MARKS,
    frame_alone,
    frame_dial_told,
    interval_alone,
    offset_told,
    todo_told,
    typed,
)
from bite.plots.style import AFTER, BEFORE, INK, blank_figure

if TYPE_CHECKING:
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

MOST_PICTURED = 24
"""Whoever has more frames reads the page, which holds them all. Pictures stay in memory until a PDF is
closed."""
_COLOURS = 256
"""A PDF keeps pictures of up to 256 colours at a byte a pixel."""
_MOUTH_IN, _BETWEEN_IN, _CAPTION_IN = 2.25, 0.12, 0.22
_LOWEST_IN = 0.95
_LEADING = 1.32
"""Line's height over letter's height, as in `flow`."""


def frame_sheets(content: CastContent) -> list[Callable[[], Figure]]:
    """Give what draws a page for each frame, in the order of the rows; at most `MOST_PICTURED` frames."""
    answers = {answer.performer: answer for answer in content.answers}
    shown = content.rows[:MOST_PICTURED]
    left = len(content.rows) - len(shown)
    return [
        partial(_sheet, row, answers[row.performer], left if row is shown[-1] else 0) for row in shown
    ]


def _sheet(row: FrameRow, answer: PerformerAnswer, more: int) -> Figure:
    figure = blank_figure(*A4_IN)
    down = HEAD_IN
    for line in broken(f"{row.name} ({row.performer})", WIDE_IN, HEADING_PT, bold=True)[:2]:
        down = _write(figure, line, down, MARGIN_IN, size_pt=HEADING_PT, bold=True)
    top = down + 0.1
    mouths = [(row.mouth.before, "before", BEFORE.colour)] if row.mouth else []
    if row.mouth and row.mouth.after:
        mouths.append((row.mouth.after, "after", AFTER.colour))
    low, left = top, MARGIN_IN
    for path, word, colour in mouths:
        bottom = _place(figure, path, left, top, _MOUTH_IN, 4.0)
        solved = row.mouth is not None and row.mouth.solved
        caption = "after" if word == "after" else _before(row)
        low = max(low, _write(figure, caption, bottom, left, colour=colour if solved else INK, bold=True))
        left += _MOUTH_IN + _BETWEEN_IN
    room = A4_IN[0] - MARGIN_IN - left
    at = top
    for words, bold in _lines_of(row, answer):
        for line in broken(words, room, bold=bold):
            at = _write(figure, line, at, left, bold=bold)
        at += 0.05
    low = _place(figure, row.picture, MARGIN_IN, max(low, at) + 0.15, WIDE_IN, A4_IN[1] - _LOWEST_IN) + 0.1
    lines = list(_findings(row))
    if more:
        lines.append(f"{more} more frames are in cast.html.")
    for words in lines:
        pieces = broken(words, WIDE_IN)
        if low + len(pieces) * TEXT_PT * _LEADING / 72 > A4_IN[1] - 0.55 and words is not lines[-1]:
            _write(figure, "More is told in cast.html.", low, MARGIN_IN)
            break
        for line in pieces:
            low = _write(figure, line, low, MARGIN_IN)
        low += 0.04
    return figure


def _before(row: FrameRow) -> str:
    if row.mouth is None or not row.mouth.solved:
        return "the photograph"
    return "before, dashed" if row.mouth.after else "as solved, dashed"


def _lines_of(row: FrameRow, answer: PerformerAnswer) -> Iterator[tuple[str, bool]]:
    yield f"{MARKS[row.verdict]} {row.verdict}", True
    speaks = answer.frame is row
    if speaks and typed(answer):
        was = "" if row.dial_before is None else f" (was {row.dial_before:.2f})"
        yield f"type this dial value: {typed(answer)}{was}", True
    elif frame_dial_told(row, answer):
        yield f"dial: {frame_dial_told(row, answer)}", False
    if speaks and answer.needs_person:
        yield f"To do: {todo_told(answer)}.", False
    elif row.needs_person:
        yield f"To do: {row.todo}.", False
    yield f"{'by this frame alone: ' if frame_alone(row, answer) else ''}{row.why}.", False
    yield f"offset {offset_told(row)}", False
    if interval_alone(row):
        yield f"95 % interval {interval_alone(row)} mm; forward is positive", False
    yield f"shot with {row.device}; {row.path}", False


def _findings(row: FrameRow) -> Iterator[str]:
    from bite.files.result import read_result

    for finding in read_result(row.result)["findings"]:
        if finding["severity"] in ("fail", "warn"):
            todo = f" To do: {finding['todo']}." if finding["todo"] else ""
            yield f"{finding['severity']}, {finding['code']}: {finding['text']}.{todo}"


def _write(
    figure: Figure, words: str, down_in: float, left_in: float, *, size_pt: float = TEXT_PT,
    bold: bool = False, colour: str = INK,
) -> float:  # fmt: skip
    """Write a line and give where the next one starts, inches from the top."""
    wide, high = A4_IN
    figure.text(
        left_in / wide, 1.0 - down_in / high, words, va="top", fontsize=size_pt,
        fontweight="bold" if bold else "normal", color=colour,
    )  # fmt: skip
    return down_in + size_pt * _LEADING / 72


def _place(
    figure: Figure, path: Path, left_in: float, top_in: float, most_wide_in: float, lowest_in: float
) -> float:
    """Put a picture on the page, as wide as there is room for, and give its lower end."""
    image = _few_colours(path)
    wide, high = A4_IN
    scale = min(most_wide_in / image.shape[1], (lowest_in - top_in) / image.shape[0])
    size = image.shape[1] * scale, image.shape[0] * scale
    axes = figure.add_axes((left_in / wide, 1.0 - (top_in + size[1]) / high, size[0] / wide, size[1] / high))
    axes.imshow(image, interpolation="none", aspect="auto")
    axes.set_axis_off()
    return float(top_in + size[1])


def _few_colours(path: Path) -> NDArray[np.uint8]:
    from io import BytesIO

    from PIL import Image

    from bite.files.source import read_bytes

    picture: Any = Image.open(BytesIO(read_bytes(path))).convert("RGB")
    few = picture.quantize(_COLOURS, method=Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE)
    return np.asarray(few.convert("RGB"))
