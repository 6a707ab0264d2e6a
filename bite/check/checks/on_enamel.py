"""Do the clicked upper corners lie on the edge of enamel? One finding."""

from __future__ import annotations

from bite.check.finding import Finding, Severity
from bite.evidence.enamel.edge_on_enamel import EdgeOnEnamel

CODE = "on-enamel"
LEAST_EDGE, LEAST_ONE = 0.85, 0.7
"""Share of the scan lines that must fall at the edge, on both centrals and on either; 22 real mouths have
0.94 and more, clicks 2 mm off a half and less (our choice)."""
LEAST_LESS_RED = 4.0
"""Enamel is less red (CIE a*) than lip and skin around by this much; 6 to 21 in 22 real mouths (our
choice)."""
LEAST_SIDES, ABOVE_MIDDLES, LEAST_LIGHTER = 0.06, 0.03, 0.05
"""Shares of the luminance of enamel. The least of 22 real mouths: sides 0.07 deep, 0.08 deeper than
middles, 0.13 lighter than around (our choice)."""
MOST_ABOVE = 0.4
"""No real mouth has such a line on any scan line; clicks on the lower row have it on most (our choice)."""
_SOURCE = "measured on 22 photographed mouths; our choice"


def lies_on_enamel(edge: EdgeOnEnamel | None) -> bool:
    """Tell whether the clicks are known to lie on the edge of upper enamel."""
    return edge is not None and not _against(edge)


def on_enamel(edge: EdgeOnEnamel | None) -> Finding:
    """Judge what lies along the clicked upper edge.

    Parameters
    ----------
    edge : EdgeOnEnamel or None, where no upper corners are clicked or the picture ends there
    """
    if edge is None:
        return Finding(
            CODE,
            Severity.NOTE,
            "whether enamel shows is not known: no two upper corners are clicked where the picture can be "
            "read",
            "click 11d and 21d on the incisal edge, or choose a frame that bares the upper incisors",
            limit=LEAST_EDGE,
            unit="1",
            source=_SOURCE,
        )
    against = _against(edge)
    share = f"the picture falls at the clicked edge on {100 * edge.edge:.0f} % of {edge.lines} scan lines"
    if not against:
        return Finding(
            CODE, Severity.OK, share, measured=edge.edge, limit=LEAST_EDGE, unit="1", source=_SOURCE
        )
    one = _one_central(edge)
    todo = (
        f"look at {one}: is it missing, broken or covered? Move its corners onto its edge, or choose another "
        "frame"
        if one
        else "look at the clicked upper corners: move them onto the incisal edge of 11 and 21"
    )
    return Finding(
        CODE,
        Severity.WARN,
        f"the clicked upper corners do not look like the edge of enamel: {against}",
        todo,
        edge.edge,
        None,
        LEAST_EDGE,
        "1",
        source=_SOURCE,
    )


def _against(edge: EdgeOnEnamel) -> str:
    """Say what speaks against enamel, the first of it; empty where nothing does."""
    one = _one_central(edge)
    if one:
        other, share = ("21", edge.edge_11) if one == "11" else ("11", edge.edge_21)
        known = edge.edge_21 if one == "11" else edge.edge_11
        return f"{one} shows an edge on {100 * share:.0f} % of its scan lines, {other} on {100 * known:.0f} %"
    if edge.edge < LEAST_EDGE or min(edge.edge_11, edge.edge_21) < LEAST_ONE:
        return (
            f"it gets darker there on {100 * edge.edge:.0f} % of the scan lines, "
            f"needed {100 * LEAST_EDGE:.0f} %"
        )
    if edge.row_above > MOST_ABOVE:
        return "a dark line runs through the crowns above it, as when the lower row is clicked for the upper"
    if edge.less_red is not None and edge.less_red < LEAST_LESS_RED:
        return (
            f"above it the picture is as red as lip and skin (a* {edge.less_red:.0f} less, "
            f"needed {LEAST_LESS_RED:g})"
        )
    if edge.sides < edge.middles + ABOVE_MIDDLES:
        return "no dark line stands where the crowns end"
    if edge.less_red is None and (
        edge.sides < LEAST_SIDES or edge.lighter is None or edge.lighter < LEAST_LIGHTER
    ):
        return "in a picture without colour it could as well be a lip"
    return ""


def _one_central(edge: EdgeOnEnamel) -> str:
    """Name the central that has no edge where the other has one."""
    shares = {"11": edge.edge_11, "21": edge.edge_21}
    worse = min(shares, key=lambda name: shares[name])
    return worse if shares[worse] < LEAST_ONE and max(shares.values()) >= LEAST_EDGE else ""
