"""Forest plot on A4 paper: each performer's offset with its 95 % interval, and what all share."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from bite.cast.content import DeviceSummary
from bite.cast.sheets.flow import A4_IN, HEAD_IN, HEADING_PT, MARGIN_IN, TEXT_PT, WIDE_IN, broken
from bite.cast.sheets.told import news_of
from bite.plots.style import BEFORE, INK, MEASURED, NEUTRAL, blank_figure, house_style
from bite.stats.estimate import Z95

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

ROWS_A_PAGE, MOST_PAGES = 40, 5
"""Beyond these pages a plot is no longer read; cast.html holds all."""
_ROW_IN, _NAMES_IN, _NUMBERS_IN = 0.2, 1.9, 1.2


def forest_sheets(summary: DeviceSummary, tolerance_mm: float) -> list[Callable[[], Figure]]:
    """Give what draws each page of one device's performers, sorted by offset."""
    count = min(MOST_PAGES, max(1, -(-len(summary.shift.performers) // ROWS_A_PAGE)))
    return [partial(_sheet, summary, tolerance_mm, number) for number in range(count)]


def _sheet(summary: DeviceSummary, tolerance_mm: float, number: int) -> Figure:
    shift = summary.shift
    means = sorted(shift.performers, key=lambda mean: (mean.value_mm, mean.performer))
    shown = means[number * ROWS_A_PAGE : (number + 1) * ROWS_A_PAGE]
    with house_style():
        figure = blank_figure(*A4_IN)
        wide, high = A4_IN
        first, rest = news_of(summary.text)
        down = HEAD_IN
        for words, size, bold in ((first, HEADING_PT, True), (rest, TEXT_PT, False)):
            for line in broken(words, WIDE_IN, size, bold=bold):
                figure.text(
                    MARGIN_IN / wide, 1 - down / high, line, va="top", fontsize=size, color=INK,
                    fontweight="bold" if bold else "normal",
                )  # fmt: skip
                down += size * 1.32 / 72
        tall = _ROW_IN * (len(shown) + 2.2)
        left = MARGIN_IN + _NAMES_IN
        across = WIDE_IN - _NAMES_IN - _NUMBERS_IN
        low = 1 - (down + 0.25 + tall) / high
        axes = figure.add_axes((left / wide, low, across / wide, tall / high))
        reach = [1.2 * tolerance_mm] + [abs(m.value_mm) + 2 * m.sd_mm for m in means]
        if shift.shift is not None:
            reach += [abs(end) for end in shift.shift.interval]
        axes.set_xlim(-1.05 * max(reach), 1.05 * max(reach))
        axes.axvspan(-tolerance_mm, tolerance_mm, color=NEUTRAL, alpha=0.25, lw=0)
        axes.axvline(0.0, color=INK, lw=0.6)
        _draw_rows(axes, summary, number * ROWS_A_PAGE, len(shown))
        axes.set_xlabel(
            "teeth must stand forward of dial 0, mm; bars 95 % (sampling);\n"
            f"grey: tolerance ±{tolerance_mm:g} mm",
            fontsize=TEXT_PT,
        )
        axes.tick_params(labelsize=TEXT_PT)
        axes.spines[["top", "right"]].set_visible(False)
    return figure


def _draw_rows(axes: Axes, summary: DeviceSummary, start: int, count: int) -> None:
    shift = summary.shift
    apart = {outlier.performer for outlier in shift.outliers}
    means = sorted(shift.performers, key=lambda mean: (mean.value_mm, mean.performer))[start : start + count]
    place_of = axes.get_yaxis_transform()
    labels = []
    for place, mean in enumerate(means):
        odd = mean.performer in apart
        look = BEFORE if odd else MEASURED
        half = Z95 * mean.sd_mm
        axes.plot([mean.value_mm - half, mean.value_mm + half], [place, place], color=look.colour, lw=1.6)
        axes.plot([mean.value_mm], [place], look.marker, color=look.colour, ms=5)
        told = f"{mean.value_mm + 0.0:+.2f} ± {mean.sd_mm:.2f} mm"
        axes.text(1.02, place, told, transform=place_of, va="center", fontsize=TEXT_PT)
        more = ", apart" if odd else f", {mean.frames} frames" if mean.frames > 1 else ""
        labels.append(f"{mean.performer[:20]}{more}")
    if shift.shift is not None:
        low, high = shift.shift.interval
        axes.plot([low, high], [-1, -1], color=INK, lw=3)
        axes.plot([shift.shift.mean], [-1], "D", color=INK, ms=6)
        axes.text(
            1.02, -1, f"{shift.shift.mean + 0.0:+.2f} mm", transform=place_of, va="center", fontsize=TEXT_PT,
            fontweight="bold",
        )  # fmt: skip
    axes.set_yticks(range(-1, len(labels)), ["all together", *labels], fontsize=TEXT_PT)
    axes.set_ylim(-1.7, len(labels) - 0.4)
