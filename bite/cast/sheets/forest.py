"""Forest plot: each performer's offset with its 95 % interval, and what all share."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bite.cast.content import DeviceSummary
from bite.plots.style import BEFORE, INK, MEASURED, NEUTRAL, SMALL_PT, blank_figure, house_style
from bite.stats.estimate import Z95

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MOST_ROWS = 200
"""Beyond this a plot is no longer read; the table beside it holds all."""
_ROW_IN, _MARGIN_IN, _WIDTH_IN = 0.2, 1.1, 7.6


def forest_figure(summary: DeviceSummary, tolerance_mm: float) -> Figure:
    """Draw one device's performers, sorted by offset, over the band of the tolerance and the common mean."""
    shift = summary.shift
    means = sorted(shift.performers, key=lambda mean: mean.value_mm)[:MOST_ROWS]
    apart = {outlier.performer for outlier in shift.outliers}
    height = _MARGIN_IN + _ROW_IN * (len(means) + 1)
    with house_style():
        figure = blank_figure(_WIDTH_IN, height)
        axes = figure.add_axes((0.3, 0.6 / height, 0.55, (height - _MARGIN_IN) / height))
        axes.axvspan(-tolerance_mm, tolerance_mm, color=NEUTRAL, alpha=0.25, lw=0)
        axes.axvline(0.0, color=INK, lw=0.6)
        labels = []
        for place, mean in enumerate(means):
            odd = mean.performer in apart
            look = BEFORE if odd else MEASURED
            half = Z95 * mean.sd_mm
            axes.plot([mean.value_mm - half, mean.value_mm + half], [place, place], color=look.colour, lw=1.2)
            axes.plot([mean.value_mm], [place], look.marker, color=look.colour, ms=4.5)
            told = f"{mean.value_mm:+.2f} ± {mean.sd_mm:.2f}"
            axes.text(1.02, place, told, transform=axes.get_yaxis_transform(), va="center", fontsize=SMALL_PT)
            frames = f" ({mean.frames} frames)" if mean.frames > 1 else ""
            labels.append(f"{mean.performer[:32]}{frames}{' - apart' if odd else ''}")
        if shift.shift is not None:
            low, high = shift.shift.interval
            axes.plot([low, high], [-1, -1], color=INK, lw=2.5)
            axes.plot([shift.shift.mean], [-1], "D", color=INK, ms=5.5)
            axes.text(
                1.02, -1, f"{shift.shift.mean:+.2f} mm", transform=axes.get_yaxis_transform(), va="center",
                fontsize=SMALL_PT, fontweight="bold",
            )  # fmt: skip
            reach = max(
                [abs(low), abs(high), 1.2 * tolerance_mm] + [abs(m.value_mm) + 2 * m.sd_mm for m in means]
            )
            axes.set_xlim(-1.08 * reach, 1.08 * reach)
        axes.set_yticks(range(-1, len(labels)), ["all together", *labels])
        axes.set_ylim(-1.7, len(labels) - 0.4)
        axes.set_xlabel(
            "teeth must stand forward of dial 0, mm; bars 95 % (sampling); "
            f"grey: tolerance ±{tolerance_mm:g} mm"
        )
        figure.text(
            0.02, 1 - 0.08 / height, f"{summary.device}: {shift.sharing}", va="top", fontweight="bold"
        )
    return figure
