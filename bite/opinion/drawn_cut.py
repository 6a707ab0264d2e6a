"""The mouth cut through a crown, drawn: lip and tooth filled, before and after, and what was measured."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from bite.geometry.rigid import Array
from bite.opinion.cut import Cut
from bite.plots.style import AFTER, BEFORE, INK, MEASURED, READ_PT
from bite.plots.style import Look as Style

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_SKIN, _ENAMEL = "#e3cfc4", "#f4ecd2"
_UP_MM, _ROOM_MM, _WORDS_MM = (-13.0, 18.0), 2.0, 11.5
"""Heights that are shown, room at the sides, and what the words beside an arrow take on paper."""


def draw_cut(axes: Axes, cut: Cut, *, moved_mm: float, measured_mm: float, after: bool) -> None:
    """Draw the cut at one scale both ways, forward to the right.

    Parameters
    ----------
    axes : Axes
    cut : Cut
    moved_mm : float, how far forward the teeth stand after the move
    measured_mm : float, how far forward the teeth stand as measured
    after : bool, whether there is an "after" to be shown
    """
    shown = (cut.up_mm > _UP_MM[0]) & (cut.up_mm < _UP_MM[1])
    up = cut.up_mm[shown]
    lines = [line[..., shown] for line in (cut.skin_mm, cut.upper_mm, cut.lower_mm)]
    skin, upper, lower = lines
    within = (cut.measured_mm[:, 1] > _UP_MM[0]) & (cut.measured_mm[:, 1] < _UP_MM[1])
    measured = cut.measured_mm[within]
    every = np.concatenate([line.ravel() for line in lines] + [upper.ravel() + moved_mm, measured[:, 0]])
    low, high = float(np.nanmin(every)) - _ROOM_MM, float(np.nanmax(every)) + _ROOM_MM
    if cut.lip_mm is not None:
        high = max(high, float(cut.lip_mm[0]) + _WORDS_MM)
    axes.fill_betweenx(up, low, skin, color=_SKIN, lw=0, zorder=1)
    axes.plot(skin, up, color="#8c6a58", lw=1.2, zorder=1.1)
    for row in (upper, lower):
        _tooth(axes, row, up, BEFORE, fill=_ENAMEL, dashed=True)
        if after:
            _tooth(axes, row + moved_mm, up, AFTER, fill=None, dashed=False)
    axes.plot(
        *measured.T, MEASURED.marker, color=MEASURED.colour, ms=2.6, mec="white", mew=0.3, zorder=4, ls="none"
    )
    _behind(axes, cut, [(BEFORE, 0.0), *([(AFTER, moved_mm)] if after else []), (MEASURED, measured_mm)])
    axes.set_xlim(low, high)
    axes.set_ylim(*_UP_MM)
    axes.set_aspect("equal", adjustable="box", anchor="NW")
    axes.set_xlabel("forward of the solved incisal edge, mm  →", fontsize=READ_PT)
    axes.set_ylabel("up, mm", fontsize=READ_PT)
    axes.tick_params(labelsize=READ_PT)
    axes.spines[["top", "right"]].set_visible(False)


def _tooth(axes: Axes, row: Array, up: Array, style: Style, *, fill: str | None, dashed: bool) -> None:
    """Draw a row's back and front as one closed outline."""
    seen = np.isfinite(row).all(axis=0)
    if not seen.any():
        return
    x = np.concatenate([row[1][seen], row[0][seen][::-1]])
    y = np.concatenate([up[seen], up[seen][::-1]])
    x, y = np.append(x, x[0]), np.append(y, y[0])
    if fill is not None:
        axes.fill(x, y, color=fill, lw=0, zorder=2)
    axes.plot(x, y, color=style.colour, lw=1.6, ls=(0, (4, 2)) if dashed else "-", zorder=3)


def _behind(axes: Axes, cut: Cut, edges: list[tuple[Style, float]]) -> None:
    """Draw how far each incisal edge stands behind the lip: one arrow below the other, under the edges."""
    if cut.lip_mm is None:
        return
    lip = float(cut.lip_mm[0])
    ends = [float(cut.lip_mm[1]), -2.0 - 2.6 * len(edges)]
    axes.plot([lip, lip], ends, color=INK, lw=0.8, ls=":", zorder=5)
    for k, (style, edge) in enumerate(edges):
        at = -2.4 - 2.6 * k
        arrow = {"arrowstyle": "<->", "color": style.colour, "lw": 1.6, "shrinkA": 0, "shrinkB": 0}
        axes.annotate("", (edge, at), (lip, at), arrowprops=arrow, zorder=5)
        paper = {"boxstyle": "square,pad=0.12", "fc": "white", "ec": "none", "alpha": 0.9}
        words = f"{style.word.removeprefix('solved ')} {lip - edge:.1f} mm"
        axes.text(
            lip + 0.5, at, words, va="center", fontsize=READ_PT, color=style.colour, fontweight="bold",
            bbox=paper, zorder=6,
        )  # fmt: skip
