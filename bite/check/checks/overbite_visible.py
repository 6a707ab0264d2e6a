"""How much of the lower incisors shows, how each corner was clicked, and what the model expects."""

from __future__ import annotations

from collections.abc import Mapping

from bite.check.finding import Finding, Severity
from bite.evidence.enamel.enamel_reach import EnamelReach
from bite.files.corners import CornerState
from bite.geometry.teeth import LOWER_CORNERS

CODE = "overbite-visible"
LOWER_CROWN_MM = 9.0
"""Height of a lower central crown (Nelson & Ash; reference/crown_widths.toml)."""


def overbite_visible(
    states: Mapping[str, CornerState],
    shown: EnamelReach | None,
    predicted: Mapping[str, bool] | None,
    *,
    lower_left_out: bool,
    rows_contradict_sd: float = 0.0,
) -> Finding:
    """Tell what can be seen of the lower row.

    Parameters
    ----------
    states : clicked lower corners and their states
    shown : EnamelReach or None, bare lower enamel in the picture
    predicted : lower corner -> whether the fitted model shows it, or None without a mesh
    lower_left_out : bool, the lower clicks were left out of the fit since they contradict the upper ones
    rows_contradict_sd : float, by how many sd
    """
    parts = [_states_told(states)]
    measured = sd = None
    if shown is not None:
        measured, sd = shown.shown_mm / LOWER_CROWN_MM, shown.sd_mm / LOWER_CROWN_MM
        least = "at least " if shown.at_end else ""
        parts.append(
            f"{least}{shown.shown_mm:.1f} mm of lower enamel shows "
            f"({least}{100 * min(measured, 1.0):.0f} % of a usual crown)"
        )
    differ = []
    if predicted is not None:
        clicked = {c: s in (CornerState.SEEN, CornerState.UNSURE) for c, s in states.items()}
        shared = [code for code in LOWER_CORNERS if code in clicked and code in predicted]
        differ = [code for code in shared if clicked[code] != predicted[code]]
        if shared:
            parts.append(f"the solved model expects {len(shared) - len(differ)} of {len(shared)} of these")
    text = "; ".join(parts)
    if lower_left_out:
        return Finding(
            CODE,
            Severity.WARN,
            f"{text}; the lower clicks lie {rows_contradict_sd:.1f} sd away from where the upper ones put "
            f"them, so the "
            "fit was made without them",
            "look at the lower clicks and at how the solved jaw is closed",
            measured,
            sd,
            3.0 / LOWER_CROWN_MM if measured is not None else None,
            "1",
            source="3 sd: our choice",
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
