"""The two solves of a recheck in one photograph: outlines, the lit mouths, and the front teeth large."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from bite.check.assessment import Assessment
from bite.check.panels.overlay import CLOSE_MM, caption, draw_close, draw_outline, draw_shaded, mouth_crop
from bite.check.panels.picture_crop import scale_bar
from bite.check.sections import before_and_after
from bite.check.words import dial_told, told
from bite.evidence.model.solved_mouth import SolvedMouth, mouth_canvas, solved_mouth
from bite.files.bundle import LoadedView
from bite.plots.style import AFTER, BEFORE, PAGE_IN, bare_axes, size_in
from bite.recheck.steps import Recheck

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_Box = tuple[float, float, float, float]
_TITLE_IN, _GAP_IN, _CLOSE_SHARE = 0.26, 0.12, 0.28
"""Lengths on paper, and the close-up's share of the height."""


@dataclass(frozen=True, slots=True)
class TwoSolves:
    """Both solves as the reference view sees them, each aligned to the skin, in the same pixels.

    Parameters
    ----------
    view : LoadedView
    before, after : SolvedMouth, the first and the second solve
    mm_per_px : float, on the teeth
    """

    view: LoadedView
    before: SolvedMouth
    after: SolvedMouth
    mm_per_px: float


def two_solves(first: Assessment, second: Assessment) -> TwoSolves | None:
    """Render both solves; None where either has no surface or is not in the picture.

    Parameters
    ----------
    first, second : Assessment, of one picture
    """
    places = []
    for look in (first, second):
        if look.solved is None or look.fit is None or not look.solved.has_surface:
            return None
        places.append((look.solved.head, before_and_after(look.fit.parameters, 0.0)[0]))
    view = second.frame.views[0]
    canvas = mouth_canvas(view.camera, *places[1])
    if canvas is None:
        return None
    before, after = (solved_mouth(canvas, head, at) for head, at in places)
    return TwoSolves(view, before, after, canvas.mm_per_px)


def draw_solves(figure: Figure, found: Recheck, solves: TwoSolves, box_in: _Box) -> None:
    """Fill a box with before and after side by side, and both together, large, below.

    Parameters
    ----------
    box_in : left, bottom, width, height, inch
    """
    left, low, wide, high = box_in
    close_in = _CLOSE_SHARE * high
    half, rows_in = (wide - _GAP_IN) / 2, (high - close_in - _TITLE_IN - 0.06) / 2
    sides = ((solves.before, found.before, BEFORE, "■"), (solves.after, found.after, AFTER, "▲"))
    for k, (mouth, side, look, sign) in enumerate(sides):
        x = left + k * (half + _GAP_IN)
        upper = _axes(figure, (x, low + high - _TITLE_IN - rows_in, half, rows_in))
        lower = _axes(figure, (x, low + high - _TITLE_IN - 2 * rows_in - 0.06, half, rows_in))
        aspect = size_in(upper)[1] / size_in(upper)[0]
        crop = mouth_crop(solves.after, solves.mm_per_px, aspect)
        draw_outline(upper, solves.view, crop, (mouth, look))
        scale_bar(upper, crop, 1.0 / solves.mm_per_px)
        draw_shaded(lower, solves.view, crop, mouth)
        words = f"{sign} dial {dial_told(side.dial)}: {told(side.offset, 'mm', sign=True)} left"
        caption(upper, words, look)
    axes = _axes(figure, (left, low, wide, close_in - _TITLE_IN - 0.1))
    width, height = size_in(axes)
    crop = mouth_crop(solves.after, solves.mm_per_px, height / width, wide_mm=1.6 * CLOSE_MM)
    draw_close(axes, solves.view, crop, [], (solves.before, BEFORE), (solves.after, AFTER))
    caption(axes, "Both solves over the front teeth, large")


def _axes(figure: Figure, box_in: _Box) -> Axes:
    left, bottom, wide, high = box_in
    return bare_axes(figure, (left / PAGE_IN[0], bottom / PAGE_IN[1], wide / PAGE_IN[0], high / PAGE_IN[1]))
