"""Colours, shapes, words and sizes that all figures share.

Colours are those of Okabe & Ito 2008, "Color Universal Design" (values from memory), which stay apart for
colour-blind readers; each always comes with a shape and a word.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


@dataclass(frozen=True, slots=True)
class Look:
    """How one thing is drawn everywhere: its word, colour, marker shape and marker size in points."""

    word: str
    colour: str
    marker: str
    size_pt: float


MEASURED = Look("measured", "#0072B2", "o", 8.0)
BEFORE = Look("solved before", "#D55E00", "s", 6.5)
AFTER = Look("solved after", "#009E73", "^", 6.5)
NEUTRAL = "#999999"
INK = "#222222"
ENAMEL = "#f0e9cf"

WIDTH_PX = 1600
"""Width of figures on a screen (our choice)."""
DPI = 200
"""An 8 inch figure: printed across a page, its text comes out at the sizes named here."""
TITLE_PT = 10.5
TEXT_PT = 8.0
SMALL_PT = 7.0
PAGE_IN = (11.0, 7.5)
"""A landscape page: A4 with margins of 9 mm, and a screen of 1080 lines at 144 of them an inch."""
READ_PT = 9.0
"""The smallest letters on that page."""
PAGE_TITLE_PT = 14.0
_RC = {
    "font.family": ["DejaVu Sans"],
    "font.size": TEXT_PT,
    "axes.titlesize": TEXT_PT + 0.5,
    "axes.titlelocation": "left",
    "axes.titleweight": "bold",
    # at the top edge, where all titles here belong: looking for room above ticks takes a tenth of the drawing
    "axes.titley": 1.0,
    "axes.labelsize": TEXT_PT,
    "axes.edgecolor": INK,
    "axes.linewidth": 0.7,
    "axes.unicode_minus": False,
    "xtick.labelsize": SMALL_PT,
    "ytick.labelsize": SMALL_PT,
    "text.usetex": False,
    # at this resolution fitting letters to pixels changes little, and takes a fifth of the drawing
    "text.hinting": "none",
    # names of frames and files are no formulas
    "text.parse_math": False,
    "savefig.dpi": "figure",
    "savefig.bbox": None,
    "path.simplify": True,
}


@contextmanager
def house_style() -> Iterator[None]:
    """Hold the figure settings for the time of a drawing, whatever the user's own settings are."""
    import matplotlib

    settings: Any = _RC
    with matplotlib.rc_context(settings):
        yield


def blank_figure(width_in: float, height_in: float) -> Figure:
    """Make a white figure on the Agg canvas, which needs no display."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width_in, height_in), dpi=DPI, facecolor="white")
    FigureCanvasAgg(figure)
    return figure


def bare_axes(figure: Figure, box: tuple[float, float, float, float]) -> Axes:
    """Make axes for a picture or words, without ticks.

    Parameters
    ----------
    box : left, bottom, width, height as shares of the figure
    """
    from bite.plots.bare_axes import BareAxes

    return figure.add_axes(box, axes_class=BareAxes)


def size_in(axes: Axes) -> tuple[float, float]:
    """Give width and height of axes on paper, inch."""
    return float(axes.bbox.width) / DPI, float(axes.bbox.height) / DPI


def readable_ticks(axes: Axes) -> None:
    """Give the numbers of both axes the smallest size of a page, whenever they are drawn."""
    axes.tick_params(labelsize=READ_PT, length=3, pad=2, colors=INK)


def say_missing(axes: Axes, title: str, sentence: str, *, size_pt: float = TEXT_PT) -> None:
    """Turn a panel into one sentence that says what is missing and why, under a title where there is one."""
    from textwrap import fill

    axes.set_axis_off()
    axes.set_title(title, fontsize=size_pt + 0.5)
    text = fill(sentence, max(18, int(size_in(axes)[0] * 112 / size_pt)))
    axes.text(0.5, 0.5, text, ha="center", va="center", color=INK, fontsize=size_pt, transform=axes.transAxes)
