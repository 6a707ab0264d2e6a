"""Is there an opening between the incisal edges? One finding."""

from __future__ import annotations

from dataclasses import replace
from enum import Enum, auto

from bite.check.finding import Finding, Severity
from bite.evidence.enamel.below_edge import Below, BelowEdge
from bite.stats.estimate import Estimate

CODE = "bite-gap"
LIMIT_MM, LIMIT_SD = 0.3, 2.0
"""An opening of more than 0.3 mm is one (common practice, no source), where it is also 2 of its sds (our
choice): less may be a click."""
_TODO = "the teeth were not closed: choose another frame, one with the teeth in their usual bite"
_SOURCE = "0.3 mm: common practice, no source"


class _Says(Enum):
    CLOSED = auto()
    OPEN = auto()
    DOUBT = auto()
    NOTHING = auto()


def bite_gap(gap: Estimate | None, below: BelowEdge | None) -> Finding:
    """Judge the opening from clicked corners and from the picture.

    Parameters
    ----------
    gap : Estimate or None
        Opening between the edges from corners seen in both rows, mm.
    below : BelowEdge or None
        What follows the upper edge; None also where the clicks are not known to lie on one.
    """
    clicks, picture = _corners_say(gap), _picture_says(below)
    told = []
    if gap is not None:
        size = f"{abs(gap.value):.1f} +- {gap.sd:.1f} mm"
        opening = f"an opening of {size} between the clicked edges"
        told.append(opening if gap.value > 0 else f"an overlap of {size} between the clicked edges")
    if below is not None and picture is not _Says.NOTHING:
        told.append(_picture_told(below))
    # a shadow line has a width too, which is no opening: only a gap that the picture shows is a number
    value = gap
    if value is None and picture is _Says.OPEN and below is not None and below.band_mm is not None:
        value = Estimate(below.band_mm, below.band_sd_mm or 0.0)
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
    both = {clicks, picture}
    if _Says.OPEN in both and _Says.CLOSED in both:
        return replace(
            finding,
            severity=Severity.WARN,
            text=f"corners and picture disagree: {finding.text}",
            todo="are the lower corners clicked on the edge, or is the dark line in the picture a shadow?",
        )
    if _Says.OPEN in both:
        return replace(finding, severity=Severity.FAIL, todo=_TODO, needs_reshoot=True)
    if picture is _Says.DOUBT and clicks is not _Says.CLOSED:
        return replace(
            finding,
            severity=Severity.WARN,
            todo="look at the frames before and after: choose one where no dark shows below the upper edge",
        )
    if both == {_Says.NOTHING}:
        grey = below is not None and not below.colour_used
        return replace(
            finding,
            severity=Severity.NOTE,
            text="whether the rows meet cannot be seen: no lower corner is seen, and "
            + (
                "what follows the upper edge was not read"
                if below is None or below.kind is Below.NOT_READ
                else "what follows the upper edge cannot be told from a lip"
                + (" in a grey picture" if grey else "")
            ),
            todo="look at the picture yourself: are the teeth closed? If you cannot tell, take another frame"
            if grey
            else "make sure that the teeth are closed here, or choose a frame with the lower teeth in sight",
        )
    return finding


def _corners_say(gap: Estimate | None) -> _Says:
    if gap is None:
        return _Says.NOTHING
    if gap.value > LIMIT_MM and gap.value > LIMIT_SD * gap.sd:
        return _Says.OPEN
    return _Says.CLOSED if gap.value < LIMIT_MM else _Says.NOTHING


def _picture_says(below: BelowEdge | None) -> _Says:
    if below is None:
        return _Says.NOTHING
    return {Below.ENAMEL: _Says.CLOSED, Below.APART: _Says.OPEN, Below.DOUBT: _Says.DOUBT}.get(
        below.kind, _Says.NOTHING
    )


def _picture_told(below: BelowEdge) -> str:
    share = f"on {100 * below.share:.0f} % of {below.lines_read} scan lines"
    band = "" if below.band_mm is None else f"{below.band_mm:.1f} mm "
    if below.kind is Below.APART:
        return f"the picture shows {band}of dark below the upper edge {share}".replace(
            "shows of", "shows a band of"
        )
    if below.kind is Below.DOUBT:
        return f"a dark band of {band}follows the upper edge {share}: a shadow, or teeth slightly apart"
    line = "" if below.band_mm is None else f" after a shadow line of {below.band_mm:.1f} mm"
    return f"lower enamel follows the upper edge{line} {share}, as where the teeth are closed"
