"""The best frames of a take on one sheet: mouths at one scale, points drawn, where in the take they lie."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from io import BytesIO
from textwrap import fill
from typing import TYPE_CHECKING, Any

import numpy as np

from bite.choose.content import Chosen, Ranked, Standing
from bite.evidence.picture.luminance import Picture
from bite.files.corners import CornerState
from bite.plots.style import (
    AFTER,
    BEFORE,
    DPI,
    INK,
    MEASURED,
    NEUTRAL,
    SMALL_PT,
    TEXT_PT,
    TITLE_PT,
    WIDTH_PX,
    blank_figure,
    house_style,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MOST = 12
"""More frames do not fit a sheet that can be read (our choice)."""
_ASIDE_MM, _ABOVE_MM, _BELOW_MM = 34.0, 22.0, 26.0
"""What is shown about the incisors: mouth, lips and chin's beginning (our choice)."""
_COLUMNS = 3
"""Pictures a row."""
_CELL_IN, _STRIP_IN, _HEAD_IN = 2.72, 1.8, 0.55
_PICTURE_IN = 1.78


@dataclass(frozen=True, slots=True)
class _Look:
    word: str
    colour: str
    marker: str


_STANDINGS = {
    Standing.FIT: _Look("fit", AFTER.colour, "o"),
    Standing.DOUBTFUL: _Look("doubtful", INK, "D"),
    Standing.UNFIT: _Look("unfit", BEFORE.colour, "x"),
    Standing.UNJUDGED: _Look("not judged", NEUTRAL, "s"),
}
_MARKERS = {CornerState.SEEN: "o", CornerState.UNSURE: "D", CornerState.COVERED: "v"}


