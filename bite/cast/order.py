"""Worst first, and one answer a performer."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from bite.cast.content import WORST_FIRST, FailedFrame, FrameRow, PerformerAnswer


def ordered_rows(rows: Iterable[FrameRow]) -> tuple[FrameRow, ...]:
    """Sort rows: worst verdict first, the larger offset first, then by name."""
    return tuple(
        sorted(rows, key=lambda r: (WORST_FIRST.index(r.verdict), -abs(r.t_mm or 0.0), r.name, r.path))
    )


def ordered_failures(failures: Iterable[FailedFrame]) -> tuple[FailedFrame, ...]:
    """Sort failures by path."""
    return tuple(sorted(failures, key=lambda failure: (failure.path, failure.line)))


def performer_answers(
    rows: Sequence[FrameRow], failures: Sequence[FailedFrame]
) -> tuple[PerformerAnswer, ...]:
    """Give one answer for each performer, worst first.

    A performer with one good frame is served, whatever the other frames are: the frame whose dial value is
    advised and whose offset is known best speaks. Without any, the least bad frame does.
    """
    frames: dict[str, list[FrameRow]] = {}
    failed: dict[str, list[FailedFrame]] = {}
    for row in rows:
        frames.setdefault(row.performer, []).append(row)
    for failure in failures:
        if failure.performer:
            failed.setdefault(failure.performer, []).append(failure)
    found = []
    for name in frames.keys() | failed.keys():
        own = frames.get(name, [])
        speaking = min(own, key=_best, default=None)
        others = tuple(row for row in own if row is not speaking)
        found.append(PerformerAnswer(name, speaking, others, tuple(failed.get(name, ()))))
    return tuple(sorted(found, key=_worst))


def _best(row: FrameRow) -> tuple[bool, int, float, str]:
    sd = row.sd_mm if row.sd_mm is not None else float("inf")
    advised = row.dial_advised and not row.needs_person
    return not advised, 0 if advised else -WORST_FIRST.index(row.verdict), sd, row.name


def _worst(answer: PerformerAnswer) -> tuple[int, float, str]:
    if answer.frame is None:
        return -1, 0.0, answer.performer
    return (
        WORST_FIRST.index(answer.frame.verdict),
        -abs(answer.frame.t_mm or 0.0),
        answer.performer,
    )
