"""The part of a picture that shows the mouth: where it is, how it is put on paper, and its scale."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from bite.check.assessment import CornerMark
from bite.files.bundle import LoadedView
from bite.geometry.render import Window
from bite.plots.style import READ_PT

if TYPE_CHECKING:
    from matplotlib.axes import Axes

CROP_MM = 60.0
"""A bared mouth and some skin beside it (our choice)."""
_DARK = 0.30
"""Middle level of a mouth, 0 to 1, below which a picture is lifted to be seen (our choice)."""
_LIFTED_TO = 0.42
"""To which it is lifted, drawn only (our choice)."""
_SPANS = 3.4
"""Crop width in spans of the corners where the scale is not known: the centrals span about 17 of 60 mm."""
_MOST_PIXELS = 1400
"""Finer than paper shows (our choice)."""


@dataclass(frozen=True, slots=True)
class Crop:
    """A rectangle of a picture, px; it may reach beyond the picture."""

    centre_x: float
    centre_y: float
    width: float
    height: float


def lightened(gain: float) -> str:
    """Say by what a picture was lightened; nothing where it was not."""
    return f"picture lightened for display (mid-grey x{gain:.1f})" if gain > 1.05 else ""


def mouth_crop(view: LoadedView, marks: list[CornerMark], px_per_mm: float | None, aspect: float) -> Crop:
    """Choose the part of the picture to show: 60 mm about the incisors, or by the corners' spread, or all.

    Parameters
    ----------
    view : LoadedView
    marks : list of CornerMark, of this view
    px_per_mm : float or None
    aspect : float, height over width of the place on paper
    """
    at = [
        place for mark in marks if mark.state != "landmark" and (place := mark.clicked_px or mark.before_px)
    ]
    height, width = view.image.shape[:2]
    if not at:
        wide = max(float(width), height / aspect)
        return Crop(0.5 * (width - 1), 0.5 * (height - 1), wide, wide * aspect)
    low, high = np.min(at, axis=0), np.max(at, axis=0)
    x, y = (float(v) for v in 0.5 * (low + high))
    wide = CROP_MM * px_per_mm if px_per_mm else _SPANS * max(float(high[0] - low[0]), 0.05 * width)
    return Crop(x, y, wide, wide * aspect)


def show_picture(
    axes: Axes,
    image: NDArray[np.uint8],
    crop: Crop,
    *,
    over: tuple[Window, NDArray[np.uint8]] | None = None,
) -> float:
    """Show the crop of a picture and give the factor its middle grey was lifted by, 1 for none.

    Parameters
    ----------
    image : array, shape (h, w, 3), uint8, RGB
    crop : Crop
    over : a window of the picture, and what is shown in it instead
    """
    from bite.plots.placed_picture import PlacedPicture

    height, width = image.shape[:2]
    left, right = crop.centre_x - 0.5 * crop.width, crop.centre_x + 0.5 * crop.width
    top, bottom = crop.centre_y - 0.5 * crop.height, crop.centre_y + 0.5 * crop.height
    columns = slice(int(np.clip(np.floor(left), 0, width - 1)), int(np.clip(np.ceil(right), 1, width)) + 1)
    rows = slice(int(np.clip(np.floor(top), 0, height - 1)), int(np.clip(np.ceil(bottom), 1, height)) + 1)
    part = image[rows, columns] if over is None else _put_over(image, rows, columns, *over)
    stride = max(1, -(-part.shape[1] // _MOST_PIXELS))
    part, gain = lifted(part[::stride, ::stride])
    x0, y0 = columns.start - 0.5, rows.start - 0.5
    extent = (x0, x0 + part.shape[1] * stride, y0 + part.shape[0] * stride, y0)
    axes.set(xlim=(left, right), ylim=(bottom, top))
    axes.add_image(PlacedPicture(axes, part, extent))
    return gain


def _put_over(
    image: NDArray[np.uint8], rows: slice, columns: slice, window: Window, pixels: NDArray[np.uint8]
) -> NDArray[np.uint8]:
    """Give a copy of a part of a picture with other pixels where the window reaches into it."""
    part = image[rows, columns].copy()
    top, left = max(rows.start, window.top), max(columns.start, window.left)
    high = min(rows.start + part.shape[0], window.top + window.height) - top
    wide = min(columns.start + part.shape[1], window.left + window.width) - left
    if high > 0 and wide > 0:
        inside = Window(left - window.left, top - window.top, wide, high).cut(pixels)
        Window(left - columns.start, top - rows.start, wide, high).cut(part)[:] = inside
    return part


def lifted(part: NDArray[np.uint8]) -> tuple[NDArray[np.uint8], float]:
    """Lighten a dark picture gently by a power law, so that nothing that was apart falls together."""
    middle = float(np.median(part)) / 255.0
    if not 0 < middle < _DARK:
        return part, 1.0
    power = max(np.log(_LIFTED_TO) / np.log(middle), 0.5)
    table = np.round(255.0 * (np.arange(256) / 255.0) ** power).astype(np.uint8)
    return table[part], float(middle**power / middle)


def scale_bar(axes: Axes, crop: Crop, px_per_mm: float) -> None:
    """Draw 10 mm into the lower right corner."""
    from bite.plots.lines import put_lines

    right, y = crop.centre_x + 0.46 * crop.width, crop.centre_y + 0.43 * crop.height
    left = right - 10.0 * px_per_mm
    bar = [np.array([(left, y), (right, y)])]
    put_lines(axes, bar, color="white", lw=5.0, solid_capstyle="butt", zorder=4)
    put_lines(axes, bar, color="black", lw=2.2, solid_capstyle="butt", zorder=5)
    axes.text(
        0.5 * (left + right),
        y - 0.02 * crop.height,
        "10 mm",
        ha="center",
        va="bottom",
        fontsize=READ_PT,
        color="black",
        zorder=6,
        bbox={"facecolor": "white", "alpha": 0.85, "lw": 0, "pad": 1.0},
    )
