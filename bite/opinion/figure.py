"""A second opinion on one landscape page: causes, the mouth cut through a crown, and the mouth itself."""

from __future__ import annotations

from textwrap import wrap
from typing import TYPE_CHECKING

import numpy as np

from bite.check.panels.picture_crop import Crop, show_picture
from bite.check.solved_looks import LEAST_MOVE_MM
from bite.check.words import CAUTION, signed, told
from bite.evidence.model.solved_mouth import SolvedMouth, solved_mouths
from bite.fit.causes import UNKNOWNS
from bite.opinion.drawn_cut import draw_cut
from bite.opinion.explain import Explained
from bite.opinion.standing import Placed, Standing, placed_causes
from bite.opinion.steps import Opinion, values_told
from bite.opinion.told import headline
from bite.plots.style import (
    AFTER,
    BEFORE,
    INK,
    MEASURED,
    NEUTRAL,
    PAGE_TITLE_PT,
    READ_PT,
    bare_axes,
    blank_figure,
    house_style,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_WIDE_IN, _LOW_IN = 11.0, 0.35
_CAUSES_IN, _PICTURES_IN = 3.75, 2.35
_TITLE_LETTERS = 90
"""So many letters of the title's size fit the sheet's width."""
_COLOURS = {
    Standing.SAID: MEASURED.colour,
    Standing.BEYOND: "#666666",
    Standing.LIGHTER: NEUTRAL,
    Standing.CHANCE: NEUTRAL,
    Standing.OUT: "white",
    Standing.UNSEEN: "white",
}
_EMPTY = 150
"""Grey of what the solved model does not cover: mid-grey, so that pictures are lightened alike."""
_LEAST_BAR = 0.004
"""Share of the axis that a bar takes at least, so that it is seen to be there."""


def opinion_figure(opinion: Opinion) -> Figure:
    """Draw the causes on one straight axis, the cut, and photograph and solved mouth under one soft light."""
    sunken = opinion.sunken
    title = wrap(headline(opinion), _TITLE_LETTERS)
    head_in = 0.25 + 0.26 * len(title)
    mouths = _mouths(opinion)
    pictures_in = _PICTURES_IN + 0.35 if sunken is not None else 0.0
    high = head_in + _CAUSES_IN + 0.75 + pictures_in + _LOW_IN
    with house_style():
        figure = blank_figure(_WIDE_IN, high)
        figure.text(0.018, 1 - 0.13 / high, "\n".join(title), va="top", fontsize=PAGE_TITLE_PT,
                    fontweight="bold", color=INK, linespacing=1.25)  # fmt: skip
        top = high - head_in
        low = top - _CAUSES_IN
        cut = None if sunken is None else sunken.cut
        wide_in = 2.1 if cut is not None else 4.6
        box = (1.95 / _WIDE_IN, low / high, wide_in / _WIDE_IN, (_CAUSES_IN - 0.1) / high)
        _draw_causes(figure.add_axes(box), placed_causes(opinion))
        if sunken is not None and cut is not None:
            axes = figure.add_axes((7.6 / _WIDE_IN, low / high, 3.3 / _WIDE_IN, (_CAUSES_IN - 0.3) / high))
            offset = opinion.offset.value if opinion.offset is not None else sunken.moved_mm
            draw_cut(axes, cut, moved_mm=sunken.moved_mm, measured_mm=offset,
                     after=abs(sunken.moved_mm) >= LEAST_MOVE_MM)  # fmt: skip
            words = f"Edge behind the lip, tooth {cut.tooth}"
            axes.set_title(words, fontsize=READ_PT + 1, loc="left")
        if sunken is not None:
            _draw_pictures(figure, opinion, mouths, low - 0.75 - 0.3)
            _write_numbers(figure, opinion, low - 0.75 - 0.3 - _PICTURES_IN + 0.05)
        figure.text(0.018, 0.09 / high, CAUTION, fontsize=READ_PT, color=INK, va="bottom")
    return figure


def _mouths(opinion: Opinion) -> tuple[SolvedMouth, ...]:
    sunken, head = opinion.sunken, opinion.head
    if sunken is None or head is None:
        return ()
    moves = abs(sunken.moved_mm) >= LEAST_MOVE_MM
    placed = (sunken.before, sunken.after) if moves else (sunken.before,)
    return solved_mouths(opinion.frame.views[0].camera, head, *placed)


def _draw_causes(axes: Axes, rows: tuple[Placed, ...]) -> None:
    shown = [row.cause.statistic for row in rows if row.cause is not None and not row.cause.unseen]
    reach = 1.05 * max([12.0, *shown])
    for k, row in enumerate(rows[::-1]):
        said = row.standing is Standing.SAID
        out = row.standing is Standing.OUT
        colour = _COLOURS[row.standing]
        if row.cause is None:
            axes.plot([0.0], [k], "D", color=MEASURED.colour if said else INK, ms=6, clip_on=False, zorder=3)
        elif row.standing is not Standing.UNSEEN:
            length = max(row.cause.statistic, _LEAST_BAR * reach)
            axes.barh(k, length, height=0.62, color=colour, edgecolor=INK if out else "none",
                      hatch="////" if out else None, lw=0.8)  # fmt: skip
        axes.text(1.03, k, _words(row), transform=axes.get_yaxis_transform(), va="center", fontsize=READ_PT,
                  fontweight="bold" if said else "normal", color=INK, linespacing=1.1)  # fmt: skip
    names = ["no difference at all" if row.cause is None else str(row.cause.cause) for row in rows[::-1]]
    axes.set_yticks(range(len(rows)), names, fontsize=READ_PT)
    for label, row in zip(axes.get_yticklabels(), rows[::-1], strict=True):
        label.set_fontweight("bold" if row.standing is Standing.SAID else "normal")
        label.set_color(MEASURED.colour if row.standing is Standing.SAID else INK)
    axes.set_xlim(0.0, reach)
    axes.set_ylim(-0.6, len(rows) - 0.4)
    axes.tick_params(axis="x", labelsize=READ_PT)
    axes.tick_params(axis="y", length=0, pad=7)
    axes.locator_params(axis="x", nbins=4)
    words = "how much better than no difference\nit explains the frame (chi-square)"
    axes.set_xlabel(words, fontsize=READ_PT)
    axes.spines[["top", "right"]].set_visible(False)


def _words(row: Placed) -> str:
    """Say what stands beside a bar: the best value, the weight, and why it is not what is said."""
    if row.cause is None:
        return f"weight {100 * row.weight:.0f} %"
    one = row.cause
    match row.standing:
        case Standing.UNSEEN:
            return "not seen by this evidence"
        case Standing.OUT:
            return f"RULED OUT ({values_short(one)}):\nno sensor sees enamel so"
        case Standing.BEYOND:
            more = ", not needed beside the first"
        case Standing.LIGHTER:
            more = ", lighter than no difference"
        case Standing.CHANCE:
            more = ", within chance"
        case _:
            more = ""
    return f"{values_short(one)}\nweight {100 * one.weight:.0f} %{more}"


def values_short(one: Explained) -> str:
    """Give values without their sds where there are several."""
    if len(one.value) == 1:
        return values_told(one).replace("+-", "±")
    names = UNKNOWNS[one.cause]
    units = names[0].partition(", ")[2]
    told_to_a_tenth = (signed(f"{round(float(v), 1) + 0.0:.1f}") for v in one.value)
    words = (f"{n.partition(',')[0]} {v}" for n, v in zip(names, told_to_a_tenth, strict=True))
    return f"{', '.join(words)} {units}"


def _draw_pictures(figure: Figure, opinion: Opinion, mouths: tuple[SolvedMouth, ...], top_in: float) -> None:
    """Draw the photograph, and the solved mouth before and after, from one camera and at one scale."""
    view, high = opinion.frame.views[0], figure.get_figheight()
    if not mouths:
        return
    window = mouths[0].window
    wide_in = (_WIDE_IN - 0.4 - 0.2 * 2) / 3
    tall_in = _PICTURES_IN - 0.35
    middle = window.left + 0.5 * window.width, window.top + 0.5 * window.height
    # as much of the rendered window as fits the place on paper
    wide = min(window.width, window.height * wide_in / tall_in) * 0.96
    crop = Crop(*middle, wide, wide * tall_in / wide_in)
    plain = np.full_like(view.image, _EMPTY)
    shown = [("the photograph", view.image, INK)]
    shown.append((f"{BEFORE.word}, rendered", mouths[0].laid_over(plain), BEFORE.colour))
    if len(mouths) > 1 and opinion.sunken is not None:
        how = "not advised" if opinion.refused else "in the same light"
        moved = f"{AFTER.word} {opinion.sunken.moved_mm:+.1f} mm, {how}"
        shown.append((moved, mouths[1].laid_over(plain), AFTER.colour))
    for k, (words, picture, colour) in enumerate(shown):
        left = 0.2 + k * (wide_in + 0.2)
        box = (left / _WIDE_IN, (top_in - tall_in) / high, wide_in / _WIDE_IN, tall_in / high)
        axes = bare_axes(figure, box)
        show_picture(axes, picture, crop)
        axes.set_xticks([])
        axes.set_yticks([])
        for spine in axes.spines.values():
            spine.set(color=colour, linewidth=1.8)
        axes.set_title(words, fontsize=READ_PT + 0.5, color=colour, loc="left")


def _write_numbers(figure: Figure, opinion: Opinion, top_in: float) -> None:
    sunken = opinion.sunken
    assert sunken is not None
    parts = [f"enamel in sight {sunken.area_before_mm2:.0f} → {sunken.area_after_mm2:.0f} mm²"]
    if sunken.shadow_before_mm is not None and sunken.shadow_after_mm is not None:
        parts.append(
            f"lip's shadow on the incisors {sunken.shadow_before_mm:.1f} → {sunken.shadow_after_mm:.1f} mm"
        )
    if sunken.behind_before_mm is not None and sunken.behind_measured is not None:
        parts.append(
            f"edge behind the lip {sunken.behind_before_mm:.1f} → {sunken.behind_after_mm:.1f} mm "
            f"(measured {told(sunken.behind_measured, 'mm', pm='±')})"
        )
    at = top_in / figure.get_figheight()
    figure.text(0.018, at, "; ".join(parts), fontsize=READ_PT, color=INK, va="top")
