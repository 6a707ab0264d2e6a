"""The left side of the page: what the solved teeth look like in the photograph, before and after."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from textwrap import wrap
from typing import TYPE_CHECKING

import numpy as np

from bite.check.assessment import Assessment, CornerMark
from bite.check.decision import Verdict, way
from bite.check.panels.findings import draw_findings
from bite.check.panels.mouth import draw_mouth
from bite.check.panels.overlay import (
    CLOSE_MM,
    MOUTH_MM,
    caption,
    draw_close,
    draw_outline,
    draw_shaded,
    lip_lines,
    mouth_crop,
    section_lines,
    write_in,
)
from bite.check.panels.picture_crop import Crop, lightened, scale_bar
from bite.check.panels.reprojection import draw_reprojection, view_error
from bite.check.sections import before_and_after
from bite.check.solved_looks import Looks, shown_marks
from bite.check.words import dial_before, dial_told, step_of
from bite.evidence.model.solved_mouth import HALF_MM, SolvedMouth
from bite.files.bundle import LoadedView
from bite.plots.style import AFTER, BEFORE, INK, READ_PT, bare_axes, size_in

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_GAP_IN, _TITLE_IN = 0.12, 0.24
_CLOSE_IN, _NOTE_IN, _BARE = 1.62, 0.4, 0.65
"""Lengths on paper, and the share of the width without words."""
_SEEN_PT = 1.5
"""A line of the outlines is about so broad: what moves by less does not seem to move."""
_LOWEST_MM, _WIDEST_MM = 20.0, 2 * HALF_MM[0]
"""A wide place on paper shows more to the sides rather than less of both rows."""
_MOST_VIEWS = 2
"""More would be strips too low to be read; what is left out is said (our choice)."""
_BANNER_IN = 2.95
"""So wide "NOT ADVISED" is on one line; in less it takes two."""
_TALLEST = 0.66
"""Height over width that a mouth needs, with some of the lips (our choice)."""
_NAMES_SHARE, _MOST_SLID = 0.32, 0.15
"""Share of a close-up that names of two lines take below, and the most of it that it slides down for them."""
_Box = tuple[float, float, float, float]


def draw_pictures(
    figure: Figure, assessment: Assessment, looks: Mapping[str, Looks], box_in: _Box, *, words_beside: bool
) -> None:
    """Fill a box with pictures.

    Where a move is advised, before and after stand side by side: outlines over the photograph, and the lit
    mouth in it (with two views, the outlines in each). Where not, the solved mouth stands on the left and the
    words on the right. Below, the front teeth are shown large with the clicked corners, and how far these are
    from the solved ones. Of more than two views the first two are drawn, and a line names the others.

    Parameters
    ----------
    box_in : left, bottom, width, height, inch
    words_beside : bool, nothing is to be moved: findings take the right half
    """
    left, low, wide, high = box_in
    views = [view for view in assessment.frame.views if view.name in looks][:_MOST_VIEWS]
    half = (wide - _GAP_IN) / 2
    drawn = views or list(assessment.frame.views[:_MOST_VIEWS])
    if others := others_told(assessment, looks, drawn):
        under_in = _write_under(figure, others, (left, low, wide, high))
        low, high = low + under_in, high - under_in
    if not views:
        bare = wide * _BARE if words_beside else wide
        _draw_bare(figure, assessment, (left, low, bare, high))
        if words_beside:
            _words(figure, assessment, (left + bare + 0.2, low, wide - bare - 0.2, high))
        return
    close_in = _CLOSE_IN
    titled = _TITLE_IN if len(views) > 1 else 0.06
    rows_in = (high - close_in - _TITLE_IN - titled) / 2
    columns = [(None, left)] if words_beside else [(False, left), (True, left + half + _GAP_IN)]
    for row in range(2):
        y = low + high - _TITLE_IN - rows_in - row * (rows_in + titled)
        view = views[min(row, len(views) - 1)]
        for after, x in columns:
            axes = _axes(figure, (x, y, half, rows_in))
            shaded = row == 1 and len(views) == 1
            draw_view(axes, assessment, view, looks[view.name], bool(after), shaded=shaded)
            if row == 0 or len(views) > 1:
                caption(axes, view_title(assessment, after, view), AFTER if after else BEFORE)
    if words_beside:
        _words(figure, assessment, (left + half + _GAP_IN + 0.1, low + close_in, half - 0.1, high - close_in))
    _draw_below(figure, assessment, looks, views, (left, low, wide, close_in))


def _axes(figure: Figure, box_in: _Box) -> Axes:
    width, height = figure.get_size_inches()
    left, bottom, wide, high = box_in
    return bare_axes(figure, (left / width, bottom / height, wide / width, high / height))


def others_told(assessment: Assessment, looks: Mapping[str, Looks], drawn: Sequence[LoadedView]) -> str:
    """Name the views that the page does not draw, and how far off their corners are; empty for none."""
    told_, marks = [], shown_marks(assessment)
    for view in assessment.frame.views:
        if any(view is one for one in drawn):
            continue
        error = view_error(marks, view.name)
        if looks and view.name not in looks:
            words = "shows no solved teeth"
        elif error.before_px is None:
            words = "no corner to hold against"
        else:
            after = "" if error.after_px is None else f" before, {error.after_px:.1f} px after"
            words = f"corners off by {error.before_px:.1f} px{after}"
        told_.append(f"{view.name} ({words})")
    if not told_:
        return ""
    return f"Not drawn here: {', '.join(told_)}. Each view stands in a picture of its own with --plots."


def _write_under(figure: Figure, words: str, box_in: _Box) -> float:
    """Write a note at the foot of a box and give the height that it takes, inch."""
    left, low, wide, _ = box_in
    lines = wrap(words, int(wide * 72 / (0.56 * READ_PT)))
    width, height = figure.get_size_inches()
    figure.text(
        left / width, (low + 0.02) / height, "\n".join(lines), va="bottom", fontsize=READ_PT, color=INK,
        linespacing=1.25,
    )  # fmt: skip
    return 1.3 * READ_PT / 72 * len(lines) + 0.06


def _draw_bare(figure: Figure, assessment: Assessment, box_in: _Box) -> None:
    """Draw the pictures of a frame whose model has no surface, or none, with the corners' marks."""
    left, low, wide, high = box_in
    shown = replace(assessment, marks=shown_marks(assessment))
    views = assessment.frame.views[:_MOST_VIEWS]
    held = [view for view in views if view_error(assessment.marks, view.name).corners]
    errors_in = 1.3 if held else 0.0
    each = (high - errors_in) / len(views)
    room = min(each - _TITLE_IN - _NOTE_IN, _TALLEST * wide)
    for k, view in enumerate(views):
        box = (left, low + high - k * (room + _TITLE_IN + _NOTE_IN) - _TITLE_IN - room, wide, room)
        draw_mouth(_axes(figure, box), shown, view)
    for k, view in enumerate(held):
        share = wide / len(held)
        under = max(low, low + high - len(views) * (room + _TITLE_IN + _NOTE_IN) - errors_in)
        axes = _axes(figure, (left + k * share, under + 0.05, share - 0.15, errors_in - 0.5))
        draw_reprojection(axes, shown.marks, view.name, f"{view.name}: corners, clicked to solved")


