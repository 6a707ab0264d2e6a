"""Depth along a line over lips and incisors, and a strip beside it for measured minus solved."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from bite.check.sections import ACROSS, CROWNS, Section
from bite.geometry.rigid import Array
from bite.plots.style import (
    AFTER,
    BEFORE,
    ENAMEL,
    INK,
    MEASURED,
    NEUTRAL,
    READ_PT,
    Look,
    readable_ticks,
    size_in,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes

HALF_ALONG_MM, HALF_ACROSS_MM = 17.0, 13.0
"""So much of a line is shown at least: lips and enamel, or both centrals and laterals."""
_SPIKE_REACH_MM = 12.0
"""A wild reading stretches the axis by no more than this (our choice)."""
_PAD_MM = 1.5
"""Room beyond the curves (our choice)."""
_MARK_EVERY_MM = 3.0
"""Marks farther apart than the curve's width, so that both are seen (our choice)."""
_LEAST_STRIP_MM = 1.0
"""The axis of differences ends no nearer: noise must look small (our choice)."""
_STRIP_MM = (1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0, 10.0, 15.0, 20.0, 30.0)
"""Ends of that axis: round numbers."""


@dataclass(frozen=True, slots=True)
class _Plan:
    """How one section lies on paper: ends of both axes, mm."""

    depth_ends_mm: tuple[float, float]
    along_ends_mm: tuple[float, float]


def is_upright(section: Section) -> bool:
    """Tell whether the line runs up and down, to be seen from the side."""
    return section.name != ACROSS


def can_draw(section: Section) -> bool:
    """Tell whether any curve of a section has a finite depth near the mouth."""
    shown = _shown(section)
    return any(np.isfinite(curve[shown]).any() for curve in (section.before_seen_mm, section.measured_mm))


def title_of(section: Section) -> str:
    """Name a section and say which way forward is."""
    if not is_upright(section):
        return "Across, seen from below: forward is UP"
    line = "Up through 11 and 21" if section.name == CROWNS else "Along the profile"
    return f"{line}: forward is RIGHT"


def draw_section(axes: Axes, strip: Axes, section: Section, *, after: bool) -> None:
    """Draw one section at equal scale both ways, and its differences at a scale of their own.

    Parameters
    ----------
    axes : Axes of the curves: forward is right for a line up and down, up for one across
    strip : Axes beside (or below) it, which shares the position along the line
    section : Section
    after : bool, whether there is an "after" of its own to be drawn
    """
    plan, upright = _plan(axes, section), is_upright(section)
    for place in (axes, strip):
        _shade_enamel(place, section, plan)
        readable_ticks(place)
        place.spines[["top", "right"]].set_visible(False)
    _draw_curves(axes, section, upright, after=after)
    limit = _draw_strip(strip, section, upright, after=after)
    if upright:
        axes.set(xlim=plan.depth_ends_mm[::-1], ylim=plan.along_ends_mm)
        strip.set(xlim=(-limit, limit), ylim=plan.along_ends_mm)
        axes.set_xlabel("depth, mm   forward →", fontsize=READ_PT, labelpad=1)
        along = "up from the upper edge, mm" if section.name == CROWNS else "along the profile, mm"
        axes.set_ylabel(along, fontsize=READ_PT, labelpad=1)
        # the last number of the one would run into the first of the other
        nearest = plan.depth_ends_mm[0] + 0.1 * (plan.depth_ends_mm[1] - plan.depth_ends_mm[0])
        axes.set_xticks([tick for tick in axes.get_xticks() if nearest < tick <= plan.depth_ends_mm[1]])
        strip.set_xlabel("measured minus\nsolved, mm  forward →", fontsize=READ_PT, labelpad=1)
        strip.tick_params(labelleft=False)
    else:
        axes.set(xlim=plan.along_ends_mm, ylim=plan.depth_ends_mm[::-1])
        strip.set(xlim=plan.along_ends_mm, ylim=(-limit, limit))
        axes.set_ylabel("depth, mm", fontsize=READ_PT, labelpad=1)
        strip.set_ylabel("diff., mm", fontsize=READ_PT, labelpad=1)
        strip.set_xlabel("right in the picture, mm", fontsize=READ_PT, labelpad=1)
        axes.tick_params(labelbottom=False)


