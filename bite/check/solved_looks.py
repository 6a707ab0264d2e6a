"""The solved mouth in every view of a frame, rendered as it stands and as it would stand after the move."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from bite.check.assessment import Assessment, CornerMark
from bite.check.decision import Verdict
from bite.check.sections import before_and_after
from bite.check.words import dial_stands
from bite.evidence.model.solved_mouth import SolvedMouth, solved_mouths
from bite.files.result import as_stored
from bite.fit.parameters import COUNT

LEAST_MOVE_MM = 0.005
"""A smaller move has no "after" of its own."""


@dataclass(frozen=True, slots=True)
class Looks:
    """What one view shows of the solved mouth, in the same pixels.

    Parameters
    ----------
    before : SolvedMouth
    after : SolvedMouth or None, where nothing is to be moved, or no move is advised
    """

    before: SolvedMouth
    after: SolvedMouth | None


def is_advised(assessment: Assessment) -> bool:
    """Tell whether a move is advised, so that "after" is a thing to be shown."""
    if assessment.fit is None or abs(assessment.moved_mm) < LEAST_MOVE_MM:
        return False
    if assessment.decision.move is None:
        return assessment.decision.verdict in (Verdict.MOVE, Verdict.BEYOND)
    return dial_stands(assessment)


def shown_marks(assessment: Assessment) -> tuple[CornerMark, ...]:
    """Give the marks, without an "after" where none is advised."""
    if is_advised(assessment):
        return assessment.marks
    return tuple(replace(mark, after_px=None) for mark in assessment.marks)


def solved_looks(assessment: Assessment) -> Mapping[str, Looks]:
    """Render the solved mouth into each view; views that see none of it, or a model of corners, have none."""
    if assessment.solved is None or not assessment.solved.has_surface:
        return {}
    start = assessment.fit.parameters if assessment.fit is not None else np.zeros(COUNT)
    # as the result file will have them: whoever draws from that file later draws the same pixels
    start = np.array([as_stored(value) for value in start[:COUNT]])
    before, after = before_and_after(start, as_stored(assessment.moved_mm))
    placements = (before, after) if is_advised(assessment) else (before,)
    found: dict[str, Looks] = {}
    for view in assessment.frame.views:
        mouths = solved_mouths(view.camera, assessment.solved.head, *placements)
        if mouths:
            found[view.name] = Looks(mouths[0], mouths[1] if len(mouths) > 1 else None)
    return found