def draw_view(
    axes: Axes, assessment: Assessment, view: LoadedView, looks: Looks, after: bool | None, *, shaded: bool
) -> None:
    """Draw one view's photograph with the solved mouth in it, before or after; None: the photograph alone."""
    mouth = looks.after if after and looks.after is not None else looks.before
    crop = _crop(axes, looks.before, view, assessment)
    if shaded:
        draw_shaded(axes, view, crop, mouth)
        write_in(axes, "the solved mouth itself")
        return
    mouths = () if after is None else ((mouth, AFTER if after else BEFORE),)
    lines = section_lines(assessment, view) if view is assessment.frame.views[0] else ()
    gain = draw_outline(axes, view, crop, *mouths, lines_px=lines)
    if after and _shift_pt(assessment, view, crop, axes) < _SEEN_PT:
        write_in(axes, "moves along the line of sight")
    elif lightened(gain) and not after:
        write_in(axes, lightened(gain))
    elif lines and not after:
        write_in(axes, "dashed: the lines of the sections")
    scale_bar(axes, crop, 1.0 / _mm_per_px(view, assessment))


def _crop(
    axes: Axes, mouth: SolvedMouth, view: LoadedView, assessment: Assessment, wide_mm: float | None = None
) -> Crop:
    wide, high = size_in(axes)
    mm_per_px = _mm_per_px(view, assessment)
    if wide_mm is None:
        wide_mm = max(MOUTH_MM, min(_WIDEST_MM, _LOWEST_MM * wide / high))
    return mouth_crop(mouth, mm_per_px, high / wide, wide_mm=wide_mm)