def draw_key(axes: Axes, *, after: bool) -> None:
    """Write what colours, shapes and shades of all sections mean, in one line."""
    from matplotlib.patches import Rectangle

    axes.set_axis_off()
    axes.set(xlim=(0, 1), ylim=(0, 1))
    wide_pt = size_in(axes)[0] * 72
    solved = [(BEFORE, "before"), (AFTER, "after")] if after else [(BEFORE, "solved")]
    x = 0.0
    for look, word in [(MEASURED, "measured ±2 sd"), *solved]:
        axes.plot([x + 4 / wide_pt], [0.5], look.marker, ms=5, mfc="white", mec=look.colour, mew=1.4)
        axes.text(
            x + 11 / wide_pt, 0.5, word, va="center", fontsize=READ_PT, color=look.colour, fontweight="bold"
        )
        x += (17 + 0.68 * READ_PT * len(word)) / wide_pt
    axes.add_patch(Rectangle((x, 0.1), 10 / wide_pt, 0.8, fc=ENAMEL, ec=NEUTRAL, lw=0.5))
    axes.text(x + 13 / wide_pt, 0.5, "enamel", va="center", fontsize=READ_PT, color=INK)


def _plan(axes: Axes, section: Section) -> _Plan:
    """Choose equal scales both ways that fill the panel.

    Depth limits follow the model and the bulk of the measured depths, so that a spike or a hole's edge does
    not set the scale.
    """
    upright, shown = is_upright(section), _shown(section)
    curves = (section.before_seen_mm, section.after_seen_mm)
    model = np.concatenate([curve[shown & np.isfinite(curve)] for curve in curves])
    measured = section.measured_mm[shown & np.isfinite(section.measured_mm)]
    near, far = (float(end) for end in np.percentile(model if len(model) else measured, (0.5, 99.5)))
    if len(measured) and len(model):
        low, high = np.percentile(measured, (5.0, 95.0))
        near, far = min(near, max(low, near - _SPIKE_REACH_MM)), max(far, min(high, far + _SPIKE_REACH_MM))
    width, height = size_in(axes)
    along_in, depth_in = (height, width) if upright else (width, height)
    mm_per_inch = max(2 * _half(section) / along_in, (far - near + 2 * _PAD_MM) / depth_in)
    half, middle = 0.5 * mm_per_inch * along_in, _middle(section)
    start = 0.5 * (near + far) - 0.5 * mm_per_inch * depth_in
    return _Plan((start, start + mm_per_inch * depth_in), (middle - half, middle + half))


def _middle(section: Section) -> float:
    on_teeth = section.along_mm[section.teeth]
    ends = on_teeth if len(on_teeth) else section.along_mm
    return 0.5 * float(ends.min() + ends.max()) if len(ends) else 0.0


def _shown(section: Section) -> NDArray[np.bool_]:
    return np.asarray(np.abs(section.along_mm - _middle(section)) <= _half(section))


def _half(section: Section) -> float:
    return HALF_ALONG_MM if is_upright(section) else HALF_ACROSS_MM


def _draw_curves(axes: Axes, section: Section, upright: bool, *, after: bool) -> None:
    curves = [(section.before_seen_mm, section.before_sharp_mm, BEFORE)]
    if after:
        curves.append((section.after_seen_mm, section.after_sharp_mm, AFTER))
    for seen, _, look in curves:
        _curve(axes, section, seen, look, upright)
    depth, sd = section.measured_mm, section.measured_sd_mm
    band = np.isfinite(depth) & np.isfinite(sd)
    fill = axes.fill_betweenx if upright else axes.fill_between
    with np.errstate(invalid="ignore"):
        low, high = depth - 2 * sd, depth + 2 * sd
    fill(section.along_mm, low, high, where=band, color=MEASURED.colour, alpha=0.22, lw=0, zorder=1)
    _curve(axes, section, depth, MEASURED, upright)
    if not np.isfinite(depth[_shown(section)]).any():
        # below the arch of the teeth, or beside the upright curve
        _say_none(axes, 0.5 if not upright else 0.75, 0.18 if not upright else 0.5)


