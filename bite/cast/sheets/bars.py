"""Each performer's offset as a bar in the page's own lines: text stays text, colours follow the page's."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from bite.cast.content import DeviceSummary
from bite.check.words import rounded_pair, signed
from bite.stats.estimate import Z95

if TYPE_CHECKING:
    from markupsafe import Markup

_STEPS_MM = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 1000.0)
"""Ends of a bar's axis: round numbers."""


@dataclass(frozen=True, slots=True)
class Bar:
    """One row: ``kind`` is "one", "apart" or "all"."""

    kind: str
    name: str
    frames: int
    value: str
    sd: str
    drawn: Markup


@dataclass(frozen=True, slots=True)
class Bars:
    """Rows on one scale, whose ends are told in mm."""

    low: str
    high: str
    rows: tuple[Bar, ...]


def forest_bars(summary: DeviceSummary, tolerance_mm: float) -> Bars:
    """Give a device's performers, sorted by offset, and what all share, on one scale about 0."""
    shift = summary.shift
    apart = {outlier.performer for outlier in shift.outliers}
    ends = [tolerance_mm, *(abs(m.value_mm) + Z95 * m.sd_mm for m in shift.performers)]
    if shift.shift is not None:
        ends += [abs(end) for end in shift.shift.interval]
    widest = max(ends)
    reach = next((step for step in _STEPS_MM if step >= widest), widest)
    rows = []
    for mean in sorted(shift.performers, key=lambda mean: (mean.value_mm, mean.performer)):
        value, sd = rounded_pair(mean.value_mm, mean.sd_mm)
        half = Z95 * mean.sd_mm
        drawn = _drawn((mean.value_mm - half, mean.value_mm, mean.value_mm + half), tolerance_mm, reach)
        kind = "apart" if mean.performer in apart else "one"
        rows.append(Bar(kind, mean.performer, mean.frames, signed(value), sd, drawn))
    if shift.shift is not None:
        low, high = shift.shift.interval
        value, sd = rounded_pair(shift.shift.mean, shift.shift.se)
        drawn = _drawn((low, shift.shift.mean, high), tolerance_mm, reach)
        frames = sum(mean.frames for mean in shift.performers)
        rows.append(Bar("all", "all together", frames, signed(value), sd, drawn))
    return Bars(f"-{reach:g}", f"+{reach:g}", tuple(rows))


def _drawn(ends_mm: tuple[float, float, float], tolerance_mm: float, reach_mm: float) -> Markup:
    from markupsafe import Markup

    def at(mm: float) -> float:
        return 50.0 + 48.0 * min(max(mm / reach_mm, -1.0), 1.0)

    low, middle, high = (at(mm) for mm in ends_mm)
    band = at(-tolerance_mm), at(tolerance_mm) - at(-tolerance_mm)
    return Markup(
        '<svg class="bar" aria-hidden="true">'
        f'<rect class="tolerance" x="{band[0]:.1f}%" width="{band[1]:.1f}%" y="0" height="100%"/>'
        '<line class="zero" x1="50%" x2="50%" y1="0" y2="100%"/>'
        f'<line class="reach" x1="{low:.1f}%" x2="{high:.1f}%" y1="50%" y2="50%"/>'
        f'<circle class="at" cx="{middle:.1f}%" cy="50%" r="5"/></svg>'
    )