def _shift_pt(assessment: Assessment, view: LoadedView, crop: Crop, axes: Axes) -> float:
    """Give how far the front teeth move across the picture, in points on paper."""
    assert assessment.solved is not None and assessment.fit is not None
    head = assessment.solved.head
    ends = [
        view.camera.project(head.place(head.centre_mm[None], True, at))[0]
        for at in before_and_after(assessment.fit.parameters, assessment.moved_mm)
    ]
    return float(np.hypot(*(ends[1] - ends[0]))) / crop.width * size_in(axes)[0] * 72


def _mm_per_px(view: LoadedView, assessment: Assessment) -> float:
    assert assessment.solved is not None
    depth = view.camera.camera_from_reference.apply(assessment.solved.head.centre_mm[None])[0, 2]
    return float(depth) / view.camera.focal_px


def view_title(assessment: Assessment, after: bool | None, view: LoadedView) -> str:
    """Say what a picture shows: before, after, or (None) the solved teeth where nothing is to be moved."""
    where = f"{view.name}, " if len(assessment.frame.views) > 1 else "solved "
    dial, step = dial_before(assessment), step_of(assessment)
    stands = f", dial {dial_told(dial, step)}" if dial is not None else ""
    if after is None:
        return f"■ {where}as it is{stands}" if where != "solved " else f"■ as solved{stands}"
    if not after:
        return f"■ {where}before{stands}"
    move = assessment.decision.move
    to = f", dial {dial_told(move.after, step)}" if move is not None else ""
    return f"▲ {where}after: {way(assessment.moved_mm)}{to}"


def _words(figure: Figure, assessment: Assessment, box_in: _Box) -> None:
    """Write what was found; above it, large, that nothing is advised where that is so."""
    left, low, wide, high = box_in
    if assessment.decision.verdict in (Verdict.UNSURE, Verdict.RESHOOT):
        narrow = wide < _BANNER_IN
        banner_in = 0.9 if narrow else 0.5
        axes = _axes(figure, (left, low + high - 0.12 - banner_in, wide, banner_in))
        axes.set_axis_off()
        axes.text(
            0.5, 0.5, "NOT\nADVISED" if narrow else "NOT ADVISED", ha="center", va="center", fontsize=24,
            fontweight="bold", color="white", linespacing=1.1,
            transform=axes.transAxes, bbox={"facecolor": INK, "lw": 0, "boxstyle": "square,pad=0.25"},
        )  # fmt: skip
        high -= banner_in + 0.25
    draw_findings(_axes(figure, (left, low, wide, high - _TITLE_IN)), assessment)


def _with_room_below(crop: Crop, marks: Sequence[CornerMark]) -> Crop:
    """Slide a crop down until names of the lower corners, of two lines, lie below every circle."""
    places = [m.clicked_px[1] for m in marks if m.clicked_px is not None and m.state != "landmark"]
    missing = max(places, default=-np.inf) - (crop.centre_y + (0.5 - _NAMES_SHARE) * crop.height)
    return replace(crop, centre_y=crop.centre_y + min(max(missing, 0.0), _MOST_SLID * crop.height))


def _draw_below(
    figure: Figure, assessment: Assessment, looks: Mapping[str, Looks], views: list[LoadedView], box_in: _Box
) -> None:
    """Draw the front teeth large, and the corners' errors larger still."""
    left, low, wide, high = box_in
    held = [view for view in views if view_error(assessment.marks, view.name).corners]
    low, high = low + 0.08, high - _TITLE_IN - 0.1
    both = len(held) > 1
    close_wide = wide if not held else (0.36 if both else 0.5) * wide
    view, axes = views[0], _axes(figure, (left, low, close_wide, high))
    seen = looks[view.name]
    crop = _crop(axes, seen.before, view, assessment, CLOSE_MM)
    marks = [mark for mark in assessment.marks if mark.view == view.name]
    crop = _with_room_below(crop, marks)
    mouths = [(seen.before, BEFORE)] + ([(seen.after, AFTER)] if seen.after is not None else [])
    draw_close(axes, view, crop, marks, *mouths, lip_px=lip_lines(assessment, view.name))
    caption(axes, "Front teeth, large; circles: clicked" if marks and not both else "Front teeth, large")
    room = (wide - close_wide - 0.2) / max(len(held), 1)
    for k, one in enumerate(held):
        where = f"{one.name}: corners" if both else "Corners, clicked to solved"
        title_in = 0.3 if both else 0.16
        error_axes = _axes(figure, (left + close_wide + 0.2 + k * room, low, room - 0.1, high - title_in))
        draw_reprojection(error_axes, shown_marks(assessment), one.name, where)
