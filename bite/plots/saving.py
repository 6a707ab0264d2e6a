"""Figures as PNG: rendered the same way each time, saved in one step."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from bite.plots.letters import make_readable
from bite.plots.png import png_bytes
from bite.plots.style import house_style

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def figure_pixels(figure: Figure) -> NDArray[np.uint8]:
    """Render a figure, shape (h, w, 4), RGBA: the same figure gives the same pixels."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    canvas: Any = FigureCanvasAgg(figure)
    with house_style():
        make_readable(figure)
        canvas.draw()
    return np.asarray(canvas.buffer_rgba())


def figure_bytes(figure: Figure) -> bytes:
    """Render a figure as PNG: no date, no program name, so the same figure gives the same bytes."""
    return png_bytes(figure_pixels(figure), figure.dpi)


def save_figure(figure: Figure, path: str | Path) -> None:
    """Save a figure as PNG in one step.

    Raises
    ------
    InputError
        When the folder cannot be written.
    """
    from bite.files.atomic import write_bytes

    write_bytes(path, figure_bytes(figure))
