"""Depth along a line over lips and incisors: measured with its band, solved before and after the move."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from bite.check.sections import Section
from bite.geometry.rigid import Array
from bite.plots.style import AFTER, BEFORE, ENAMEL, INK, MEASURED, SMALL_PT, Look, size_in

if TYPE_CHECKING:
    from matplotlib.axes import Axes

HALF_ALONG_MM = 20.0
_SPIKE_REACH_MM = 15.0
_WORDS_OFF_MM = 2.5
_MARK_EVERY_MM = 3.0
_NO_MOVE_MM = 0.005
_DASHED = "(dashed: solved, without the sensor's blur)"


@dataclass(frozen=True, slots=True)
class _Plan:
    """How one section lies on paper: which way up, depths that must show, ends of both axes, mm."""

    upright: bool
    near_mm: float
    far_mm: float
    depth_ends_mm: tuple[float, float]
    along_ends_mm: tuple[float, float]


def is_midline(section: Section) -> bool:
    """Tell whether the line runs up and down, to be seen from the side."""
    return section.name == "midline"


def can_draw(section: Section) -> bool:
    """Tell whether any curve of a section has a finite depth near the mouth."""
    shown = _shown(section)
    return any(np.isfinite(curve[shown]).any() for curve in (section.before_seen_mm, section.measured_mm))


def _plan(axes: Axes, section: Section) -> _Plan:
    """Choose equal scales both ways that fill the panel.

    Depth limits follow the model and the bulk of the measured depths, so that a spike or a hole's edge does
    not set the scale. Room is left on the near side for the word "enamel", on the far side for curve names.
    """
    upright, shown = is_midline(section), _shown(section)
    curves = (section.before_seen_mm, section.after_seen_mm)
    model = np.concatenate([curve[shown & np.isfinite(curve)] for curve in curves])
    measured = section.measured_mm[shown & np.isfinite(section.measured_mm)]
    near, far = (float(end) for end in np.percentile(model if len(model) else measured, (0.5, 99.5)))
    if len(measured) and len(model):
        low, high = np.percentile(measured, (5.0, 95.0))
        near, far = min(near, max(low, near - _SPIKE_REACH_MM)), max(far, min(high, far + _SPIKE_REACH_MM))
    near_pad, far_pad, words_in = (5.5, _WORDS_OFF_MM, 0.95) if upright else (2.5, _WORDS_OFF_MM, 0.2)
    width, height = size_in(axes)
    along_in, depth_in = (height, width) if upright else (width, height)
    mm_per_inch = max(2 * HALF_ALONG_MM / along_in, (far - near + near_pad + far_pad) / (depth_in - words_in))
    half, middle = 0.5 * mm_per_inch * along_in, _middle(section)
    start = near - near_pad
    return _Plan(upright, near, far, (start, start + mm_per_inch * depth_in), (middle - half, middle + half))


def _middle(section: Section) -> float:
    on_teeth = section.along_mm[section.teeth]
    ends = on_teeth if len(on_teeth) else section.along_mm
    return 0.5 * float(ends.min() + ends.max()) if len(ends) else 0.0


def draw_section(axes: Axes, section: Section, moved_mm: float) -> None:
    """Draw one section at equal scale both ways: forward is right on the midline, down across incisors."""
    plan = _plan(axes, section)
    upright = plan.upright
    if upright:
        axes.set(xlim=plan.depth_ends_mm[::-1], ylim=plan.along_ends_mm)
        axes.set_title("Midline, from the side: forward is RIGHT")
        axes.set_xlabel(f"depth from the camera, mm      forward →\n{_DASHED}")
        axes.set_ylabel("up along the midline, mm")
    else:
        axes.set(xlim=plan.along_ends_mm, ylim=plan.depth_ends_mm)
        axes.set_title("Across the incisors, from above: forward is DOWN")
        axes.set_xlabel(f"right in the picture, mm\n{_DASHED}")
        axes.set_ylabel("← forward      depth from the camera, mm")
    axes.spines[["top", "right"]].set_visible(False)
    _shade_enamel(axes, section, plan)
    stays = abs(moved_mm) < _NO_MOVE_MM
    curves = [
        (
            section.before_seen_mm,
            section.before_sharp_mm,
            BEFORE,
            f"{BEFORE.word}{' and after' if stays else ''}",
        ),
        (section.after_seen_mm, section.after_sharp_mm, AFTER, AFTER.word),
    ][: 1 if stays else 2]
    for seen, sharp, look, _ in curves:
        axes.plot(*_xy(section.along_mm, sharp, upright), color=look.colour, lw=0.7, ls=(0, (4, 2)), zorder=2)
        _curve(axes, section, seen, look, upright)
    _measured(axes, section, upright)
    named = [
        (section.measured_mm, MEASURED, f"{MEASURED.word} ± 2 sd"),
        *((c[0], c[2], c[3]) for c in curves),
    ]
    _name_curves(axes, section, named, plan)


def _xy(along: Array, depth: Array, upright: bool) -> tuple[Array, Array]:
    return (depth, along) if upright else (along, depth)


def _curve(axes: Axes, section: Section, depth: Array, look: Look, upright: bool) -> None:
    step = float(np.median(np.diff(section.along_mm))) if len(section.along_mm) > 1 else 1.0
    every = max(1, round(_MARK_EVERY_MM / max(step, 1e-6)))
    # each curve's marks stand at other places, so that curves that coincide still show all shapes
    first = {MEASURED.word: 0, BEFORE.word: every // 3, AFTER.word: 2 * every // 3}[look.word]
    axes.plot(
        *_xy(section.along_mm, depth, upright),
        color=look.colour,
        lw=1.3,
        marker=look.marker,
        ms=3.6,
        mfc="white",
        mew=1.0,
        markevery=(first, every),
        zorder=4,
    )


def _measured(axes: Axes, section: Section, upright: bool) -> None:
    depth, sd = section.measured_mm, section.measured_sd_mm
    band = np.isfinite(depth) & np.isfinite(sd)
    fill = axes.fill_betweenx if upright else axes.fill_between
    with np.errstate(invalid="ignore"):
        low, high = depth - 2 * sd, depth + 2 * sd
    fill(section.along_mm, low, high, where=band, color=MEASURED.colour, alpha=0.22, lw=0, zorder=1)
    _curve(axes, section, depth, MEASURED, upright)


def _runs(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Give first and last index of each unbroken run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], np.asarray(mask, dtype=np.int8), [0]])))
    return [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _shade_enamel(axes: Axes, section: Section, plan: _Plan) -> None:
    runs = _runs(section.teeth)
    for first, last in runs:
        span = axes.axhspan if plan.upright else axes.axvspan
        span(section.along_mm[first], section.along_mm[last], color=ENAMEL, lw=0, zorder=0)
    if runs:
        first, last = max(runs, key=lambda run: run[1] - run[0])
        at = float(np.clip(0.5 * (section.along_mm[first] + section.along_mm[last]), *plan.along_ends_mm))
        axes.text(
            *_pair(at, plan.depth_ends_mm[0] + 0.4, plan.upright),
            "enamel",
            fontsize=SMALL_PT,
            color=INK,
            ha="right" if plan.upright else "center",
            va="center" if plan.upright else "bottom",
        )


def _name_curves(axes: Axes, section: Section, named: list[tuple[Array, Look, str]], plan: _Plan) -> None:
    """Write each curve's word on the far side, where no surface is, with a line to the curve on enamel."""
    upright, shown = plan.upright, _shown(section)
    present = []
    for curve in named:
        if np.isfinite(curve[0][shown]).any():
            present.append(curve)
        else:
            axes.text(
                0.5,
                0.95 if upright else 0.85,
                f"{curve[1].word}: no readings here",
                transform=axes.transAxes,
                ha="center",
                va="top",
                color=curve[1].colour,
                fontsize=SMALL_PT,
                fontweight="bold",
            )
    gap = -4.0 if upright else 12.5
    places = _middle(section) + gap * (np.arange(len(present)) - 0.5 * (len(present) - 1))
    for place, (depth, look, word) in zip(places, present, strict=True):
        tidy = np.isfinite(depth) & shown & (np.nan_to_num(depth) < plan.far_mm + 1.0)
        candidates = np.flatnonzero(
            tidy & section.teeth if (tidy & section.teeth).any() else np.isfinite(depth) & shown
        )
        target = candidates[np.argmin(np.abs(section.along_mm[candidates] - place))]
        axes.annotate(
            word,
            xy=_pair(section.along_mm[target], depth[target], upright),
            xytext=_pair(place, plan.far_mm + _WORDS_OFF_MM, upright),
            color=look.colour,
            fontsize=SMALL_PT,
            fontweight="bold",
            ha="right" if upright else "center",
            va="center" if upright else "bottom",
            zorder=6,
            arrowprops={"arrowstyle": "-", "color": look.colour, "lw": 0.7, "shrinkA": 1, "shrinkB": 2},
        )


def _pair(along: float, depth: float, upright: bool) -> tuple[float, float]:
    return (float(depth), float(along)) if upright else (float(along), float(depth))


def _shown(section: Section) -> NDArray[np.bool_]:
    return np.asarray(np.abs(section.along_mm - _middle(section)) <= HALF_ALONG_MM)
