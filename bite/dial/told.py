"""How a rig's dial moves the teeth, told as text, as JSON and as a figure."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from textwrap import fill, wrap
from typing import TYPE_CHECKING

import numpy as np

from bite.check.decision import dial_travel
from bite.check.result import Json
from bite.check.words import measured_told
from bite.dial.exports import RowMotion, Station
from bite.dial.travel import DialTravel
from bite.files.rig import Rig
from bite.plots.style import (
    AFTER,
    BEFORE,
    INK,
    MEASURED,
    NEUTRAL,
    SMALL_PT,
    TITLE_PT,
    blank_figure,
    house_style,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FORMAT = "bite-dial 1"
LEAST_SD_MM = 0.001
"""Exports are rounded: nobody knows a travel better than this (our choice)."""


@dataclass(frozen=True, slots=True)
class DialReport:
    """A measured dial beside its rig, the hash of every input, whether it was written, and the version."""

    rig: Rig
    found: DialTravel
    hashes: dict[str, str]
    written: bool
    version: str


def toml_lines(found: DialTravel) -> tuple[str, ...]:
    """Give the lines that belong into the rig's [dial] table."""
    if found.one_number:
        lines = [f"mm_per_unit = {_toml(found.mm_per_unit)}"]
        if found.mm_per_unit_sd is not None:
            lines.append(f"mm_per_unit_sd = {_toml(max(found.mm_per_unit_sd, LEAST_SD_MM))}")
        return tuple(lines)
    rows = ", ".join(f"[{value!r}, {_toml(mm)}]" for value, mm in found.travel.tolist())
    return (f"travel = [{rows}]",)


def _toml(value: float) -> str:
    return f"{round(value, 4) + 0.0:.4f}"


def headline(report: DialReport) -> str:
    """Give the finding in one sentence."""
    found = report.found
    way = "back" if report.rig.dial.positive_is_back else "forward"
    straight = {True: "straight", False: "not straight", None: "one export, so straightness is not known"}[
        found.straight
    ]
    size = f"{found.mm_per_unit:.2f} mm a unit"
    if found.symmetric is False:
        size = f"{found.plus_mm_per_unit:.2f} mm a unit above 0 and {found.minus_mm_per_unit:.2f} below"
    return (
        f"a rising dial moves the teeth {way}, {size}, {straight}, "
        f"{found.off_forward_deg:.1f} degrees off forward"
    )


def dial_text(report: DialReport) -> str:
    """Give the measurement as text for a terminal."""
    return "\n".join(_rows(report)) + "\n"


def _rows(report: DialReport) -> Iterator[str]:
    found, rig = report.found, report.rig
    yield fill(f"{rig.path.name}: {headline(report)}", 100, subsequent_indent="    ")
    yield ""
    yield "  dial    forward, mm  upper   lower   right, mm   up, mm   turn, deg   size      skin, mm rms"
    for s in found.stations:
        right, up = 0.5 * (s.upper.right_mm + s.lower.right_mm), 0.5 * (s.upper.up_mm + s.lower.up_mm)
        turn = max(s.upper.turn_deg, s.lower.turn_deg)
        size = max((s.upper.scale, s.lower.scale), key=lambda scale: abs(scale - 1))
        yield (
            f"  {s.value:+6.2f}{s.forward_mm:+13.3f}{s.upper.forward_mm:+8.3f}{s.lower.forward_mm:+8.3f}"
            f"{right:+10.3f}{up:+9.3f}{turn:11.2f}{size:10.4f}{s.skin_rms_mm:14.4f}  {s.file}"
        )
    yield ""
    rising, falling = _mm(found.plus_mm_per_unit), _mm(found.minus_mm_per_unit)
    yield f"  mm a unit            rising {rising}, falling {falling}"
    yield f"  off a straight line  {found.off_line_mm:.3f} mm at most"
    for finding in found.findings:
        if finding.severity == "ok":
            continue
        word = "note" if finding.severity == "note" else finding.severity.upper()
        yield ""
        yield fill(
            f"{word}  {finding.code}  {finding.text} {finding.todo}".rstrip(),
            100,
            initial_indent="  ",
            subsequent_indent="    ",
        )
        if numbers := measured_told(finding):
            yield f"    {numbers}"
    yield ""
    yield (
        "In [dial] of the rig file, written:"
        if report.written
        else "For [dial] of the rig file (--write puts it there):"
    )
    yield from (f"  {line}" for line in toml_lines(found))


def _mm(value: float | None) -> str:
    return "not exported" if value is None else f"{value:.3f} mm"


