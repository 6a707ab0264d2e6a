"""The mouth in the picture with the corners that were clicked and those of the solved model."""

from __future__ import annotations

from dataclasses import dataclass, replace
from textwrap import fill
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from bite.check.assessment import Assessment, CornerMark
from bite.files.bundle import LoadedView
from bite.geometry.teeth import is_upper
from bite.plots.style import AFTER, BEFORE, INK, MEASURED, READ_PT, Look, size_in

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
_BEHIND = "covered"
_DOUBTED = ("unsure", _BEHIND)
_PAPER = {"facecolor": "white", "alpha": 0.85, "lw": 0, "pad": 1.2}
_CLICK = Look("clicked", MEASURED.colour, MEASURED.marker, 6.5)
_LANDMARK = Look("landmark", MEASURED.colour, "D", 4.0)
_MODEL = (
    Look(BEFORE.word, BEFORE.colour, BEFORE.marker, 4.6),
    Look(AFTER.word, AFTER.colour, AFTER.marker, 4.6),
)
_Place = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Crop:
    """A rectangle of a picture, px; it may reach beyond the picture."""

    centre_x: float
    centre_y: float
    width: float
    height: float


def draw_mouth(axes: Axes, assessment: Assessment, view: LoadedView) -> None:
    """Draw the mouth of one view, about 60 mm wide."""
    marks = [mark for mark in assessment.marks if mark.view == view.name]
    slot = size_in(axes)
    first = view.name == assessment.frame.views[0].name
    px_per_mm = assessment.px_per_mm if first else None
    crop = mouth_crop(view, marks, px_per_mm, float(slot[1] / slot[0]))
    gain = show_picture(axes, view.image, crop)
    axes.set_xticks([])
    axes.set_yticks([])
    notes = [lightened(gain)] if lightened(gain) else []
    corners = [mark for mark in marks if mark.state != "landmark"]
    if not marks:
        notes.append("no corners clicked in this view")
    draw_marks(axes, marks)
    if corners:
        name_corners(axes, corners, crop)
        _name_shapes(axes, corners, crop)
    if any(mark.state == _BEHIND and mark.clicked_px and mark.before_px for mark in corners):
        notes.append("dotted: from a covered corner to where it is solved")
    if px_per_mm is not None:
        scale_bar(axes, crop, px_per_mm)
    else:
        notes.append("no scale known for this view")
    kinds = [("clicked", any(m.clicked_px for m in corners)), ("solved", any(m.before_px for m in corners))]
    shown = " and ".join(word for word, present in kinds if present)
    axes.set_title(f"Mouth, view {view.name}{f': corners {shown}' if shown else ''}", fontsize=READ_PT)
    if notes:
        columns = int(size_in(axes)[0] * 72 / (0.55 * READ_PT))
        axes.set_xlabel(fill("; ".join(notes), columns), fontsize=READ_PT, loc="left", labelpad=2)


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


