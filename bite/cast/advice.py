"""One piece of advice a performer: which dial value to type, or why none is to be typed yet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from bite.cast.content import Advice, DeviceSummary, FrameRow, Note, PerformerAnswer
from bite.check.decision import Verdict
from bite.check.finding import Severity

_ADVISE = (Verdict.LEAVE, Verdict.MOVE, Verdict.BEYOND)


def advised(
    answers: Sequence[PerformerAnswer], devices: Sequence[DeviceSummary], notes: Sequence[Note]
) -> tuple[PerformerAnswer, ...]:
    """Give every answer its advice, which nothing else in the cast contradicts.

    A value is held back where all performers of its device share a shift whose cause is to be found first,
    and where the frames of the performer disagree by more than the tolerance.
    """
    shared = {summary.device for summary in devices if summary.severity is Severity.FAIL}
    apart = {outlier.performer for summary in devices for outlier in summary.shift.outliers}
    quarrel = {
        name: note.text
        for note in notes
        if note.code == "frames-disagree" and note.severity is Severity.WARN
        for name in note.frames
    }
    return tuple(replace(answer, advice=_advice(answer, shared, apart, quarrel)) for answer in answers)


def _advice(
    answer: PerformerAnswer, shared: set[str], apart: set[str], quarrel: dict[str, str]
) -> Advice:
    row = answer.frame
    if row is None or own_dial(row) is None:
        return Advice()
    if row.name in quarrel:
        first = "settle which of its frames shows the usual bite, and take the other out of the cast"
        return Advice(held=row.dial, why_held=quarrel[row.name], first=first)
    if row.device in shared:
        why = f"all performers with {row.device} share a shift: find its cause first"
        return Advice(held=row.dial, why_held=why)
    if answer.performer in apart:
        first = "look whether that is the usual bite, and the rig like the others'"
        return Advice(dial=row.dial, first=first)
    return Advice(dial=row.dial)


def own_dial(row: FrameRow) -> float | None:
    """Give the dial value that a frame alone would have typed; None where its verdict stands behind none."""
    return row.dial if row.dial_advised and row.verdict in _ADVISE else None


def advised_dials(answers: Sequence[PerformerAnswer], tolerance_mm: float) -> dict[str, float]:
    """Give, by the names of frames, the values that may be typed: those of one performer never contradict.

    A frame beside the one that speaks keeps its own value where both put the teeth within the tolerance of
    each other.
    """
    found: dict[str, float] = {}
    for answer in answers:
        speaking = answer.frame
        if speaking is None or answer.advice.dial is None:
            continue
        for row in (speaking, *answer.others):
            own = own_dial(row)
            if own is not None and (row is speaking or _alike(row, speaking, tolerance_mm)):
                found[row.name] = own
    return found


def _alike(one: FrameRow, other: FrameRow, tolerance_mm: float) -> bool:
    if one.dial == other.dial:
        return True
    if one.need_mm is None or other.need_mm is None:
        return False
    return abs(one.need_mm - other.need_mm) <= tolerance_mm