def _draw_strip(strip: Axes, section: Section, upright: bool, *, after: bool) -> float:
    """Draw what is measured minus what is solved, forward positive; give the end of its scale, mm."""
    sd = section.measured_sd_mm
    band = np.isfinite(section.measured_mm) & np.isfinite(sd)
    fill, line = (strip.fill_betweenx, strip.axvline) if upright else (strip.fill_between, strip.axhline)
    fill(section.along_mm, -2 * sd, 2 * sd, where=band, color=MEASURED.colour, alpha=0.22, lw=0, zorder=1)
    line(0.0, color=INK, lw=0.7, zorder=2)
    looks = [(False, BEFORE), (True, AFTER)] if after else [(False, BEFORE)]
    teeth = section.teeth
    ends = [_LEAST_STRIP_MM]
    for moved, look in looks:
        ahead = section.ahead_mm(after=moved)
        x, y = _xy(section.along_mm, ahead, upright)
        strip.plot(x, y, color=look.colour, lw=0.6, alpha=0.6, zorder=3)
        _curve(strip, section, np.where(teeth, ahead, np.nan), look, upright, bold=True)
        told = np.abs(ahead[teeth & np.isfinite(ahead)])
        if len(told):
            ends.append(1.15 * float(np.percentile(told, 90.0)))
    if not band.any():
        _say_none(strip, 0.5, 0.5)
    return next((end for end in _STRIP_MM if end >= max(ends)), _STRIP_MM[-1])


def _say_none(axes: Axes, right: float, up: float) -> None:
    wide = size_in(axes)[0] > 2.0
    axes.text(
        right, up, "measured: no readings here" if wide else "measured:\nno readings\nhere",
        transform=axes.transAxes, ha="center", va="center", zorder=9,
        color=MEASURED.colour, fontsize=READ_PT, fontweight="bold",
        bbox={"facecolor": "white", "alpha": 0.9, "lw": 0, "pad": 1.5},
    )  # fmt: skip


def _xy(along: Array, depth: Array, upright: bool) -> tuple[Array, Array]:
    return (depth, along) if upright else (along, depth)


def _curve(
    axes: Axes, section: Section, depth: Array, look: Look, upright: bool, *, bold: bool = False
) -> None:
    step = float(np.median(np.diff(section.along_mm))) if len(section.along_mm) > 1 else 1.0
    every = max(1, round(_MARK_EVERY_MM / max(step, 1e-6)))
    # each curve's marks stand at other places, so that curves that coincide still show all shapes
    first = {MEASURED.word: 0, BEFORE.word: every // 3, AFTER.word: 2 * every // 3}[look.word]
    axes.plot(
        *_xy(section.along_mm, depth, upright),
        color=look.colour,
        lw=1.8 if bold else 1.3,
        marker=look.marker,
        ms=3.8,
        mfc="white",
        mew=1.0,
        markevery=(first, every),
        zorder=4,
    )


def _runs(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Give first and last index of each unbroken run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], np.asarray(mask, dtype=np.int8), [0]])))
    return [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _shade_enamel(axes: Axes, section: Section, plan: _Plan) -> None:
    for first, last in _runs(section.teeth):
        span = axes.axhspan if is_upright(section) else axes.axvspan
        low, high = np.clip(section.along_mm[[first, last]], *plan.along_ends_mm)
        if high > low:
            span(float(low), float(high), color=ENAMEL, lw=0, zorder=0)
