"""Is there an opening between the incisal edges? One finding."""

from __future__ import annotations

from dataclasses import replace
from enum import Enum, auto

from bite.check.finding import Finding, Severity
from bite.evidence.enamel.enamel_reach import EnamelReach
from bite.evidence.enamel.gap_scan import GapScan
from bite.stats.estimate import Estimate

CODE = "bite-gap"
LIMIT_MM, LIMIT_SD = 0.3, 2.0
"""An opening of more than 0.3 mm is one (common practice, no source), where it is also 2 of its sds (our
choice): less may be a click."""
MOST_LINES = 0.6
"""Share of scan lines that must show an opening (our choice, no source)."""
PICTURE_SURE_MM = 0.6
"""Narrower bands pass for shadow lines and the other way round."""
LIP_MM = 0.7
"""With less lower enamel in sight than this, what follows the upper edge is lip and not a gap."""
_TODO = "the teeth were not closed: choose another frame, one with the teeth in their usual bite"
_SOURCE = "0.3 mm: common practice, no source"


class _Says(Enum):
    CLOSED = auto()
    OPEN = auto()
    NOTHING = auto()


def bite_gap(gap: Estimate | None, scan: GapScan | None, lower_shown: EnamelReach | None) -> Finding:
    """Judge the opening from clicked corners and from the picture.

    Parameters
    ----------
    gap : Estimate or None
        Opening between the edges from corners seen in both rows, mm.
    scan : GapScan or None
    lower_shown : EnamelReach or None, bare enamel below the lower clicks
    """
    clicks, picture = _corners_say(gap), _picture_says(scan, lower_shown)
    told = []
    if gap is not None:
        size = f"{gap.value:.1f} +- {gap.sd:.1f} mm"
        told.append(
            f"an opening of {size} between the clicked edges"
            if gap.value > 0
            else f"an overlap of {-gap.value:.1f} +- {gap.sd:.1f} mm between the clicked edges"
        )
    if scan is not None and picture is not _Says.NOTHING:
        told.append(_picture_told(scan, picture))
    # a shadow line has a width too, which is no opening: only a gap that the picture shows is a number
    value = gap if gap is not None else _picture_estimate(scan, picture)
    finding = Finding(
        CODE,
        Severity.OK,
        "; ".join(told),
        measured=None if value is None else value.value,
        sd=None if value is None else value.sd,
        limit=LIMIT_MM,
        unit="mm",
        source=_SOURCE,
    )
    if _Says.OPEN in (clicks, picture) and _Says.CLOSED in (clicks, picture):
        return replace(
            finding,
            severity=Severity.WARN,
            text=f"corners and picture disagree: {finding.text}",
            todo="are the lower corners clicked on the edge, or is the dark line in the picture a shadow?",
        )
    if _Says.OPEN in (clicks, picture):
        return replace(finding, severity=Severity.FAIL, todo=_TODO, needs_reshoot=True)
    if clicks is _Says.NOTHING and picture is _Says.NOTHING:
        return replace(
            finding,
            severity=Severity.NOTE,
            text="whether the rows meet cannot be seen: no lower corner is seen, and no lower enamel shows "
            "below the upper edge",
            todo="make sure that the teeth are closed here, or choose a frame with the lower teeth in sight",
        )
    if clicks is _Says.NOTHING:
        return replace(
            finding, text=f"{finding.text}; the upper edge hides the lower one, as in a usual bite"
        )
    return finding


def _corners_say(gap: Estimate | None) -> _Says:
    if gap is None:
        return _Says.NOTHING
    if gap.value > LIMIT_MM and gap.value > LIMIT_SD * gap.sd:
        return _Says.OPEN
    return _Says.CLOSED if gap.value < LIMIT_MM else _Says.NOTHING


def _picture_says(scan: GapScan | None, lower_shown: EnamelReach | None) -> _Says:
    if scan is None or scan.lines_read < 5:
        return _Says.NOTHING
    wide = (
        scan.opening_mm is not None
        and scan.opening_sd_mm is not None
        and scan.opening_mm > PICTURE_SURE_MM
        and scan.opening_mm > LIMIT_SD * scan.opening_sd_mm
    )
    if wide and scan.opening.value > MOST_LINES:
        return _Says.OPEN
    if scan.overlap.value + scan.shadow_line.value > MOST_LINES:
        return _Says.CLOSED
    # dark to the end is a gap only where it is known that no lip stands there
    lower_in_sight = lower_shown is not None and lower_shown.shown_mm > LIP_MM
    if wide and lower_in_sight and scan.opening.value + scan.open_end.value > MOST_LINES:
        return _Says.OPEN
    return _Says.NOTHING


def _picture_told(scan: GapScan, says: _Says) -> str:
    if says is _Says.OPEN:
        return (
            f"a dark band on {100 * scan.opening.value:.0f} % of {scan.lines_read} scan lines in the picture"
        )
    return (
        f"enamel follows below the upper edge on "
        f"{100 * (scan.overlap.value + scan.shadow_line.value):.0f} % of "
        f"{scan.lines_read} scan lines in the picture"
    )


def _picture_estimate(scan: GapScan | None, says: _Says) -> Estimate | None:
    if scan is None or says is not _Says.OPEN or scan.opening_mm is None or scan.opening_sd_mm is None:
        return None
    return Estimate(scan.opening_mm, scan.opening_sd_mm)
