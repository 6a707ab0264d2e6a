"""Each panel of the page as a picture of its own, and before and after in turns."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from bite.check.assessment import Assessment
from bite.check.before_after import sections_of
from bite.check.page_pictures import draw_view, view_title
from bite.check.panels.dial import draw_dial
from bite.check.panels.findings import draw_findings
from bite.check.panels.mouth import draw_mouth
from bite.check.panels.overlay import caption
from bite.check.panels.reprojection import draw_reprojection, view_error
from bite.check.panels.section import draw_key, draw_section, is_upright, title_of
from bite.check.sections import Section
from bite.check.solved_looks import Looks, is_advised, shown_marks, solved_looks
from bite.check.words import headline
from bite.files.bundle import LoadedView
from bite.plots.style import AFTER, BEFORE, DPI, INK, READ_PT, blank_figure, house_style

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_WIDTH_IN = 8.0
_SHOWN_S = 0.9
"""Each picture of the blink stands about a second: long enough to look, short enough to compare (our
choice)."""
_Box = tuple[float, float, float, float]


def panel_figures(assessment: Assessment, looks: Mapping[str, Looks] | None = None) -> dict[str, Figure]:
    """Draw each panel as a figure of its own.

    Named mouth-VIEW (the corners), outline-VIEW and shaded-VIEW (the solved teeth in the photograph, before
    and after), reprojection-VIEW, crowns (or profile), across-incisors, dial, findings.
    """
    looks = solved_looks(assessment) if looks is None else looks
    figures: dict[str, Figure] = {}
    with house_style():
        for view in assessment.frame.views:
            figures[f"mouth-{view.name}"] = _single(assessment, 5.6)
            draw_mouth(_axes(figures[f"mouth-{view.name}"], (0.2, 0.4, 7.6, 4.6)), assessment, view)
            if view.name in looks:
                for name, shaded in (("outline", False), ("shaded", True)):
                    figures[f"{name}-{view.name}"] = _both(assessment, view, looks[view.name], shaded=shaded)
        for view in assessment.frame.views:
            if view_error(assessment.marks, view.name).corners:
                figure = figures[f"reprojection-{view.name}"] = _single(assessment, 3.4)
                axes = _axes(figure, (0.3, 0.15, 7.4, 2.4))
                draw_reprojection(axes, shown_marks(assessment), view.name, f"view {view.name}, corners")
        for section in sections_of(assessment):
            if section is not None:
                figures[_name_of(section)] = _section(assessment, section)
        figures["dial"] = _single(assessment, 2.6)
        draw_dial(_axes(figures["dial"], (1.15, 0.5, 4.6, 1.2)), assessment)
        figures["findings"] = _single(assessment, 4.0)
        draw_findings(_axes(figures["findings"], (0.3, 0.2, 7.4, 3.1)), assessment)
    return figures


def blinking(assessment: Assessment, looks: Mapping[str, Looks]) -> dict[str, bytes]:
    """Give one animated PNG a view, named blink-VIEW: the outline before, after, and the photograph alone.

    Where no move is advised there is none.
    """
    from bite.plots.animated_png import animated_png
    from bite.plots.saving import figure_pixels

    made: dict[str, bytes] = {}
    for view in assessment.frame.views:
        seen = looks.get(view.name)
        if seen is None or seen.after is None:
            continue
        frames = []
        for after in (False, True, None):
            with house_style():
                figure = _single(assessment, 4.4)
                axes = _axes(figure, (0.15, 0.15, 7.7, 3.65))
                draw_view(axes, assessment, view, seen, after, shaded=False)
                words = "the photograph alone" if after is None else view_title(assessment, after, view)
                caption(axes, words, None if after is None else AFTER if after else BEFORE)
            frames.append(figure_pixels(figure))
        made[f"blink-{view.name}"] = animated_png(frames, (_SHOWN_S,) * len(frames), DPI)
    return made


def _axes(figure: Figure, box_in: _Box) -> Axes:
    """Make axes at left, bottom, width, height in inches."""
    width, height = figure.get_size_inches()
    left, bottom, wide, high = box_in
    return figure.add_axes((left / width, bottom / height, wide / width, high / height))


def _single(assessment: Assessment, height_in: float) -> Figure:
    from textwrap import fill

    figure = blank_figure(_WIDTH_IN, height_in)
    top = 1.0 - 0.08 / height_in
    figure.text(0.02, top, fill(headline(assessment), 100), va="top", fontsize=READ_PT, color=INK, wrap=False)
    return figure


def _both(assessment: Assessment, view: LoadedView, seen: Looks, *, shaded: bool) -> Figure:
    """Draw before above after, or one of them where there is no other."""
    sides = (False, True) if seen.after is not None else (False,)
    figure = _single(assessment, 0.7 + 3.55 * len(sides))
    for k, after in enumerate(sides):
        axes = _axes(figure, (0.15, 0.12 + 3.55 * (len(sides) - 1 - k), 7.7, 3.2))
        draw_view(axes, assessment, view, seen, after, shaded=shaded)
        title = view_title(assessment, after if seen.after is not None else None, view)
        caption(axes, title, AFTER if after else BEFORE)
    return figure


def _name_of(section: Section) -> str:
    return {"crowns": "crowns", "midline": "profile"}.get(section.name, "across-incisors")


def _section(assessment: Assessment, section: Section) -> Figure:
    upright, after = is_upright(section), is_advised(assessment)
    figure = _single(assessment, 6.6 if upright else 5.2)
    high = float(figure.get_size_inches()[1])
    draw_key(_axes(figure, (0.15, high - 0.7, 5.0, 0.2)), after=after)
    if upright:
        curve = _axes(figure, (0.75, 0.6, 3.9, 4.9))
        strip = _axes(figure, (4.9, 0.6, 2.9, 4.9))
    else:
        curve, strip = _axes(figure, (0.85, 2.0, 6.9, 2.1)), _axes(figure, (0.85, 0.5, 6.9, 1.35))
    draw_section(curve, strip, section, after=after)
    curve.set_title(title_of(section), fontsize=READ_PT + 0.5)
    return figure
