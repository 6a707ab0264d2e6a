"""History files, `bite-history 1`: the moves of one performer's dial; appended to, never overwritten."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from bite.errors import InputError
from bite.files.source import stands
from bite.files.tables import check_form, check_format, read_json, shown

if TYPE_CHECKING:
    from bite.files.forms import StandForm, StepForm

FORMAT = "bite-history 1"
_DIGITS = 6
"""Digits written: far below any sd, and no float noise in hand-edited files."""


@dataclass(frozen=True, slots=True)
class Stand:
    """Where the teeth stood in one frame: dial value and offset with its sd, mm, forward positive."""

    frame: str
    dial: float
    t_mm: float
    sd_mm: float


@dataclass(frozen=True, slots=True)
class Step:
    """One move: where the teeth stood before and after, how far they came, and what was advised."""

    before: Stand
    after: Stand
    achieved_mm: float
    achieved_sd_mm: float
    predicted_mm: float | None
    advice: str
    note: str = ""


def read_history(path: Path, performer: str) -> tuple[Step, ...]:
    """Read the moves of a performer; none where there is no file yet.

    Raises
    ------
    InputError
        When the file is damaged, holds what no history holds, or is another performer's.
    """
    from bite.files.forms import HistoryForm

    path = Path(path)
    if not stands(path):
        return ()
    table = read_json(path)
    check_format(path, table, FORMAT)
    form = check_form(path, table, HistoryForm)
    if form.performer != performer:
        what = f"is the history of {shown(form.performer)}, needed that of {shown(performer)}"
        raise InputError(path, "performer", what, "name another folder with --out")
    return tuple(_step(step) for step in form.steps)


def _stand(form: StandForm) -> Stand:
    return Stand(form.frame, form.dial, form.t_mm, form.sd_mm)


def _step(form: StepForm) -> Step:
    return Step(
        _stand(form.before),
        _stand(form.after),
        form.achieved_mm,
        form.achieved_sd_mm,
        form.predicted_mm,
        form.advice,
        form.note,
    )


def appended(steps: Sequence[Step], step: Step) -> tuple[Step, ...]:
    """Add a move; the same move between the same frames takes the place of what was found of it earlier."""
    kept, out = False, []
    for old in steps:
        same = (old.before.frame, old.after.frame) == (step.before.frame, step.after.frame)
        if same and (old.before.dial, old.after.dial) == (step.before.dial, step.after.dial):
            step = replace(step, note=old.note)
            if not kept:
                out.append(step)
            kept = True
        else:
            out.append(old)
    return tuple(out if kept else [*out, step])


def history_text(performer: str, steps: Sequence[Step]) -> str:
    """Give the text of a history file."""
    table = {"format": FORMAT, "performer": performer, "steps": [_plain(step) for step in steps]}
    return json.dumps(table, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _plain(step: Step) -> dict[str, object]:
    stands = {
        name: {
            "frame": stand.frame,
            "dial": _short(stand.dial),
            "t_mm": _short(stand.t_mm),
            "sd_mm": _short(stand.sd_mm),
        }
        for name, stand in (("before", step.before), ("after", step.after))
    }
    told: dict[str, object] = {
        **stands,
        "achieved_mm": _short(step.achieved_mm),
        "achieved_sd_mm": _short(step.achieved_sd_mm),
        "predicted_mm": None if step.predicted_mm is None else _short(step.predicted_mm),
        "advice": step.advice,
    }
    return {**told, "note": step.note} if step.note else told


def _short(value: float) -> float:
    return float(f"{value:.{_DIGITS}g}") + 0.0