def show_picture(axes: Axes, image: NDArray[np.uint8], crop: Crop) -> float:
    """Show the crop of a picture and give the factor its middle grey was lifted by, 1 for none."""
    from bite.plots.placed_picture import PlacedPicture

    height, width = image.shape[:2]
    left, right = crop.centre_x - 0.5 * crop.width, crop.centre_x + 0.5 * crop.width
    top, bottom = crop.centre_y - 0.5 * crop.height, crop.centre_y + 0.5 * crop.height
    columns = slice(int(np.clip(np.floor(left), 0, width - 1)), int(np.clip(np.ceil(right), 1, width)) + 1)
    rows = slice(int(np.clip(np.floor(top), 0, height - 1)), int(np.clip(np.ceil(bottom), 1, height)) + 1)
    part = image[rows, columns]
    stride = max(1, -(-part.shape[1] // _MOST_PIXELS))
    part, gain = lifted(part[::stride, ::stride])
    x0, y0 = columns.start - 0.5, rows.start - 0.5
    extent = (x0, x0 + part.shape[1] * stride, y0 + part.shape[0] * stride, y0)
    axes.set(xlim=(left, right), ylim=(bottom, top))
    axes.add_image(PlacedPicture(axes, part, extent))
    return gain


def lifted(part: NDArray[np.uint8]) -> tuple[NDArray[np.uint8], float]:
    """Lighten a dark picture gently by a power law, so that nothing that was apart falls together."""
    middle = float(np.median(part)) / 255.0
    if not 0 < middle < _DARK:
        return part, 1.0
    power = max(np.log(_LIFTED_TO) / np.log(middle), 0.5)
    table = np.round(255.0 * (np.arange(256) / 255.0) ** power).astype(np.uint8)
    return table[part], float(middle**power / middle)


def draw_marks(axes: Axes, marks: list[CornerMark], *, model: bool = True) -> None:
    """Draw the marks look by look, all of one at once: so many objects take longer to make than to draw.

    Parameters
    ----------
    model : bool, also the solved model's corners
    """
    clicked = [mark for mark in marks if mark.clicked_px is not None and mark.state != "hidden"]
    landmarks = [mark for mark in clicked if mark.state == "landmark"]
    doubted = [mark for mark in clicked if mark.state in _DOUBTED]
    sure = [mark for mark in clicked if mark.state not in ("landmark", *_DOUBTED)]
    for chosen, look in ((sure, _CLICK), (landmarks, _LANDMARK)):
        _put(axes, [mark.clicked_px for mark in chosen], look)
    _put(axes, [mark.clicked_px for mark in doubted], _CLICK, doubted=True)
    if model:
        _put(axes, [mark.before_px for mark in marks], _MODEL[0])
        _put(axes, [mark.after_px for mark in marks], _MODEL[1])
    for mark in clicked:
        if mark.state == "landmark":
            _name_landmark(axes, mark)
        if model and mark.state == _BEHIND and mark.clicked_px is not None and mark.before_px is not None:
            ends = zip(mark.clicked_px, mark.before_px, strict=True)
            axes.plot(*ends, color="white", lw=1.6, ls=(0, (1, 1.2)), zorder=3)


def _name_landmark(axes: Axes, mark: CornerMark) -> None:
    at = mark.clicked_px
    if at is None:
        return
    left, right = axes.get_xlim()
    bottom, top = axes.get_ylim()
    inside = abs(at[0] - 0.5 * (left + right)) < 0.4 * (right - left)
    if inside and abs(at[1] - 0.5 * (top + bottom)) < 0.42 * abs(bottom - top):
        axes.annotate(
            mark.name.replace("_", " "),
            at,
            (0, -5),
            textcoords="offset points",
            ha="center",
            va="top",
            fontsize=READ_PT,
            color=MEASURED.colour,
            zorder=6,
            bbox=_PAPER,
        )


def _put(axes: Axes, places: list[_Place | None], look: Look, *, doubted: bool = False) -> None:
    at = [place for place in places if place is not None]
    if not at:
        return
    x, y = zip(*at, strict=True)
    face = "none" if not doubted else (1.0, 1.0, 1.0, 0.6)
    axes.plot(x, y, look.marker, ms=look.size_pt, mfc="none", mec="white", mew=2.6, zorder=5.4)
    axes.plot(x, y, look.marker, ms=look.size_pt, mfc=face, mec=look.colour, mew=1.3, zorder=5.5)


def name_corners(axes: Axes, corners: list[CornerMark], crop: Crop, *, at_edges: bool = False) -> None:
    """Write each corner's code once, upper ones above and lower ones below, in rows without overlaps.

    Parameters
    ----------
    at_edges : bool, write them at the picture's upper and lower edge
    """
    for upper in (True, False):
        row = [
            (place, mark)
            for mark in corners
            if is_upper(mark.name) == upper and (place := mark.clicked_px or mark.before_px)
        ]
        if not row:
            continue
        row.sort(key=lambda entry: entry[0][0])
        words = [mark.name if mark.state == "seen" else f"{mark.name}\n{mark.state}" for _, mark in row]
        gap_in = 0.42 if all(mark.state == "seen" for _, mark in row) else 0.6
        xs = _spread([place[0] for place, _ in row], gap_in / size_in(axes)[0] * crop.width)
        if at_edges:
            outer = 0.5 * crop.width - 0.5 * gap_in / size_in(axes)[0] * crop.width
            xs = [x + max(0.0, crop.centre_x - outer - xs[0]) for x in xs]
            xs = [x - max(0.0, xs[-1] - crop.centre_x - outer) for x in xs]
        edge = min(p[1] for p, _ in row) if upper else max(p[1] for p, _ in row)
        y = edge + (-0.17 if upper else 0.17) * crop.height
        if at_edges:
            room = 0.5 * crop.height - 0.05 / size_in(axes)[1] * crop.height
            y = crop.centre_y + (-room if upper else room)
        for (place, _), x, word in zip(row, xs, words, strict=True):
            axes.plot([place[0], x], [place[1], y], color="white", lw=1.8, zorder=2, alpha=0.8)
            axes.plot([place[0], x], [place[1], y], color=INK, lw=0.6, zorder=3)
            axes.text(
                x,
                y,
                word,
                ha="center",
                va="bottom" if upper != at_edges else "top",
                fontsize=READ_PT,
                color=INK,
                zorder=6,
                linespacing=0.95,
                bbox={"facecolor": "white", "alpha": 0.85, "lw": 0, "pad": 1.2},
            )


def _spread(wanted: list[float], gap: float) -> list[float]:
    """Move rising places apart to a least gap, keeping their middle."""
    placed: list[float] = []
    for x in wanted:
        placed.append(max(x, placed[-1] + gap) if placed else x)
    shift = float(np.mean(wanted)) - float(np.mean(placed))
    return [x + shift for x in placed]


def _name_shapes(axes: Axes, corners: list[CornerMark], crop: Crop) -> None:
    """Write what each shape means beside the leftmost corner that shows most of them."""
    before = _MODEL[0]
    if not any(mark.after_px for mark in corners):  # nothing is moved: there is no "before" either
        before = replace(before, word="solved")

    def shapes(mark: CornerMark) -> list[tuple[tuple[float, float], Look]]:
        clicked = mark.clicked_px if mark.state != "hidden" else None
        pairs = ((clicked, _CLICK), (mark.before_px, before), (mark.after_px, _MODEL[1]))
        return [(place, look) for place, look in pairs if place is not None]

    def rank(mark: CornerMark) -> tuple[int, float]:
        return len(shapes(mark)), -min((place[0] for place, _ in shapes(mark)), default=0.0)

    chosen = max(corners, key=rank)
    named = sorted(shapes(chosen), key=lambda entry: entry[0][1])
    left = crop.centre_x - 0.48 * crop.width
    for k, (place, look) in enumerate(named):
        y = place[1] + (k - 0.5 * (len(named) - 1)) * 0.085 * crop.height
        axes.annotate(
            look.word,
            xy=place,
            xytext=(left, y),
            color=look.colour,
            fontsize=READ_PT + 0.5,
            fontweight="bold",
            ha="left",
            va="center",
            zorder=7,
            bbox={"facecolor": "white", "alpha": 0.9, "lw": 0, "pad": 1.5},
            arrowprops={"arrowstyle": "-", "color": look.colour, "lw": 1.0, "shrinkA": 0, "shrinkB": 3},
        )


def scale_bar(axes: Axes, crop: Crop, px_per_mm: float) -> None:
    """Draw 10 mm into the lower right corner."""
    right, y = crop.centre_x + 0.46 * crop.width, crop.centre_y + 0.43 * crop.height
    left = right - 10.0 * px_per_mm
    axes.plot([left, right], [y, y], color="white", lw=5.0, solid_capstyle="butt", zorder=4)
    axes.plot([left, right], [y, y], color="black", lw=2.2, solid_capstyle="butt", zorder=5)
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
