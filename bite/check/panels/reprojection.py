"""One view's clicked corners beside the solved model's, before and after, with the error in px."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from bite.check.assessment import CornerMark
from bite.plots.style import AFTER, BEFORE, INK, MEASURED, NEUTRAL, SMALL_PT, say_missing, size_in

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_AS_POSITION = ("seen", "unsure")


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


def draw_reprojection(axes: Axes, marks: Sequence[CornerMark], view: str, name: str) -> None:
    """Draw the corners of one view in picture pixels, y down, one scale both ways.

    Parameters
    ----------
    marks : sequence of CornerMark, of any views
    view : str, which of them
    name : str, what to call it in the title
    """
    error = view_error(marks, view)
    kept = [m for m in marks if m.view == view and m.state in _AS_POSITION and m.clicked_px and m.before_px]
    if not kept or error.before_px is None:
        say_missing(axes, name, "No clicked corner that the solved model has.")
        return
    for mark in kept:
        assert mark.clicked_px is not None
        for look, at, style in ((BEFORE, mark.before_px, ":"), (AFTER, mark.after_px, "-")):
            if at is not None:
                xs, ys = zip(mark.clicked_px, at, strict=True)
                axes.plot(xs, ys, style, color=look.colour, lw=1.0)
                axes.plot(*at, look.marker, color=look.colour, ms=4.0, mec="white", mew=0.4)
        axes.plot(*mark.clicked_px, MEASURED.marker, color=MEASURED.colour, ms=5.0, mfc="none", mew=1.2)
    _frame_all(axes, kept)
    _name_corners(axes, kept)
    after = "" if error.after_px is None else f", {error.after_px:.1f} px after"
    axes.set_title(f"{name}\noff by {error.before_px:.1f} px before{after}", fontsize=SMALL_PT + 0.5)
    axes.tick_params(labelsize=SMALL_PT - 1.5, length=2, colors=INK)
    axes.set_xlabel("x, px", fontsize=SMALL_PT - 1, labelpad=1)
    axes.set_ylabel("y, px", fontsize=SMALL_PT - 1, labelpad=1)
    axes.grid(color=NEUTRAL, alpha=0.25, lw=0.4)


KEY = "circle: clicked; square, dotted: solved before; triangle, line: solved after; px rms over the corners"
"""What the shapes mean, to be written once beside all panels."""


def _frame_all(axes: Axes, marks: Sequence[CornerMark]) -> None:
    places = [p for m in marks for p in (m.clicked_px, m.before_px, m.after_px) if p is not None]
    low, high = np.min(places, axis=0), np.max(places, axis=0)
    wide, tall = size_in(axes)
    middle, span = 0.5 * (low + high), 1.25 * (high - low) + 6.0
    across = max(float(span[0]), float(span[1]) * wide / tall)
    half = 0.5 * across, 0.5 * across * tall / wide
    axes.set_xlim(middle[0] - half[0], middle[0] + half[0])
    axes.set_ylim(middle[1] + half[1], middle[1] - half[1])


def _name_corners(axes: Axes, marks: Sequence[CornerMark]) -> None:
    for mark in marks:
        assert mark.clicked_px is not None
        up = mark.name[0] in "12"
        # mesial corners of two neighbours nearly touch: their names go to either side
        side = 0 if mark.name.endswith("d") else -1 if mark.name in ("11m", "41m") else 1
        axes.annotate(
            mark.name,
            mark.clicked_px,
            (2 * side, 7 if up else -7),
            textcoords="offset points",
            ha=("center", "left", "right")[side],
            va="bottom" if up else "top",
            fontsize=SMALL_PT - 1,
            color=INK,
        )


def _rms(pairs: Sequence[tuple[tuple[float, float] | None, tuple[float, float] | None]]) -> float | None:
    squares = [
        (a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2 for a, b in pairs if a is not None and b is not None
    ]
    return float(np.sqrt(np.mean(squares))) if squares else None
