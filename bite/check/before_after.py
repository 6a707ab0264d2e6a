"""The before-and-after figure of one frame: one landscape page, pictures on the left, depths on the right."""

from __future__ import annotations

from collections.abc import Mapping
from textwrap import wrap
from typing import TYPE_CHECKING

from bite.check.assessment import Assessment
from bite.check.decision import Verdict
from bite.check.finding import Severity
from bite.check.page_pictures import draw_pictures
from bite.check.panels.dial import draw_dial
from bite.check.panels.findings import draw_findings
from bite.check.panels.section import can_draw, draw_key, draw_section, is_upright, title_of
from bite.check.sections import Section
from bite.check.solved_looks import Looks, is_advised, solved_looks
from bite.check.words import CAUTION, headline, interval_told, reason, told
from bite.plots.style import (
    INK,
    PAGE_IN,
    PAGE_TITLE_PT,
    READ_PT,
    bare_axes,
    blank_figure,
    house_style,
    say_missing,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_LEFT_IN, _LEFT_WIDE_IN = 0.2, 6.5
_RIGHT_IN, _RIGHT_WIDE_IN = 7.05, 3.8
_FOOT_IN = 0.36
_DIAL_IN = 1.35
_UPRIGHT_IN, _ACROSS_IN, _KEY_IN = 2.5, 1.95, 0.26
_REFUSALS = (Verdict.UNSURE, Verdict.RESHOOT)
_Box = tuple[float, float, float, float]


def before_after_figure(assessment: Assessment, looks: Mapping[str, Looks] | None = None) -> Figure:
    """Draw one page: the solved teeth in the photograph, depth sections, the dial, and what was found.

    Parameters
    ----------
    assessment : Assessment
    looks : mapping, optional, of ``solved_looks``, where the caller has them already

    Returns
    -------
    Figure, 11 by 7.5 inch; a panel whose evidence is missing says so in one sentence.
    """
    looks = solved_looks(assessment) if looks is None else looks
    with house_style():
        figure = blank_figure(*PAGE_IN)
        top = _write_head(figure, assessment)
        low = _FOOT_IN
        if assessment.fit is not None:
            stands = assessment.decision.verdict not in _REFUSALS
            draw_dial(_axes(figure, (1.2, low + 0.42, 3.55, 0.5 if stands else 0.42)), assessment)
            low += _DIAL_IN if stands else _DIAL_IN - 0.3
        words = not is_advised(assessment)
        beside = not words or any(sections_of(assessment))
        wide = _LEFT_WIDE_IN if beside else PAGE_IN[0] - 2 * _LEFT_IN
        draw_pictures(figure, assessment, looks, (_LEFT_IN, low, wide, top - low), words_beside=words)
        if beside:
            _draw_right(figure, assessment, top, findings=not words)
        else:
            _write_missing(figure, assessment)
        _write_foot(figure, assessment)
    return figure


def _axes(figure: Figure, box_in: _Box) -> Axes:
    """Make axes at left, bottom, width, height in inches."""
    width, height = figure.get_size_inches()
    left, bottom, wide, high = box_in
    return figure.add_axes((left / width, bottom / height, wide / width, high / height))


def _bare(figure: Figure, box_in: _Box) -> Axes:
    """Make axes for words, or a few marks, at left, bottom, width, height in inches."""
    width, height = figure.get_size_inches()
    left, bottom, wide, high = box_in
    return bare_axes(figure, (left / width, bottom / height, wide / width, high / height))


def head_lines(assessment: Assessment) -> tuple[list[str], list[str], list[str]]:
    """Give the lines of the title, those of the reason, and those of the numbers.

    A refusal gives its reason before any number.
    """
    numbers = []
    if assessment.fit is not None:
        offset = assessment.fit.offset
        interval = f"95 %: {interval_told(offset, 'mm')}; forward is positive"
        lead = "not advised: offset" if assessment.decision.verdict in _REFUSALS else "offset"
        numbers.append(f"{lead} {told(offset, 'mm', sign=True)} ({interval})")
    added = _without_lead(reason(assessment), numbers)
    return (
        wrap(headline(assessment), 90),
        wrap(added[:1].upper() + added[1:], 108),
        [line for part in numbers for line in wrap(part, 125)],
    )


def _without_lead(why: str, numbers: list[str]) -> str:
    """Take the offset's own number off the start of a reason: it follows below."""
    lead, _, rest = why.partition(" mm is not known")
    return f"the offset is not known{rest}" if numbers and rest and lead.startswith("offset ") else why


def _write_head(figure: Figure, assessment: Assessment) -> float:
    """Write title, reason and numbers; give where they end, inch from below."""
    height = PAGE_IN[1]
    title, why, numbers = head_lines(assessment)
    y = height - 0.1
    for lines, size, weight in (
        (title, PAGE_TITLE_PT, "bold"),
        (why, READ_PT + 2, "bold" if assessment.decision.verdict in _REFUSALS else "normal"),
        (numbers, READ_PT + 1, "normal"),
    ):
        if lines:
            figure.text(
                _LEFT_IN / PAGE_IN[0], y / height, "\n".join(lines), va="top", fontsize=size,
                fontweight=weight, color=INK, linespacing=1.25,
            )  # fmt: skip
            y -= 1.3 * size / 72 * len(lines) + 0.02
    return y - 0.05


def _write_missing(figure: Figure, assessment: Assessment) -> None:
    """Say in the lower right corner why there is no section, and why no offset."""
    why = [why_no_section(assessment)]
    if assessment.fit is None:
        told_why = assessment.why_no_offset or assessment.decision.why
        why.append(f"No offset can be given: {told_why.rstrip('.')}.")
    lines = [line for sentence in why for line in wrap(sentence, 46)]
    place = (_RIGHT_IN + 0.1) / PAGE_IN[0], (_FOOT_IN + 0.1) / PAGE_IN[1]
    figure.text(*place, "\n".join(lines), va="bottom", fontsize=READ_PT, color=INK, linespacing=1.25)


def _write_foot(figure: Figure, assessment: Assessment) -> None:
    frame = assessment.frame
    shot = f"performer {frame.file.performer}, device {frame.file.device}"
    foot = [*wrap(f"{frame.name}, {shot}; bite {assessment.version}", 150)[:1], CAUTION]
    figure.text(
        _LEFT_IN / PAGE_IN[0], 0.06 / PAGE_IN[1], "\n".join(foot), va="bottom", fontsize=READ_PT, color=INK
    )


def sections_of(assessment: Assessment) -> tuple[Section | None, Section | None]:
    """Give the section up and down and the one across that can be drawn."""
    found = [section for section in assessment.sections if can_draw(section)]
    upright = next((section for section in found if is_upright(section)), None)
    return upright, next((section for section in found if not is_upright(section)), None)


def _draw_right(figure: Figure, assessment: Assessment, top: float, *, findings: bool) -> None:
    """Draw the sections one below the other, and what was found below them."""
    upright, across = sections_of(assessment)
    after = is_advised(assessment)
    if upright is None and across is None:
        box = (_RIGHT_IN, top - 0.75, _RIGHT_WIDE_IN, 0.45)
        say_missing(_bare(figure, box), "Depth", why_no_section(assessment), size_pt=READ_PT)
        box = (_RIGHT_IN, _FOOT_IN + 0.1, _RIGHT_WIDE_IN, top - _FOOT_IN - 1.4)
        draw_findings(_bare(figure, box), assessment)
        return
    told_in = 0.55 + 1.0 * sum(f.severity is not Severity.OK for f in assessment.findings)
    told_in = min(told_in, top - _FOOT_IN - _KEY_IN - _UPRIGHT_IN - _ACROSS_IN) if findings else 0.0
    spare = max(0.0, top - _FOOT_IN - _KEY_IN - _UPRIGHT_IN - _ACROSS_IN - told_in)
    upright_in, across_in = _UPRIGHT_IN + 0.6 * spare, _ACROSS_IN + 0.4 * spare
    draw_key(_bare(figure, (_RIGHT_IN, top - 0.2, _RIGHT_WIDE_IN, 0.18)), after=after)
    low = top - _KEY_IN - upright_in
    if upright is not None:
        curve = _axes(figure, (_RIGHT_IN + 0.45, low + 0.5, 1.75, upright_in - 0.75))
        strip = _axes(figure, (_RIGHT_IN + 2.35, low + 0.5, _RIGHT_WIDE_IN - 2.4, upright_in - 0.75))
        draw_section(curve, strip, upright, after=after)
        curve.set_title(title_of(upright), fontsize=READ_PT + 0.5, pad=4)
    else:
        box = (_RIGHT_IN, low, _RIGHT_WIDE_IN, 0.6)
        say_missing(_bare(figure, box), "Up through the crowns", _NO_CROWN, size_pt=READ_PT)
    low -= across_in
    if across is not None:
        room = across_in - 0.75
        wide = _RIGHT_WIDE_IN - 0.6
        curve = _axes(figure, (_RIGHT_IN + 0.55, low + 0.4 + 0.46 * room, wide, 0.54 * room))
        strip = _axes(figure, (_RIGHT_IN + 0.55, low + 0.38, wide, 0.42 * room))
        draw_section(curve, strip, across, after=after)
        curve.set_title(title_of(across), fontsize=READ_PT + 0.5, pad=4)
    else:
        box = (_RIGHT_IN, low + across_in - 0.85, _RIGHT_WIDE_IN, 0.5)
        why = why_no_across(assessment)
        say_missing(_bare(figure, box), "Across the upper incisors", why, size_pt=READ_PT)
    if findings:
        draw_findings(_bare(figure, (_RIGHT_IN, _FOOT_IN, _RIGHT_WIDE_IN, low - _FOOT_IN - 0.22)), assessment)


_NO_CROWN = "No depth was read on a line through the central crowns."


def why_no_across(assessment: Assessment) -> str:
    """Say why there is no section across."""
    if assessment.frame.profile is not None:
        return "The depth was given along one line only."
    return "On no line across does half a crown's width of upper enamel show: there is none to draw."


def why_no_section(assessment: Assessment) -> str:
    """Say why there is no section at all."""
    frame = assessment.frame
    if frame.depth_map is None and frame.profile is None:
        return "No depth map or profile was given: no section to draw."
    if frame.file.solved is None:
        return "No solved model was given: nothing to lay beside the measured depth."
    if assessment.why_no_offset:
        return f"Depth and solved model could not be compared: {assessment.why_no_offset}."
    return "The solved model has no surface to lay beside the measured depth."
