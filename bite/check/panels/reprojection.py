"""How far the solved corners lie from the clicked ones in one view, drawn large with a scale in px."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from textwrap import fill
from typing import TYPE_CHECKING

import numpy as np

from bite.check.assessment import CornerMark
from bite.geometry.teeth import is_upper
from bite.plots.style import AFTER, BEFORE, INK, MEASURED, READ_PT, say_missing, size_in

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_AS_POSITION = ("seen", "unsure")
_LEAST_SHOWN_PX = 0.5
"""Arrows are not blown up beyond this: a perfect fit must look like one (our choice)."""
_BARS_PX = (0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0)
"""Lengths of the scale's bar: round numbers."""
_CELL = "#eeeeee"
_LABEL_IN = 0.17


@dataclass(frozen=True, slots=True)
class ViewError:
    """How far the solved corners lie from the clicked ones in one view.

    Parameters
    ----------
    corners : int, clicked as a position and known to the model
    before_px, after_px : float or None, root mean square distance
    """

    corners: int
    before_px: float | None
    after_px: float | None


def view_error(marks: Sequence[CornerMark], view: str) -> ViewError:
    """Sum up one view's marks; covered and hidden corners have no position to hold against.

    Examples
    --------
    >>> marks = [CornerMark("front", "11d", "seen", (10.0, 10.0), (13.0, 14.0), (10.0, 11.0))]
    >>> view_error(marks, "front")
    ViewError(corners=1, before_px=5.0, after_px=1.0)
    """
    kept = [m for m in marks if m.view == view and m.state in _AS_POSITION and m.clicked_px]
    return ViewError(
        sum(m.before_px is not None for m in kept),
        _rms([(m.clicked_px, m.before_px) for m in kept]),
        _rms([(m.clicked_px, m.after_px) for m in kept]),
    )


KEY = "from the click (circle) to the solved corner: square, dotted before; triangle, line after"
"""What the shapes mean, to be written once beside all panels."""


def draw_reprojection(
    axes: Axes, marks: Sequence[CornerMark], view: str, name: str, *, size_pt: float = READ_PT
) -> None:
    """Draw how far off each corner of one view is, large, side by side, with the scale.

    The errors are a pixel or two where the corners lie a hundred apart: each corner has a cell of its own,
    in the order of the picture, and all cells have one scale.

    Parameters
    ----------
    marks : sequence of CornerMark, of any views
    view : str, which of them
    name : str, what to call it in the title
    size_pt : float, of its letters
    """
    error = view_error(marks, view)
    kept = [m for m in marks if m.view == view and m.state in _AS_POSITION and m.clicked_px and m.before_px]
    if not kept or error.before_px is None:
        say_missing(axes, name, "No clicked corner that the solved model has.", size_pt=size_pt)
        return
    rows = [row for upper in (True, False) if (row := [m for m in kept if is_upper(m.name) == upper])]
    cells = _cells(axes, max(map(len, rows)), len(rows), 2.6 * max(_largest(kept), _LEAST_SHOWN_PX), size_pt)
    for r, row in enumerate(rows):
        row.sort(key=lambda mark: mark.clicked_px or (0.0, 0.0))
        for k, mark in enumerate(row):
            _draw_cell(axes, mark, k * cells.pitch, r * (cells.pitch + cells.label), cells, size_pt)
    after = "" if error.after_px is None else f" before, {error.after_px:.1f} px after"
    words = f"{name}, off by {error.before_px:.1f} px{after}"
    axes.set_title(fill(words, int(size_in(axes)[0] * 72 / (0.66 * size_pt))), fontsize=size_pt)
    axes.set_xticks([])
    axes.set_yticks([])
    axes.spines[:].set_visible(False)


@dataclass(frozen=True, slots=True)
class _Cells:
    """Sides of a cell and of the label above it, px of the picture."""

    pitch: float
    label: float


def _cells(axes: Axes, columns: int, rows: int, pitch: float, size_pt: float) -> _Cells:
    """Fit all cells at one scale both ways, labels above them, and draw the scale to their right."""
    wide, tall = size_in(axes)
    pitch_in = min(wide / (columns + 1.0), tall / rows - _LABEL_IN)
    per_in = pitch / max(pitch_in, 0.05)
    label = _LABEL_IN * per_in
    axes.set_xlim(-0.5 * pitch, -0.5 * pitch + per_in * wide)
    top = -0.5 * pitch - label
    axes.set_ylim(top + per_in * tall, top)
    bar = next((step for step in _BARS_PX if step >= 0.25 * pitch), _BARS_PX[-1])
    x, y = (columns - 0.4) * pitch, 0.5 * (rows - 1) * (pitch + label)
    axes.plot([x, x + bar], [y, y], color=INK, lw=2.0, solid_capstyle="butt")
    axes.text(x, y - 0.03 * per_in, f"{bar:g} px", ha="left", va="bottom", fontsize=size_pt, color=INK)
    return _Cells(pitch, label)


def _draw_cell(axes: Axes, mark: CornerMark, x: float, y: float, cells: _Cells, size_pt: float) -> None:
    from matplotlib.patches import Rectangle

    assert mark.clicked_px is not None
    half = 0.48 * cells.pitch
    axes.add_patch(Rectangle((x - half, y - half), 2 * half, 2 * half, fc=_CELL, ec="none", zorder=0))
    for look, at, style in ((BEFORE, mark.before_px, ":"), (AFTER, mark.after_px, "-")):
        if at is not None:
            end = x + at[0] - mark.clicked_px[0], y + at[1] - mark.clicked_px[1]
            axes.plot([x, end[0]], [y, end[1]], style, color=look.colour, lw=1.2)
            axes.plot(*end, look.marker, color=look.colour, ms=5.0, mec="white", mew=0.5)
    axes.plot(x, y, MEASURED.marker, color=MEASURED.colour, ms=5.0, mfc="white", mew=1.3)
    axes.text(x, y - half, mark.name, ha="center", va="bottom", fontsize=size_pt, color=INK)


def _largest(marks: Sequence[CornerMark]) -> float:
    sizes = [
        max(abs(a - b) for a, b in zip(at, mark.clicked_px, strict=True))
        for mark in marks
        for at in (mark.before_px, mark.after_px)
        if at is not None and mark.clicked_px is not None
    ]
    return max(sizes, default=0.0)


def _rms(pairs: Sequence[tuple[tuple[float, float] | None, tuple[float, float] | None]]) -> float | None:
    squares = [
        (a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2 for a, b in pairs if a is not None and b is not None
    ]
    return float(np.sqrt(np.mean(squares))) if squares else None
