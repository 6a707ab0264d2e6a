"""The offset with its 95 % interval on an axis in mm, and the dial's own scale aligned above it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from bite.check.assessment import Assessment
from bite.check.decision import Verdict, dial_travel
from bite.check.words import dial_before, dial_told, step_of, told
from bite.geometry.rigid import Array
from bite.plots.style import AFTER, BEFORE, INK, MEASURED, NEUTRAL, READ_PT, Look, readable_ticks, say_missing
from bite.stats.estimate import Estimate

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_REFUSED = Look(MEASURED.word, "#666666", MEASURED.marker, MEASURED.size_pt)
"""A number that nothing stands behind has no colour of its own."""
_MOST_STRETCH = 4.0
"""A dial end is drawn to scale while the axis then stays within this many times its least length."""


def draw_dial(axes: Axes, assessment: Assessment) -> None:
    """Draw what must move, where the model stands, where the move takes it, and what the dial can reach.

    Where nothing is advised there is no arrow and no place to move to, and it says so. The axes take a column
    of words on their right, 2.1 inch wide, a scale above them, 0.45 inch high, and one below, 0.4 inch.
    """
    fit, decision = assessment.fit, assessment.decision
    if fit is None:
        why = assessment.why_no_offset or decision.why
        say_missing(axes, "Move of the teeth", f"No offset can be given: {why.rstrip('.')}.", size_pt=READ_PT)
        return
    stands = _stands(assessment)
    rows = (MEASURED, BEFORE, AFTER) if stands else (MEASURED, BEFORE)
    places = {look.word: float(len(rows) - k) for k, look in enumerate(rows)}
    travel = _travel_from_here(assessment)
    axes.set(
        xlim=_ends(fit.offset, decision.tolerance_mm, assessment.moved_mm if stands else 0.0, travel),
        ylim=(0.4, len(rows) + 0.6),
    )
    grey = f"grey: within {decision.tolerance_mm:g} mm"
    axes.set_xlabel(
        f"mm from where the solved teeth stand, forward is positive ({grey})", fontsize=READ_PT, labelpad=1
    )
    axes.axvspan(-decision.tolerance_mm, decision.tolerance_mm, color=NEUTRAL, alpha=0.25, lw=0)
    axes.axvline(0.0, color=INK, lw=0.6)
    if travel is not None and stands:
        _draw_scale(axes, travel, assessment)
    _draw_measured(axes, fit.offset, places[MEASURED.word], advised=stands)
    _draw_before(axes, assessment, places[BEFORE.word], advised=stands)
    if stands:
        _draw_after(axes, assessment, places[AFTER.word])
    else:
        axes.set_title("Measured, and not advised as a move", fontsize=READ_PT + 1, pad=5)
    words = [MEASURED.word, BEFORE.word if stands else "solved", AFTER.word]
    axes.set_yticks([places[look.word] for look in rows], words[: len(rows)])
    readable_ticks(axes)
    for label, look in zip(axes.get_yticklabels(), rows, strict=True):
        label.set(color=look.colour if stands else INK, fontweight="bold", fontsize=READ_PT)
    axes.tick_params(axis="y", length=0)
    axes.spines[["left", "right", "top"]].set_visible(False)


def _stands(assessment: Assessment) -> bool:
    """Tell whether the verdict stands behind what is measured."""
    return assessment.decision.verdict in (Verdict.LEAVE, Verdict.MOVE, Verdict.BEYOND)


def _draw_measured(axes: Axes, offset: Estimate, row: float, *, advised: bool) -> None:
    look = MEASURED if advised else _REFUSED
    axes.plot(offset.interval, [row] * 2, color=look.colour, lw=2.2, solid_capstyle="butt", zorder=5)
    for end in offset.interval:
        axes.plot([end, end], [row - 0.22, row + 0.22], color=look.colour, lw=1.2, zorder=5)
    _mark(axes, row, offset.value, look)
    _say(axes, row, look, f"{told(offset, 'mm', sign=True, pm='±')}")


def _draw_before(axes: Axes, assessment: Assessment, row: float, *, advised: bool) -> None:
    before, step = dial_before(assessment), step_of(assessment)
    look = BEFORE if advised else Look(BEFORE.word, INK, BEFORE.marker, BEFORE.size_pt)
    _mark(axes, row, 0.0, look)
    _say(axes, row, look, f"dial at {dial_told(before, step)}" if before is not None else "as it is")


def _draw_after(axes: Axes, assessment: Assessment, row: float) -> None:
    move, moved_mm = assessment.decision.move, assessment.moved_mm
    low, high = axes.get_xlim()
    if abs(moved_mm) > 0.03 * (high - low):
        arrow = {"arrowstyle": "-|>", "color": AFTER.colour, "lw": 1.4, "shrinkA": 0, "shrinkB": 5}
        axes.annotate("", xy=(moved_mm, row), xytext=(0.0, row), arrowprops=arrow)
    _mark(axes, row, moved_mm, AFTER)
    if move is None:
        _say(axes, row, AFTER, "no dial value can be given")
        return
    to = f"dial at {dial_told(move.after, step_of(assessment))}"
    _say(axes, row, AFTER, f"{to}, its end" if move.saturated else to)
    if move.saturated:
        reach = (moved_mm, moved_mm + move.left_over_mm)
        axes.plot(reach, [row] * 2, color=INK, lw=1.6, ls=(0, (1, 1.5)), zorder=4)
        axes.text(
            moved_mm,
            row + 0.12,
            "   left over" if move.left_over_mm > 0 else "left over   ",
            ha="left" if move.left_over_mm > 0 else "right",
            va="bottom",
            fontsize=READ_PT,
            color=INK,
            zorder=4,
        )


def _mark(axes: Axes, row: float, at: float, look: Look) -> None:
    axes.plot([at], [row], look.marker, ms=look.size_pt, mfc="white", mec=look.colour, mew=1.8, zorder=6)


def _say(axes: Axes, row: float, look: Look, words: str) -> None:
    axes.text(
        1.02,
        row,
        words,
        transform=axes.get_yaxis_transform(),
        ha="left",
        va="center",
        color=look.colour,
        fontsize=READ_PT,
        fontweight="bold",
    )


def _travel_from_here(assessment: Assessment) -> Array | None:
    """Give (dial, mm from where the teeth stand) rows, or None where the dial is not measured."""
    rig, before = assessment.frame.rig, dial_before(assessment)
    travel = dial_travel(rig.dial) if rig is not None else None
    if travel is None or before is None:
        return None
    start = np.interp(before, travel[:, 0], travel[:, 1])
    return np.column_stack([travel[:, 0], travel[:, 1] - start])


def _ends(
    offset: Estimate, tolerance_mm: float, moved_mm: float, travel: Array | None
) -> tuple[float, float]:
    """Choose the ends of the mm axis: all that must be seen, and dial ends that are not far off."""
    needed = [-1.5 * tolerance_mm, 1.5 * tolerance_mm, moved_mm, *offset.interval]
    low, high = min(needed), max(needed)
    most = _MOST_STRETCH * (high - low)
    for end in sorted(map(float, travel[[0, -1], 1]), key=abs) if travel is not None else ():
        if max(high, end) - min(low, end) <= most:
            low, high = min(low, end), max(high, end)
    pad = 0.08 * (high - low)
    return low - pad, high + pad


def _draw_scale(axes: Axes, travel: Array, assessment: Assessment) -> None:
    """Draw the dial's scale above the mm axis, ending where the dial ends."""
    rig = assessment.frame.rig
    assert rig is not None
    low, high = axes.get_xlim()
    first, last = sorted(map(float, travel[[0, -1], 1]))
    scale = axes.twiny()
    scale.set_xlim(low, high)
    values = _dial_ticks(travel, low, high)
    places = 2 if np.any(np.abs(values * 10 - np.round(values * 10)) > 1e-6) else 1
    scale.set_xticks(np.interp(values, travel[:, 0], travel[:, 1]), [f"{v:.{places}f}" for v in values])
    readable_ticks(scale)
    scale.tick_params(axis="x", direction="out", pad=1)
    positive = "back" if rig.dial.positive_is_back else "forward"
    scale.set_xlabel(
        f"dial value: positive moves the teeth {positive}, ends at ±{rig.dial.limit:g}",
        labelpad=2,
        fontsize=READ_PT,
    )
    scale.spines[["left", "right", "bottom"]].set_visible(False)
    scale.spines["top"].set_bounds(max(low, first), min(high, last))
    for end, beyond in ((first, low), (last, high)):
        if low < end < high:
            axes.axvline(end, color=INK, lw=2.0, zorder=3)
            axes.axvspan(
                min(end, beyond), max(end, beyond), facecolor="none", edgecolor=NEUTRAL, hatch="////", lw=0
            )
            inside = -1 if beyond > end else 1
            axes.annotate(
                "end",
                (end, 0.5 * sum(axes.get_ylim())),
                (4 * inside, 0),
                textcoords="offset points",
                ha="right" if inside < 0 else "left",
                va="center",
                fontsize=READ_PT,
                color=INK,
                rotation=90,
            )


def _dial_ticks(travel: Array, low: float, high: float) -> Array:
    """Choose round dial values whose places lie on the axis."""
    by_mm = travel[np.argsort(travel[:, 1])]
    first, last = sorted(np.interp([low, high], by_mm[:, 1], by_mm[:, 0]))
    span = max(float(last - first), 1e-9)
    step = 10.0 ** np.floor(np.log10(span))
    step *= next((part for part in (1.0, 0.5, 0.25) if span / (step * part) >= 3.5), 0.1)
    values = np.arange(np.ceil(first / step - 1e-9), np.floor(last / step + 1e-9) + 0.5) * step
    return np.asarray(np.round(values, 10) + 0.0)