def sheet_png(
    chosen: Chosen, best: Sequence[Ranked], pictures: Mapping[int, Picture], headline: str
) -> bytes:
    """Draw the sheet, 1600 px wide.

    Parameters
    ----------
    chosen : Chosen
    best : sequence of Ranked, 12 at most are drawn
    pictures : mapping from frame number to its picture
    headline : str, the finding

    Returns
    -------
    bytes of a PNG file; the same content gives the same bytes
    """
    with house_style():
        shown = [one for one in best if one.measures.number in pictures][:MOST]
        rows = max(1, -(-len(shown) // _COLUMNS))
        strip = any(one.cost_mm is not None for one in chosen.ranked)
        width = WIDTH_PX / DPI
        height = _HEAD_IN + rows * _CELL_IN + (_STRIP_IN if strip else 0.1)
        figure = blank_figure(width, height)
        figure.text(
            0.015, 1 - 0.16 / height, fill(headline, 92), size=TITLE_PT, weight="bold", color=INK, va="top"
        )
        for k, one in enumerate(shown):
            column, row = k % _COLUMNS, k // _COLUMNS
            left, top = column / _COLUMNS + 0.012, height - _HEAD_IN - row * _CELL_IN
            axes = figure.add_axes(
                (left, (top - 0.3 - _PICTURE_IN) / height, 1 / _COLUMNS - 0.024, _PICTURE_IN / height),
                anchor="W",
            )
            _draw_mouth(axes, one, pictures[one.measures.number])
            look = _STANDINGS[one.standing]
            write = partial(figure.text, va="top", color=INK)
            name = f"frame {one.measures.number}  {_short(one.measures.name)}"
            write(left, (top - 0.05) / height, f"{one.rank}.", size=TITLE_PT + 2, weight="bold")
            write(left + 0.035, (top - 0.03) / height, name, size=TEXT_PT, weight="bold")
            write(left + 0.035, (top - 0.155) / height, _standing_of(one), size=SMALL_PT, color=look.colour)
            why = fill(_cut(one.why, 140), 48)
            write(left, (top - 0.36 - _PICTURE_IN) / height, why, size=SMALL_PT, linespacing=1.15)
        if strip:
            axes = figure.add_axes((0.075, 0.42 / height, 0.90, (_STRIP_IN - 0.78) / height))
            _draw_strip(axes, chosen, {one.measures.number: one.rank for one in shown})
        target = BytesIO()
        figure.savefig(target, format="png", metadata={"Software": None})
        return target.getvalue()


def _standing_of(one: Ranked) -> str:
    sd = "" if one.measures.sd_mm is None else f", expected sampling sd {one.measures.sd_mm:.3f} mm"
    clicked = ", clicked here" if one.measures.clicked else ""
    return f"{_STANDINGS[one.standing].word}{sd}{clicked}"


def _draw_mouth(axes: Axes, one: Ranked, picture: Picture) -> None:
    m = one.measures
    height, width = picture.shape[:2]
    axes.set_xticks([])
    axes.set_yticks([])
    if m.middle_px is None or m.mm_per_px is None:
        step = max(1, int(np.ceil(max(height, width) / 700)))
        axes.imshow(picture[::step, ::step], aspect="equal", interpolation="antialiased")
        return
    px = 1.0 / m.mm_per_px
    x, y = m.middle_px
    low_x, high_x = x - _ASIDE_MM * px, x + _ASIDE_MM * px
    low_y, high_y = y - _ABOVE_MM * px, y + _BELOW_MM * px
    left, right = max(0, int(low_x)), min(width, int(high_x) + 1)
    top, bottom = max(0, int(low_y)), min(height, int(high_y) + 1)
    axes.set_facecolor("#dddddd")
    if right > left and bottom > top:
        cut = picture[top:bottom, left:right]
        axes.imshow(
            cut,
            extent=(left - 0.5, right - 0.5, bottom - 0.5, top - 0.5),
            aspect="equal",
            interpolation="antialiased",
        )
    for point in (m.points or {}).values():
        marker = _MARKERS.get(point.state, "o")
        for colour, line in (("white", 2.2), (MEASURED.colour, 1.1)):
            axes.plot(point.x_px, point.y_px, marker, ms=5.0, mfc="none", mec=colour, mew=line, ls="none")
    axes.set_xlim(low_x, high_x)
    axes.set_ylim(high_y, low_y)
    bar = low_x + 2.0 * px
    floor = high_y - 2.5 * px
    for colour, line in (("black", 4.0), ("white", 2.0)):
        axes.plot([bar, bar + 10 * px], [floor, floor], color=colour, lw=line, solid_capstyle="butt")
    _halo_text(axes, bar, floor - 1.2 * px, "10 mm")
    states = sorted({str(p.state) for p in (m.points or {}).values()})
    words = ", ".join(f"{_GLYPH[state]} {state}" for state in states if state in _GLYPH)
    _halo_text(axes, low_x + 1.5 * px, low_y + 3.2 * px, words)


_GLYPH = {"seen": "\u25cb", "unsure": "\u25c7", "covered": "\u25bd"}


def _halo_text(axes: Axes, x: float, y: float, text: str) -> None:
    from matplotlib.patheffects import withStroke

    halo: list[Any] = [withStroke(linewidth=2.0, foreground="black")]
    axes.text(x, y, text, size=SMALL_PT - 0.5, color="white", path_effects=halo, va="bottom")


def _draw_strip(axes: Axes, chosen: Chosen, ranks: Mapping[int, int]) -> None:
    """Draw cost over frame number, shape and word by standing; frames without a cost stand at the top."""
    costs = [one.cost_mm for one in chosen.ranked if one.cost_mm is not None]
    roof = max(costs) * 1.5
    for standing, look in _STANDINGS.items():
        group = [one for one in chosen.ranked if one.standing is standing]
        if not group:
            continue
        x = [one.measures.number for one in group]
        y = [roof if one.cost_mm is None else one.cost_mm for one in group]
        filled = look.marker != "x"
        axes.plot(
            x, y, look.marker, ms=4.0, mec=look.colour, mfc="none" if filled else look.colour, mew=1.0,
            ls="none", label=f"{look.word} ({len(group)})",
        )  # fmt: skip
    for one in chosen.ranked:
        number = one.measures.number
        if number in ranks and one.cost_mm is not None and ranks[number] <= 3:
            axes.annotate(
                str(one.rank), (number, one.cost_mm), xytext=(0, -9), textcoords="offset points", ha="center",
                size=SMALL_PT, weight="bold", color=INK,
            )  # fmt: skip
    axes.set_yscale("log")
    low = min(costs)
    axes.set_ylim(low / 1.9, roof * 1.4)
    ticks = [t for t in (0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0) if low / 1.9 <= t <= roof * 1.4]
    axes.set_yticks(ticks, [f"{t:g}" for t in ticks])
    axes.minorticks_off()
    axes.set_xlabel("frame (highest: teeth not found)" if len(costs) < len(chosen.ranked) else "frame")
    axes.set_ylabel("mm (low is good)")
    axes.set_title("The whole take: expected sampling sd, with blur and motion added", size=TEXT_PT)
    axes.legend(loc="lower right", bbox_to_anchor=(1.0, 1.0), ncols=4, fontsize=SMALL_PT, frameon=False)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def _short(name: str) -> str:
    return name if len(name) <= 26 else name[:10] + "..." + name[-13:]


def _cut(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 4].rsplit(" ", 1)[0] + " ..."
