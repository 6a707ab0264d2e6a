"""The mouth in the picture with the corners that were clicked and those of the solved model."""

from __future__ import annotations

from dataclasses import replace
from textwrap import fill
from typing import TYPE_CHECKING

import numpy as np

from bite.check.assessment import Assessment, CornerMark
from bite.check.panels.picture_crop import Crop, lightened, mouth_crop, scale_bar, show_picture
from bite.files.bundle import LoadedView
from bite.geometry.teeth import is_upper
from bite.plots.style import AFTER, BEFORE, INK, MEASURED, READ_PT, Look, size_in

if TYPE_CHECKING:
    from matplotlib.axes import Axes

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
    from bite.plots.lines import put_lines

    face = "none" if not doubted else (1.0, 1.0, 1.0, 0.6)
    marks = {"ls": "", "marker": look.marker, "ms": look.size_pt}
    put_lines(axes, [np.array(at)], **marks, mfc="none", mec="white", mew=2.6, zorder=5.4)
    put_lines(axes, [np.array(at)], **marks, mfc=face, mec=look.colour, mew=1.3, zorder=5.5)


def name_corners(axes: Axes, corners: list[CornerMark], crop: Crop, *, at_edges: bool = False) -> None:
    """Write each corner's code once, upper ones above and lower ones below, in rows without overlaps.

    Parameters
    ----------
    at_edges : bool, write them at the picture's upper and lower edge
    """
    from bite.plots.lines import put_lines

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
        leads = [np.array([place, (x, y)]) for (place, _), x in zip(row, xs, strict=True)]
        put_lines(axes, leads, color="white", lw=1.8, zorder=2, alpha=0.8)
        put_lines(axes, leads, color=INK, lw=0.6, zorder=3)
        for x, word in zip(xs, words, strict=True):
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
