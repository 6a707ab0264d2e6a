"""The solved mouth in the photograph: its outlines over it, its lit surface in it, and a close look."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from bite.check.assessment import Assessment, CornerMark
from bite.check.panels.mouth import draw_marks, name_corners
from bite.check.panels.picture_crop import Crop, show_picture
from bite.evidence.model.outlines import Rim
from bite.evidence.model.solved_mouth import SolvedMouth
from bite.files.bundle import LoadedView
from bite.geometry.rigid import Array
from bite.plots.style import INK, MEASURED, READ_PT, Look

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MOUTH_MM = 50.0
"""The width of a mouth bared (our choice)."""
CLOSE_MM = 25.0
"""The two upper centrals and some room (our choice)."""
_OWN = (Rim.UPPER, Rim.LOWER)


def mouth_crop(mouth: SolvedMouth, mm_per_px: float, aspect: float, *, wide_mm: float = MOUTH_MM) -> Crop:
    """Choose the part of a photograph that holds the teeth in sight.

    Parameters
    ----------
    mouth : SolvedMouth
    mm_per_px : float, of the photograph on the teeth
    aspect : float, height over width of the place on paper
    """
    rows, columns = np.nonzero(mouth.teeth > 0.5)
    if not len(rows):
        rows, columns = np.nonzero(mouth.cover > 0.5)
    x = 0.5 * (columns.min() + columns.max()) + mouth.window.left
    y = 0.5 * (rows.min() + rows.max()) + mouth.window.top
    wide = wide_mm / mm_per_px
    return Crop(float(x), float(y), wide, wide * aspect)


def draw_outline(
    axes: Axes,
    view: LoadedView,
    crop: Crop,
    *mouths: tuple[SolvedMouth, Look],
    lines_px: tuple[Array, ...] = (),
) -> float:
    """Draw outlines over the photograph; give by what its middle grey was lightened.

    Parameters
    ----------
    mouths : pairs of a solved mouth and the look of its outlines
    lines_px : arrays, shape (n, 2), where the sections lie
    """
    from bite.plots.lines import put_lines

    gain = show_picture(axes, view.image, crop)
    put_lines(axes, lines_px, color="white", lw=1.0, alpha=0.5, zorder=2)
    put_lines(axes, lines_px, color=INK, lw=0.5, ls=(0, (6, 3)), zorder=2.1)
    for mouth, look in mouths:
        own, still = mouth.lines(*_OWN), mouth.lines(Rim.GUM, Rim.LIP)
        put_lines(axes, still, color="white", lw=1.4, alpha=0.55, zorder=3)
        put_lines(axes, still, color=look.colour, lw=0.7, ls=(0, (1.5, 1)), zorder=3.1)
        put_lines(axes, own, color="white", lw=2.8, alpha=0.75, zorder=3.2, solid_capstyle="round")
        put_lines(axes, own, color=look.colour, lw=1.5, zorder=3.3, solid_capstyle="round")
    _frame(axes)
    return gain


def draw_shaded(axes: Axes, view: LoadedView, crop: Crop, mouth: SolvedMouth) -> None:
    """Draw the lit solved mouth in its place in the photograph."""
    show_picture(axes, view.image, crop, over=(mouth.window, mouth.mixed(mouth.window.cut(view.image))))
    _frame(axes)


def draw_close(
    axes: Axes,
    view: LoadedView,
    crop: Crop,
    marks: list[CornerMark],
    *mouths: tuple[SolvedMouth, Look],
    lip_px: tuple[Array, ...] = (),
) -> None:
    """Draw the front teeth large: outlines together, and clicked corners with their names.

    Clicks lie over the outlines.

    Parameters
    ----------
    lip_px : arrays, shape (n, 2), the lips' edges as they were read in the picture
    """
    from bite.plots.lines import put_lines

    draw_outline(axes, view, crop)
    # the first line is broad and the next narrow, so that both show where they coincide
    for k, (mouth, look) in enumerate(mouths):
        own, gums = mouth.lines(*_OWN), mouth.lines(Rim.GUM)
        put_lines(axes, own, color="white", lw=4.4 - 2.0 * k, alpha=0.6, zorder=3.0 + k)
        put_lines(axes, own, color=look.colour, lw=3.2 - 2.0 * k, zorder=3.1 + k)
        put_lines(axes, gums, color=look.colour, lw=1.6 - 0.8 * k, ls=(0, (1.5, 1)), zorder=3.1 + k)
    put_lines(axes, lip_px, ls="", marker="_", ms=5.0, mec="white", mew=2.4, zorder=2.5)
    put_lines(axes, lip_px, ls="", marker="_", ms=5.0, mec=MEASURED.colour, mew=1.2, zorder=2.6)
    corners = [m for m in marks if m.state != "landmark" and m.clicked_px is not None and m.state != "hidden"]
    draw_marks(axes, corners, model=False)
    name_corners(axes, corners, crop, at_edges=True)


def lip_lines(assessment: Assessment, view: str) -> tuple[Array, ...]:
    """Give the lips' edges that were read in the reference picture."""
    lips = None if assessment.fit is None else assessment.fit.lip_block
    first = view == assessment.frame.views[0].name
    return (lips.read_px,) if lips is not None and first else ()


def section_lines(assessment: Assessment, view: LoadedView) -> tuple[Array, ...]:
    """Give the lines of the sections in a view's picture, px."""
    return tuple(
        pixels
        for section in assessment.sections
        for line in section.lines_mm
        if np.isfinite(pixels := view.camera.project(line)).all()
    )


def caption(axes: Axes, words: str, look: Look | None = None) -> None:
    """Write what a picture shows above it."""
    axes.set_title(words, fontsize=READ_PT, color=look.colour if look else INK, pad=3, fontweight="bold")


def write_in(axes: Axes, words: str) -> None:
    """Write a few words into a picture's lower left corner."""
    axes.annotate(
        words,
        (0.0, 0.0),
        (4, 4),
        xycoords="axes fraction",
        textcoords="offset points",
        fontsize=READ_PT,
        color=INK,
        zorder=8,
        bbox={"facecolor": "white", "alpha": 0.85, "lw": 0, "pad": 1.2},
    )


def _frame(axes: Axes) -> None:
    axes.set_xticks([])
    axes.set_yticks([])
