"""How much of the lower incisors shows, how each corner was clicked, and what the model expects."""

from __future__ import annotations

from collections.abc import Mapping

from bite.check.checks.rows_agree import ANOTHER_BITE_MM
from bite.check.finding import Finding, Severity
from bite.evidence.enamel.below_edge import Below, BelowEdge
from bite.files.corners import CornerState
from bite.geometry.teeth import LOWER_CORNERS
from bite.stats.estimate import Estimate

CODE = "overbite-visible"
REVERSE_MM, REVERSE_SD, EDGE_MM = 0.5, 1.5, 0.3
"""Seen lower edges stand this far and so many sd above the upper ones in a reverse bite, within the last in
an edge-to-edge one (our choice)."""
LOWER_CROWN_MM = 9.0
"""Height of a lower central crown (Nelson & Ash; reference/crown_widths.toml)."""


def overbite_visible(
    states: Mapping[str, CornerState],
    below: BelowEdge | None,
    predicted: Mapping[str, bool] | None,
    *,
    lower_left_out: bool,
    rows_contradict_sd: float = 0.0,
    rows_apart_mm: float | None = None,
    gap: Estimate | None = None,
) -> Finding:
    """Tell what can be seen of the lower row.

    Parameters
    ----------
    states : clicked lower corners and their states
    below : BelowEdge or None, what the picture shows under the upper edge
    predicted : lower corner -> whether the fitted model shows it, or None without a mesh
    lower_left_out : bool, the lower clicks were left out of the fit since they contradict the upper ones
    rows_contradict_sd : float, by how many sd
    rows_apart_mm : float or None, and by how many mm
    gap : Estimate or None, opening between the rows from corners seen in both, negative where they overlap,
        mm
    """
    parts = [_states_told(states)]
    measured = sd = None
    if below is not None and below.shown_mm is not None:
        measured, sd = below.shown_mm / LOWER_CROWN_MM, (below.shown_sd_mm or 0.0) / LOWER_CROWN_MM
        least = "at least " if below.shown_to_end else ""
        parts.append(
            f"{least}{below.shown_mm:.1f} mm of lower enamel shows "
            f"({least}{100 * min(measured, 1.0):.0f} % of a usual crown)"
        )
    elif below is not None and below.kind is Below.UNSEEN:
        parts.append(
            "no lower enamel can be told from a lip" + ("" if below.colour_used else " in a grey picture")
        )
    relation = _relation(states, gap)
    if relation:
        parts.append(relation)
    differ = []
    if predicted is not None:
        clicked = {c: s in (CornerState.SEEN, CornerState.UNSURE) for c, s in states.items()}
        shared = [code for code in LOWER_CORNERS if code in clicked and code in predicted]
        differ = [code for code in shared if clicked[code] != predicted[code]]
        if shared:
            parts.append(f"the solved model expects {len(shared) - len(differ)} of {len(shared)} of these")
    text = "; ".join(parts)
    if lower_left_out:
        far = rows_apart_mm is not None and rows_apart_mm > ANOTHER_BITE_MM
        apart = "" if rows_apart_mm is None else f"{rows_apart_mm:.1f} mm ("
        apart += f"{rows_contradict_sd:.1f} sd" + (")" if apart else "")
        return Finding(
            CODE,
            Severity.FAIL if far else Severity.WARN,
            ("the solved jaw is not closed as in the picture: " if far else "")
            + f"the lower clicks lie {apart} away from where the upper ones put the solved lower teeth, so "
            f"the fit was made without them; {text}",
            "close the jaw in the solve as the picture shows it; if it is closed so, click the lower corners "
            "again",
            measured,
            sd,
            None,
            "1",
            source="left out from 3 sd on, another bite from 1.5 mm on: our choice",
        )
    seen_not_expected = [c for c in differ if states[c] is CornerState.SEEN]
    if len(seen_not_expected) >= 2:
        return Finding(
            CODE,
            Severity.NOTE,
            f"{text}: {', '.join(seen_not_expected)} clicked as seen, which the solved bite hides",
            'call a lower corner "covered" where only its side can be seen below the upper edge',
            measured,
            sd,
            unit="1",
        )
    severity = Severity.OK if states else Severity.NOTE
    todo = "" if states else "click the lower corners, or call them covered or hidden"
    return Finding(CODE, severity, text, todo, measured, sd, unit="1")


def _relation(states: Mapping[str, CornerState], gap: Estimate | None) -> str:
    """Name a reverse or edge-to-edge bite, where lower corners are seen."""
    seen = [code for code in LOWER_CORNERS if states.get(code) is CornerState.SEEN]
    if gap is None or len(seen) < 2:
        return ""
    if gap.value < -REVERSE_MM and gap.value < -REVERSE_SD * gap.sd:
        return (
            f"their edges are seen {-gap.value:.1f} mm above the upper edge: a reverse bite, with the lower "
            "teeth in front; where the upper teeth stand in front, call them covered"
        )
    if abs(gap.value) <= EDGE_MM:
        return "the edges stand on one another: an edge-to-edge bite"
    return ""


def _states_told(states: Mapping[str, CornerState]) -> str:
    if not states:
        return "no lower corner is clicked"
    groups = [
        f"{', '.join(codes)} {state}"
        for state in CornerState
        if (codes := [code for code in LOWER_CORNERS if states.get(code) is state])
    ]
    usual = all(state in (CornerState.COVERED, CornerState.HIDDEN) for state in states.values())
    return "; ".join(groups) + (", as in a usual bite" if usual else "")
