"""The before-and-after figure of one frame, and its panels as figures of their own."""

from __future__ import annotations

from textwrap import wrap
from typing import TYPE_CHECKING

from bite.check.assessment import Assessment
from bite.check.panels.dial import draw_dial
from bite.check.panels.findings import draw_findings
from bite.check.panels.mouth import draw_mouth
from bite.check.panels.reprojection import KEY, draw_reprojection, view_error
from bite.check.panels.section import can_draw, draw_section, is_midline
from bite.check.sections import Section
from bite.check.words import CAUTION, headline, interval_told, reason, told
from bite.plots.style import (
    DPI,
    INK,
    SMALL_PT,
    TEXT_PT,
    TITLE_PT,
    WIDTH_PX,
    blank_figure,
    house_style,
    say_missing,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_WIDTH_IN = WIDTH_PX / DPI
_HEAD_IN, _ONE_VIEW_IN, _DEPTH_IN, _MOVE_IN, _FOOT_IN = 0.35, 3.5, 4.0, 2.5, 0.4
_TITLE_LINE_IN, _UNDER_LINE_IN = 0.2, 0.16
_VIEW_ROW_IN, _FINDINGS_IN, _SENTENCE_IN, _CLICKS_IN = 2.9, 1.9, 0.75, 1.95
_Box = tuple[float, float, float, float]


def before_after_figure(assessment: Assessment) -> Figure:
    """Draw mouth, findings, both depth sections and the dial of one frame.

    Returns
    -------
    Figure, 1600 px wide; a panel whose evidence is missing says so in one sentence.
    """
    views = assessment.frame.views
    rows = (len(views) + 1) // 2
    mouth_in = _ONE_VIEW_IN if len(views) == 1 else rows * _VIEW_ROW_IN + _FINDINGS_IN
    depth_in = _DEPTH_IN if any(can_draw(section) for section in assessment.sections) else _SENTENCE_IN
    move_in = _MOVE_IN if assessment.fit is not None else _SENTENCE_IN
    title, under = _title(assessment)
    title_in = _HEAD_IN + _TITLE_LINE_IN * len(title) + _UNDER_LINE_IN * len(under)
    held = _held_views(assessment)
    clicks_in = 0.2 + _CLICKS_IN * ((len(held) + 1) // 2) if held else 0.0
    height = title_in + mouth_in + clicks_in + depth_in + move_in + _FOOT_IN
    with house_style():
        figure = blank_figure(_WIDTH_IN, height)
        _write_title(figure, title, under)
        top = height - title_in
        if len(views) == 1:
            draw_mouth(_axes(figure, (0.15, top - 3.15, 4.9, 2.95)), assessment, views[0])
            draw_findings(_axes(figure, (5.25, top - 3.15, 2.6, 2.95)), assessment)
        else:
            for k, view in enumerate(views):
                box = (0.15 + 3.95 * (k % 2), top - _VIEW_ROW_IN * (k // 2 + 1) + 0.4, 3.75, 2.25)
                draw_mouth(_axes(figure, box), assessment, view)
            draw_findings(_axes(figure, (0.15, top - mouth_in + 0.1, 7.7, _FINDINGS_IN - 0.3)), assessment)
        top -= mouth_in
        _draw_clicks(figure, assessment, held, top)
        top -= clicks_in
        _draw_sections(figure, assessment, top, depth_in)
        top -= depth_in
        if assessment.fit is not None:
            draw_dial(_axes(figure, (1.05, top - 2.0, 4.95, 1.35)), assessment)
        else:
            draw_dial(_axes(figure, (0.15, top - 0.65, 7.7, 0.4)), assessment)
        _write_foot(figure, assessment)
    return figure


def panel_figures(assessment: Assessment) -> dict[str, Figure]:
    """Draw each panel as a figure of its own.

    Named mouth-VIEW, reprojection-VIEW (with two views or more), midline, across-incisors, dial, findings.
    """
    figures: dict[str, Figure] = {}
    with house_style():
        for view in assessment.frame.views:
            figures[f"mouth-{view.name}"] = _single(assessment, 5.6)
            draw_mouth(_axes(figures[f"mouth-{view.name}"], (0.2, 0.35, 7.6, 4.7)), assessment, view)
        for name in _held_views(assessment):
            figures[f"reprojection-{name}"] = _single(assessment, 4.0)
            axes = _axes(figures[f"reprojection-{name}"], (0.7, 0.55, 6.9, 2.75))
            draw_reprojection(axes, assessment.marks, name, f"view {name}; {KEY}")
        for name, midline in (("midline", True), ("across-incisors", False)):
            section = _section(assessment, midline)
            if section is not None:
                figures[name] = _single(assessment, 6.6 if midline else 5.2)
                box = (0.7, 0.6, 5.0, 5.4) if midline else (0.7, 0.6, 7.0, 4.0)
                draw_section(_axes(figures[name], box), section, assessment.moved_mm)
        figures["dial"] = _single(assessment, 3.0)
        draw_dial(_axes(figures["dial"], (1.05, 0.5, 4.95, 1.4)), assessment)
        figures["findings"] = _single(assessment, 4.0)
        draw_findings(_axes(figures["findings"], (0.3, 0.2, 7.4, 3.1)), assessment)
    return figures


def _axes(figure: Figure, box_in: _Box) -> Axes:
    """Make axes at left, bottom, width, height in inches."""
    width, height = figure.get_size_inches()
    left, bottom, wide, high = box_in
    return figure.add_axes((left / width, bottom / height, wide / width, high / height))


def _single(assessment: Assessment, height_in: float) -> Figure:
    figure = blank_figure(_WIDTH_IN, height_in)
    top = 1.0 - 0.1 / height_in
    figure.text(0.02, top, headline(assessment), va="top", fontsize=TEXT_PT, color=INK, wrap=False)
    return figure


def _title(assessment: Assessment) -> tuple[list[str], list[str]]:
    """Give the lines of the title, which is the finding, and the lines under it, which give its numbers."""
    under = []
    if assessment.fit is not None:
        offset = assessment.fit.offset
        interval = f"95 %: {interval_told(offset, 'mm')}; forward is positive"
        under.append(f"offset {told(offset, 'mm', sign=True, pm='±')} ({interval})")
    if added := reason(assessment):
        under.append(added)
    return wrap(headline(assessment), 86), [line for part in under for line in wrap(part, 122)]


def _write_title(figure: Figure, title: list[str], under: list[str]) -> None:
    height = float(figure.get_size_inches()[1])
    y = 1 - 0.1 / height
    figure.text(
        0.02, y, "\n".join(title), va="top", fontsize=TITLE_PT, fontweight="bold", color=INK, linespacing=1.3
    )
    y -= (_TITLE_LINE_IN * len(title) + 0.03) / height
    figure.text(0.02, y, "\n".join(under), va="top", fontsize=TEXT_PT, color=INK, linespacing=1.3)


def _write_foot(figure: Figure, assessment: Assessment) -> None:
    frame = assessment.frame
    shot = f"performer {frame.file.performer}, device {frame.file.device}"
    foot = [*wrap(f"{frame.name}, {shot}; bite {assessment.version}", 130), CAUTION]
    figure.text(0.02, 0.006, "\n".join(foot), va="bottom", fontsize=SMALL_PT, color=INK)


def _section(assessment: Assessment, midline: bool) -> Section | None:
    found = (
        section for section in assessment.sections if is_midline(section) == midline and can_draw(section)
    )
    return next(found, None)


def _draw_sections(figure: Figure, assessment: Assessment, top: float, room: float) -> None:
    midline, across = (_section(assessment, upright) for upright in (True, False))
    if midline is None and across is None:
        say_missing(
            _axes(figure, (0.15, top - room + 0.1, 7.7, 0.4)), "Depth sections", _why_no_section(assessment)
        )
        return
    boxes = ((0.6, top - 3.4, 2.75, 3.15), (4.05, top - 2.65, 3.8, 2.4))
    for section, box, title in zip((midline, across), boxes, ("Midline", "Across the incisors"), strict=True):
        axes = _axes(figure, box)
        if section is not None:
            draw_section(axes, section, assessment.moved_mm)
        else:
            say_missing(axes, title, "The depth was given along one line only.")


def _held_views(assessment: Assessment) -> list[str]:
    """Give the views of a frame with two or more whose corners the solved model can be held against."""
    names = [view.name for view in assessment.frame.views]
    return [n for n in names if view_error(assessment.marks, n).corners] if len(names) > 1 else []


def _draw_clicks(figure: Figure, assessment: Assessment, held: list[str], top: float) -> None:
    if held:
        height = float(figure.get_size_inches()[1])
        figure.text(0.02, (top - 0.05) / height, f"Corners in each view; {KEY}", va="top", fontsize=SMALL_PT)
    for k, name in enumerate(held):
        low = top - 0.2 - _CLICKS_IN * (k // 2 + 1) + 0.45
        axes = _axes(figure, (0.55 + 3.95 * (k % 2), low, 3.3, _CLICKS_IN - 0.85))
        draw_reprojection(axes, assessment.marks, name, f"view {name}")


def _why_no_section(assessment: Assessment) -> str:
    frame = assessment.frame
    if frame.depth_map is None and frame.profile is None:
        return "No depth map or profile was given: no section to draw."
    if frame.file.solved is None:
        return "No solved model was given: nothing to lay beside the measured depth."
    if assessment.why_no_offset:
        return f"Depth and solved model could not be compared: {assessment.why_no_offset}."
    return "The solved model has no surface to lay beside the measured depth."
