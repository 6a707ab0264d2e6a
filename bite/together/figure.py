"""Several frames of one performer drawn: each frame's offset, what all share, and every view's corners."""

from __future__ import annotations

from textwrap import wrap
from typing import TYPE_CHECKING

from bite.check.panels.reprojection import KEY, draw_reprojection, view_error
from bite.check.words import CAUTION, interval_told, told
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
from bite.stats.estimate import Z95
from bite.together.frames_agree import is_named
from bite.together.shared_offset import Part, Role, Together
from bite.together.text import headline, reason, spread_told_in_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MOST_ROWS, MOST_VIEWS = 40, 12
"""More frames or views do not fit a page that can be read (our choice)."""
_WIDE_IN, _ROW_IN, _VIEW_IN = WIDTH_PX / DPI, 0.25, 1.35


def together_figure(found: Together) -> Figure:
    """Draw the frames' offsets with the shared one, and a small panel of the corners of each view."""
    parts = found.parts[:MOST_ROWS]
    views = [
        (part, view.name)
        for part in parts
        if part.role is not Role.LEFT_OUT
        for view in part.assessment.frame.views
        if view_error(part.marks, view.name).corners
    ][:MOST_VIEWS]
    title, under = wrap(headline(found), 84), _under(found)
    head_in = 0.25 + 0.2 * len(title) + 0.16 * len(under)
    forest_in = _ROW_IN * (len(parts) + 2) + 0.75
    rows = (len(views) + 2) // 3
    height = head_in + forest_in + rows * _VIEW_IN + (0.3 if views else 0.0) + 0.45
    with house_style():
        figure = blank_figure(_WIDE_IN, height)
        y = 1 - 0.1 / height
        figure.text(
            0.02, y, "\n".join(title), va="top", fontsize=TITLE_PT, fontweight="bold", color=INK,
            linespacing=1.3,
        )  # fmt: skip
        y -= (0.2 * len(title) + 0.03) / height
        figure.text(0.02, y, "\n".join(under), va="top", fontsize=TEXT_PT, color=INK, linespacing=1.3)
        top = height - head_in
        box = (0.2, (top - forest_in + 0.5) / height, 0.56, (forest_in - 0.6) / height)
        draw_frames(figure.add_axes(box), found)
        top -= forest_in
        if views:
            figure.text(0.02, (top - 0.12) / height, f"Corners in each view; {KEY}", fontsize=SMALL_PT)
            top -= 0.3
        for k, (part, view) in enumerate(views):
            left, low = 0.16 + 2.6 * (k % 3), top - _VIEW_IN * (k // 3 + 1) + 0.2
            axes = figure.add_axes((left / 8.0, low / height, 2.4 / 8.0, (_VIEW_IN - 0.6) / height))
            name = f"{part.assessment.frame.name[:18]}, {view[:10]}"
            draw_reprojection(axes, part.marks, view, name, size_pt=SMALL_PT)
        foot = f"{found.performer}: {len(found.parts)} frames; bite {found.version}\n{CAUTION}"
        figure.text(0.02, 0.08 / height, foot, va="bottom", fontsize=SMALL_PT, color=INK)
    return figure


def draw_frames(axes: Axes, found: Together) -> None:
    """Draw one row a frame and one for all together: thin bars 95 %, thick the frame's own part."""
    parts = found.parts[:MOST_ROWS]
    used = sum(part.role is not Role.LEFT_OUT for part in found.parts)
    tolerance = found.decision.tolerance_mm
    axes.axvspan(-tolerance, tolerance, color=NEUTRAL, alpha=0.25, lw=0)
    axes.axvline(0.0, color=INK, lw=0.6)
    ends, labels = [1.2 * tolerance], []
    for place, part in enumerate(parts):
        held = part.without
        odd = held is not None and used > 2 and is_named(held.chance, used)
        y = len(parts) - place
        labels.append((y, f"{part.assessment.frame.name[:26]}{' - disagrees' if odd else ''}"))
        ends += _draw_frame(axes, part, y, odd=odd)
    if found.offset is not None:
        low, high = found.offset.interval
        axes.axvspan(low, high, color=AFTER.colour, alpha=0.12, lw=0)
        axes.plot([low, high], [0, 0], color=INK, lw=2.5)
        axes.plot([found.offset.value], [0], "D", color=INK, ms=6)
        _beside(axes, 0, told(found.offset, "mm", sign=True, pm="±"), bold=True)
        ends += [abs(low), abs(high)]
    labels.append((0, "all together"))
    axes.set_yticks([y for y, _ in labels], [text for _, text in labels])
    axes.set_ylim(-0.7, len(parts) + 0.6)
    axes.set_xlim(-1.05 * max(ends), 1.05 * max(ends))
    axes.set_xlabel(
        "teeth must move forward, mm; thin bars 95 %, thick: without what all frames share; "
        f"grey: tolerance ±{tolerance:g} mm; green: all together",
        fontsize=SMALL_PT,
    )


def _draw_frame(axes: Axes, part: Part, y: int, *, odd: bool) -> list[float]:
    if part.role is Role.LEFT_OUT:
        _beside(axes, y, "left out")
        return []
    if part.offset is None or part.own_sd_mm is None:
        _beside(axes, y, "no offset alone: joint fit")
        return []
    look = BEFORE if odd else MEASURED
    value, half, own = part.offset.value, Z95 * part.offset.sd, Z95 * part.own_sd_mm
    axes.plot([value - half, value + half], [y, y], color=look.colour, lw=1.0)
    axes.plot([value - own, value + own], [y, y], color=look.colour, lw=3.0, alpha=0.6)
    axes.plot([value], [y], look.marker, color=look.colour, ms=5)
    _beside(axes, y, told(part.offset, "mm", sign=True, pm="±"))
    return [abs(value) + half]


def _beside(axes: Axes, y: float, text: str, *, bold: bool = False) -> None:
    axes.text(
        1.02, y, text, transform=axes.get_yaxis_transform(), va="center", fontsize=SMALL_PT + 0.5,
        fontweight="bold" if bold else "normal", color=INK,
    )  # fmt: skip


def _under(found: Together) -> list[str]:
    lines = []
    if found.offset is not None and found.joint is not None:
        lines.append(
            f"offset {told(found.offset, 'mm', sign=True, pm='±')} "
            f"(95 %: {interval_told(found.offset, 'mm')}; forward is positive)"
        )
        lines.append(
            f"a bite differs from frame to frame by {spread_told_in_words(found)}, believed and seen; "
            f"{found.joint.common_sd_mm:.2f} mm of the sd is common to all frames"
        )
    if added := reason(found):
        lines.append(added)
    lines += [f"{f.text}; {f.todo}" for f in found.findings if f.code == "frames-agree" and f.todo]
    return [line for part in lines for line in wrap(part, 122)]
