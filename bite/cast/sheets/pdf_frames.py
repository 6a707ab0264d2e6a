"""Sheets of a cast's PDF that show frames: picture before and after, and beside it what to know and to do."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from textwrap import wrap
from typing import TYPE_CHECKING, Any

import numpy as np

from bite.cast.content import FrameRow
from bite.cast.sheets.page import MARKS, dial_text, offset_told
from bite.check.words import CAUTION
from bite.plots.style import INK, TITLE_PT, blank_figure

if TYPE_CHECKING:
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

PAPER_IN = (8.27, 11.69)
MOST_PICTURED = 24
"""Twelve sheets; whoever has more frames reads the page, which holds them all. Pictures stay in memory until
a PDF is closed."""
_A_SHEET = 2
_PICTURE_IN = (3.75, 5.1)
_PICTURE_PX = 750
_COLOURS = 256
"""A PDF keeps pictures of up to 256 colours at a byte a pixel."""
_TEXT_IN, _TEXT_LETTERS, _TEXT_LINES = 4.4, 62, 36
_LINE_PT = 7.5


def frame_sheets(rows: Sequence[FrameRow], version: str) -> Iterator[Figure]:
    """Give one figure for every two frames, in the order of the rows; at most `MOST_PICTURED` frames."""
    shown = rows[:MOST_PICTURED]
    for start in range(0, len(shown), _A_SHEET):
        figure = blank_figure(*PAPER_IN)
        for place, row in enumerate(shown[start : start + _A_SHEET]):
            _frame(figure, row, PAPER_IN[1] - 0.45 - place * (_PICTURE_IN[1] + 0.35))
        last = start + _A_SHEET >= len(shown) and len(rows) > len(shown)
        more = f"{len(rows) - len(shown)} more frames are in cast.html. " if last else ""
        figure.text(0.06, 0.02, f"{more}bite {version}. {CAUTION}", fontsize=6.0, color=INK)
        yield figure


def _frame(figure: Figure, row: FrameRow, top_in: float) -> None:
    wide, high = PAPER_IN
    image = _few_colours(row)
    scale = min(_PICTURE_IN[0] / image.shape[1], _PICTURE_IN[1] / image.shape[0])
    size = image.shape[1] * scale, image.shape[0] * scale
    axes = figure.add_axes((0.45 / wide, (top_in - size[1]) / high, size[0] / wide, size[1] / high))
    axes.imshow(image, interpolation="none", aspect="auto")
    axes.set_axis_off()
    where: dict[str, Any] = {"x": _TEXT_IN / wide, "va": "top", "color": INK}
    title = "\n".join(wrap(f"{row.name} ({row.performer})", 44)[:3])
    figure.text(s=title, y=top_in / high, fontsize=TITLE_PT, fontweight="bold", **where)
    lines = list(_lines(row))
    if len(lines) > _TEXT_LINES:
        lines = [*lines[: _TEXT_LINES - 1], "more in cast.html"]
    y = (top_in - 0.08 - 0.2 * (title.count("\n") + 1)) / high
    figure.text(s="\n".join(lines), y=y, fontsize=_LINE_PT, linespacing=1.35, **where)


def _lines(row: FrameRow) -> Iterator[str]:
    from bite.files.result import read_result

    yield f"{MARKS[row.verdict]} {row.verdict.upper()}"
    yield from wrap(row.why, _TEXT_LETTERS)
    yield ""
    yield f"offset {offset_told(row)}"
    if row.low_mm is not None:
        yield f"95 % interval {row.low_mm:+.2f} to {row.high_mm:+.2f} mm; forward is positive"
    was = "not known" if row.dial_before is None else f"{row.dial_before:.2f}"
    yield f"type this dial value: {dial_text(row) or 'none'} (was {was})"
    yield f"shot with {row.device}; {row.path}"[: 2 * _TEXT_LETTERS]
    for finding in read_result(row.result)["findings"]:
        if finding["severity"] != "ok":
            todo = f" To do: {finding['todo']}." if finding["todo"] else ""
            yield ""
            told = f"{finding['severity']}, {finding['code']}: {finding['text']}.{todo}"
            yield from wrap(told, _TEXT_LETTERS)


def _few_colours(row: FrameRow) -> NDArray[np.uint8]:
    from io import BytesIO

    from PIL import Image

    from bite.files.source import read_bytes

    picture: Any = Image.open(BytesIO(read_bytes(row.picture))).convert("RGB")
    if picture.width > _PICTURE_PX:
        size = _PICTURE_PX, max(1, round(picture.height * _PICTURE_PX / picture.width))
        picture = picture.resize(size, Image.Resampling.LANCZOS)
    few = picture.quantize(_COLOURS, method=Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE)
    return np.asarray(few.convert("RGB"))
