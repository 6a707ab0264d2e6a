"""A move of the dial, checked: as text, as JSON, and drawn as the approach to the measured teeth."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from textwrap import fill, wrap
from typing import TYPE_CHECKING

import numpy as np

from bite.check.result import Json
from bite.check.words import CAUTION, dial_told, interval_told, told
from bite.files.history import Stand, Step
from bite.plots.style import (
    AFTER,
    BEFORE,
    INK,
    MEASURED,
    NEUTRAL,
    PAGE_IN,
    PAGE_TITLE_PT,
    READ_PT,
    Look,
    blank_figure,
    house_style,
    readable_ticks,
)
from bite.recheck.steps import Recheck, Side
from bite.stats.estimate import Z95, Estimate, with_sign

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from bite.recheck.pictures import TwoSolves

FORMAT = "bite-recheck 1"
_STATED = Look("stated", INK, "D", 6.0)
"""What files say of the move: neither measured, nor a state of the teeth, so none of their colours."""


@dataclass(frozen=True, slots=True)
class RecheckReport:
    """A recheck with the history it is now part of, the hash of every input, and the version."""

    found: Recheck
    steps: tuple[Step, ...]
    hashes: Mapping[str, str]
    version: str


def step_of_history(found: Recheck) -> Step:
    """Give the line of the history that a recheck adds."""
    stands = [Stand(s.frame, s.dial, s.offset.value, s.offset.sd) for s in (found.before, found.after)]
    return Step(
        stands[0], stands[1], found.achieved.value, found.achieved.sd, found.predicted_mm, str(found.advice)
    )


def headline(found: Recheck) -> str:
    """Give the finding in one sentence."""
    return f"{found.after.frame}: {found.advice.upper()} - {found.why}"


def recheck_text(report: RecheckReport) -> str:
    """Give the recheck as text for a terminal."""
    return "\n".join(_rows(report.found)) + "\n"


def _rows(found: Recheck) -> Iterator[str]:
    yield fill(headline(found), 100, subsequent_indent="    ")
    yield ""
    for word, side in (("before", found.before), ("after", found.after)):
        yield (
            f"  {word:<20}{told(side.offset, 'mm', sign=True)} "
            f"(95 %: {interval_told(side.offset, 'mm')}) at dial {dial_told(side.dial)}"
        )
    yield f"  achieved            {told(found.achieved, 'mm', sign=True)} forward"
    if found.predicted_mm is not None:
        yield f"  predicted           {with_sign(found.predicted_mm, 2)} mm by the rig file"
    if found.in_mesh_mm is not None:
        yield f"  in the meshes       {with_sign(found.in_mesh_mm, 2)} mm"
    yield f"  gain of the dial    {told(found.gain, 'mm a unit', sign=True)}"
    if found.gain_wrong:
        yield "  WARN                the rig file's gain is contradicted: measure it with bite dial"
    if found.next is not None:
        low, high = found.next.interval
        yield (
            f"  next dial value     {dial_told(found.next.after)} "
            f"(95 %: {dial_told(low)} to {dial_told(high)}; "
            f"{with_sign(found.next.stands_for_mm, 2)} mm)"
        )
    yield ""
    yield fill(f"sd of achieved: {found.how}", 100, initial_indent="  ", subsequent_indent="  ")
    yield ""
    yield CAUTION


def recheck_mapping(report: RecheckReport) -> dict[str, Json]:
    """Give the content of the JSON file."""
    found, move = report.found, report.found.next
    return {
        "format": FORMAT,
        "performer": found.after.performer,
        "before": _side(found.before),
        "after": _side(found.after),
        "achieved_mm": _estimate(found.achieved),
        "how": found.how,
        "predicted_mm": found.predicted_mm,
        "in_mesh_mm": found.in_mesh_mm,
        "gain_mm_per_unit": _estimate(found.gain),
        "gain_wrong": found.gain_wrong,
        "next": None
        if move is None
        else {
            "dial": move.after,
            "stands_for_mm": move.stands_for_mm,
            "left_over_mm": move.left_over_mm,
            "saturated": move.saturated,
            "interval": list(move.interval),
        },
        "advice": str(found.advice),
        "why": found.why,
        "tolerance_mm": found.tolerance_mm,
        "inputs": {name: report.hashes[name] for name in sorted(report.hashes)},
        "version": report.version,
    }


def _estimate(estimate: Estimate) -> Json:
    return {"value": estimate.value, "sd": estimate.sd, "interval": list(estimate.interval)}


def _side(side: Side) -> Json:
    return {"frame": side.frame, "dial": side.dial, "t_mm": _estimate(side.offset), "doubt": side.doubt}


def recheck_figure(report: RecheckReport, solves: TwoSolves | None = None) -> Figure:
    """Draw one page: both solves in the photograph, what was left after each move, and the last move itself.

    Parameters
    ----------
    report : RecheckReport
    solves : TwoSolves or None, where the looks were result files or have no surface
    """
    from bite.recheck.pictures import draw_solves

    found, (wide, high) = report.found, PAGE_IN
    with house_style():
        figure = blank_figure(wide, high)
        title = wrap(headline(found), 92)
        figure.text(
            0.2 / wide, 1 - 0.1 / high, "\n".join(title), va="top", fontsize=PAGE_TITLE_PT, fontweight="bold",
            color=INK, linespacing=1.25,
        )  # fmt: skip
        top = high - 0.25 - 0.255 * len(title)
        left = 0.2
        if solves is not None:
            draw_solves(figure, found, solves, (left, 0.4, 6.5, top - 0.4))
            left += 6.75
        room = wide - left - 0.2
        approach = (left + 0.6, 0.5 * top + 0.65, room - 0.6, 0.5 * top - 0.95)
        move = (left + 1.0, 0.85, room - 1.1, 0.5 * top - 0.95)
        for box, draw in ((approach, _draw_approach), (move, _draw_move)):
            x, y, across, up = box
            axes = figure.add_axes((x / wide, y / high, across / wide, up / high))
            draw(axes, report)
            readable_ticks(axes)
            axes.xaxis.label.set_fontsize(READ_PT)
            axes.yaxis.label.set_fontsize(READ_PT)
        figure.text(0.2 / wide, 0.06 / high, CAUTION, fontsize=READ_PT, color=INK, va="bottom")
    return figure


def looks(steps: Sequence[Step]) -> list[Stand]:
    """Give the looks that a history holds, in order, each once."""
    out: list[Stand] = []
    for step in steps:
        out += [stand for stand in (step.before, step.after) if stand not in out]
    return out


def _draw_approach(axes: Axes, report: RecheckReport) -> None:
    stands, tolerance_mm = looks(report.steps), report.found.tolerance_mm
    at = np.arange(len(stands))
    axes.axhspan(-tolerance_mm, tolerance_mm, color=NEUTRAL, alpha=0.25, lw=0)
    axes.axhline(0, color=INK, lw=0.6)
    axes.plot(at, [s.t_mm for s in stands], color=NEUTRAL, lw=0.9, zorder=2)
    for k, stand in enumerate(stands):
        look = AFTER if k == len(stands) - 1 else BEFORE
        half = Z95 * stand.sd_mm
        axes.plot([k, k], [stand.t_mm - half, stand.t_mm + half], color=look.colour, lw=2.0, zorder=3)
        axes.plot([k], [stand.t_mm], look.marker, ms=7, mfc="white", mec=look.colour, mew=1.8, zorder=4)
        axes.annotate(
            f"{told(Estimate(stand.t_mm, stand.sd_mm), 'mm', sign=True)}\ndial {dial_told(stand.dial)}",
            (k, stand.t_mm),
            (8, 0),
            textcoords="offset points",
            fontsize=READ_PT,
            color=look.colour,
            fontweight="bold",
            va="center",
            bbox={"boxstyle": "square,pad=0.1", "fc": "white", "ec": "none", "alpha": 0.8},
        )
    short = 24 // max(len(stands), 1) + 4
    names = [stand.frame if len(stand.frame) <= short else stand.frame[: short - 1] + "…" for stand in stands]
    axes.set_xticks(at, names, rotation=0 if len(stands) <= 3 else 20, ha="center")
    axes.set(xlim=(-0.3, len(stands) + 0.05), ylabel="offset left, mm, forward positive")
    axes.set_title(f"Approach, 95 % (grey: within {tolerance_mm:g} mm)", fontsize=READ_PT + 0.5)


def _draw_move(axes: Axes, report: RecheckReport) -> None:
    found = report.found
    rows = [
        ("achieved", found.achieved.value, MEASURED, Z95 * found.achieved.sd),
        ("predicted\nby the rig", found.predicted_mm, _STATED, 0.0),
        ("in the\nmeshes", found.in_mesh_mm, _STATED, 0.0),
    ]
    shown = [row for row in rows if row[1] is not None]
    for k, (_, value, look, half) in enumerate(reversed(shown)):
        assert value is not None
        axes.plot([value - half, value + half], [k, k], color=look.colour, lw=2.0)
        axes.plot([value], [k], look.marker, ms=7, mfc="white", mec=look.colour, mew=1.8)
        axes.annotate(
            f"{with_sign(value, 2)} mm", (value, k), (0, 8), textcoords="offset points", ha="center",
            fontsize=READ_PT, color=look.colour, fontweight="bold",
        )  # fmt: skip
    axes.axvline(0, color=INK, lw=0.6)
    axes.margins(x=0.35)
    axes.set_yticks(range(len(shown)), [row[0] for row in reversed(shown)], fontsize=READ_PT)
    axes.set(ylim=(-0.5, len(shown) - 0.3), xlabel="teeth came forward, mm")
    axes.tick_params(axis="y", length=0)
    axes.set_title("The move", fontsize=READ_PT + 0.5)