def dial_mapping(report: DialReport) -> dict[str, Json]:
    """Give the content of the JSON file."""
    found = report.found
    return {
        "format": FORMAT,
        "rig": report.rig.path.name,
        "headline": headline(report),
        "positive": "back" if report.rig.dial.positive_is_back else "forward",
        "direction": dict(zip(("forward", "right", "up"), found.direction.tolist(), strict=True)),
        "off_forward_deg": found.off_forward_deg,
        "mm_per_unit": found.mm_per_unit,
        "mm_per_unit_sd": found.mm_per_unit_sd,
        "plus_mm_per_unit": found.plus_mm_per_unit,
        "minus_mm_per_unit": found.minus_mm_per_unit,
        "off_line_mm": found.off_line_mm,
        "straight": found.straight,
        "symmetric": found.symmetric,
        "travel": found.travel.tolist(),
        "stations": [_station(station) for station in found.stations],
        "findings": [
            {
                "code": f.code,
                "severity": str(f.severity),
                "measured": f.measured,
                "limit": f.limit,
                "unit": f.unit,
                "text": f.text,
                "todo": f.todo,
            }
            for f in found.findings
        ],
        "lines": list(toml_lines(found)),
        "written": report.written,
        "inputs": {name: report.hashes[name] for name in sorted(report.hashes)},
        "version": report.version,
    }


def _station(station: Station) -> Json:
    return {
        "dial": station.value,
        "file": station.file,
        "forward_mm": station.forward_mm,
        "upper": _row(station.upper),
        "lower": _row(station.lower),
        "skin_rms_mm": station.skin_rms_mm,
        "other_forward_mm": station.other_forward_mm,
    }


def _row(row: RowMotion) -> Json:
    return {
        "forward_mm": row.forward_mm,
        "right_mm": row.right_mm,
        "up_mm": row.up_mm,
        "turn_deg": row.turn_deg,
        "scale": row.scale,
        "rms_mm": row.rms_mm,
        "sides_mm": row.sides_mm,
    }


def dial_figure(report: DialReport) -> Figure:
    """Draw the travel as measured beside what the rig says, and the way seen from the side."""
    with house_style():
        figure = blank_figure(8.0, 4.4)
        title = "\n".join(wrap(f"{report.rig.path.name}: {headline(report)}", 88))
        figure.text(
            0.02, 0.975, title, va="top", fontsize=TITLE_PT, fontweight="bold", color=INK, linespacing=1.3
        )
        _draw_travel(figure.add_axes((0.08, 0.13, 0.5, 0.62)), report)
        _draw_side(figure.add_axes((0.68, 0.13, 0.3, 0.62)), report)
    return figure


def _draw_travel(axes: Axes, report: DialReport) -> None:
    found, limit = report.found, report.rig.dial.limit
    words = [("measured: o upper row, x lower row", MEASURED.colour)]
    stated = dial_travel(report.rig.dial)
    if stated is not None:
        axes.plot(*stated.T, color=BEFORE.colour, lw=1.4, ls=(0, (4, 2)), zorder=4)
        words.append(("- -  what the rig file says", BEFORE.colour))
    way = -1.0 if report.rig.dial.positive_is_back else 1.0
    after = found.travel
    if found.one_number:
        after = np.array([[end, way * end * found.mm_per_unit] for end in (-limit, limit)])
    axes.plot(*after.T, color=AFTER.colour, lw=1.4, zorder=3)
    words.append(("___  for the rig file, measured", AFTER.colour))
    values = [s.value for s in found.stations]
    for pick, marker in ((0, MEASURED.marker), (1, "x")):
        mm = [(s.upper, s.lower)[pick].forward_mm for s in found.stations]
        axes.plot(values, mm, marker, color=MEASURED.colour, ms=7, mfc="none", mew=1.5, zorder=5)
    axes.axhline(0, color=NEUTRAL, lw=0.6)
    axes.axvline(0, color=NEUTRAL, lw=0.6)
    axes.set(xlim=(-1.1 * limit, 1.1 * limit), xlabel="dial value", ylabel="teeth forward, mm")
    # the corner that the travel leaves free
    side, at = ("right", 0.98) if report.rig.dial.positive_is_back else ("left", 0.02)
    for k, (word, colour) in enumerate(words):
        axes.text(at, 0.97 - 0.075 * k, word, transform=axes.transAxes, ha=side, va="top", color=colour,
                  fontsize=SMALL_PT, fontweight="bold")  # fmt: skip
    axes.set_title("Travel of both rows")


def _draw_side(axes: Axes, report: DialReport) -> None:
    found = report.found
    for pick, marker in ((0, MEASURED.marker), (1, "x")):
        rows = [(s.upper, s.lower)[pick] for s in found.stations]
        path = np.array([[0.0, 0.0], *([r.forward_mm, r.up_mm] for r in rows)])
        path = path[np.argsort(path[:, 0])]
        axes.plot(*path.T, marker, ls="-", lw=0.9, color=MEASURED.colour, ms=6, mfc="none", mew=1.3)
    reach = 1.25 * max(abs(s.forward_mm) for s in found.stations)
    axes.annotate("", (reach, 0), (-reach, 0), arrowprops={"arrowstyle": "-|>", "color": NEUTRAL, "lw": 1.0})
    axes.text(reach, 0.04 * reach, "rig's forward", ha="right", va="bottom", color=INK, fontsize=SMALL_PT)
    axes.set(
        xlim=(-reach, reach), ylim=(-reach, reach), aspect="equal", xlabel="forward, mm", ylabel="up, mm"
    )
    axes.set_title(f"Seen from the side: {found.off_forward_deg:.1f}° off")
