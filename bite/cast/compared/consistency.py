"""What frames of a cast show against each other: one note a question."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

import numpy as np

from bite.cast.compared.together import means_by_performer, pooled_reading
from bite.cast.content import FailedFrame, FrameRow, Note, PerformerAnswer
from bite.cast.runner.saved import RESULT_SUFFIX, old_results
from bite.cast.runner.settings import CastSettings
from bite.check.decision import Verdict
from bite.check.finding import WORST_FIRST, Severity
from bite.geometry.rigid import Array
from bite.stats.group_shift import group_shift
from bite.stats.pooling import pool

DISAGREE_CHANCE = 0.01
"""Frames of one performer that scatter this improbably disagree (our choice)."""
ANNOTATOR_CHANCE = 0.01
"""Chance at which a person's clicks are called odd, all questions counted (our choice: one false name in a
hundred casts)."""
ANNOTATOR_LEAST_MM = 0.2
"""A shift between annotators below this is not worth a talk (our choice)."""
FEWEST_PER_ANNOTATOR = 3
"""Two frames of a person tell no habit from two accidents (our choice)."""
_GIVES_AN_OFFSET = (Verdict.LEAVE, Verdict.MOVE, Verdict.BEYOND)
_USABLE = (*_GIVES_AN_OFFSET, Verdict.USABLE)


def consistency_notes(
    rows: Sequence[FrameRow],
    failures: Sequence[FailedFrame],
    answers: Sequence[PerformerAnswer],
    settings: CastSettings,
) -> tuple[Note, ...]:
    """Ask every question; worst answers first."""
    found = [
        *_performers_without(answers),
        *_disagreeing(rows, settings.tolerance_mm),
        *_other_devices(rows, settings.performance_device),
        *_doubled(failures),
        *_twins(rows),
        *_annotators(rows),
        *_stale(rows, failures, settings),
    ]
    return tuple(sorted(found, key=lambda note: WORST_FIRST.index(note.severity)))


def _performers_without(answers: Sequence[PerformerAnswer]) -> Iterator[Note]:
    for answer in sorted(answers, key=lambda a: a.performer):
        rows = [row for row in (answer.frame, *answer.others) if row is not None]
        if any(row.verdict in _USABLE for row in rows):
            continue
        words = [f"{row.name} {row.verdict}" for row in rows]
        words += [f"{f.name or f.path} {f.kind}" for f in answer.failures]
        yield Note(
            "no-usable-frame",
            Severity.FAIL,
            f"{answer.performer} has no usable bite frame: {', '.join(words)}",
            "as told at its name under Needs a person; while the performer is on set, shoot one more frame",
            tuple(row.name for row in rows) + tuple(f.name for f in answer.failures if f.name),
        )


def _disagreeing(rows: Sequence[FrameRow], tolerance_mm: float) -> Iterator[Note]:
    for mean in means_by_performer(rows):
        if mean.disagree_p is None or mean.disagree_p > DISAGREE_CHANCE:
            continue
        own = [row for row in rows if row.performer == mean.performer and pooled_reading(row) is not None]
        needs = sorted((row.need_mm or 0.0, row.name) for row in own)
        (low, first), (high, last) = needs[0], needs[-1]
        severity = Severity.WARN if high - low > tolerance_mm else Severity.NOTE
        yield Note(
            "frames-disagree",
            severity,
            f"the frames of {mean.performer} disagree by {high - low:.1f} mm, from {_signed(low)} mm "
            f"({first}) to {_signed(high)} mm ({last}), more than their sds allow "
            f"(chance {mean.disagree_p:.2g})",
            "look at the pictures side by side: one may not be the usual bite, or be solved differently",
            tuple(name for _, name in needs),
        )


def _signed(value: float) -> str:
    return f"{round(value, 1) + 0.0:+.1f}"


def _other_devices(rows: Sequence[FrameRow], performance_device: str | None) -> Iterator[Note]:
    if performance_device is None:
        return
    for device in sorted({row.device for row in rows} - {performance_device}):
        names = tuple(sorted(row.name for row in rows if row.device == device))
        verb = "frames were" if len(names) > 1 else "frame was"
        yield Note(
            "other-device",
            Severity.WARN,
            f"{len(names)} {verb} shot with {device}, the performances with {performance_device}",
            "what a device does to depth on enamel does not carry over: use the performances' device",
            names,
        )


def _doubled(failures: Sequence[FailedFrame]) -> Iterator[Note]:
    doubled = sorted({f.name for f in failures if " is also the name of " in f.line and f.name})
    for name in doubled:
        yield Note("doubled-name", Severity.WARN, f"two frames are named {name}", "rename one", (name,))


def _twins(rows: Sequence[FrameRow]) -> Iterator[Note]:
    for row in rows:
        if row.twin_of:
            yield Note(
                "picture-twice",
                Severity.WARN,
                f"{row.name} holds a picture or depth map that {row.twin_of} holds too: it counts once",
                "name only one of the two frames, or give each its own picture",
                (row.twin_of, row.name),
            )


def _annotators(rows: Sequence[FrameRow]) -> Iterator[Note]:
    measured = [row for row in rows if len(row.annotators) == 1 and row.converged]
    names = sorted({row.annotators[0] for row in measured})
    if len(names) < 2:
        return
    questions = (
        ("above", "below", lambda r: (r.up_mm, r.up_sd_mm)),
        ("right of", "left of", lambda r: (r.right_mm, r.right_sd_mm)),
    )
    asked = names[:1] if len(names) == 2 else names  # of two, one against the other is one question
    limit = ANNOTATOR_CHANCE / (len(questions) * len(asked))
    for name in asked:
        for more, less, read in questions:
            own = _by_performer([row for row in measured if row.annotators[0] == name], read)
            rest = _by_performer([row for row in measured if row.annotators[0] != name], read)
            if min(len(own[0]), len(rest[0])) < FEWEST_PER_ANNOTATOR:
                continue
            found = group_shift(own, rest)
            if found.chance > limit or abs(found.difference) < ANNOTATOR_LEAST_MM:
                continue
            others = names[1] if len(names) == 2 else "the others"
            yield Note(
                "annotator-shift",
                Severity.WARN,
                f"corners by {name} ask for teeth {abs(found.difference):.1f} +- {found.sd:.1f} mm "
                f"{more if found.difference > 0 else less} those by {others} (chance {found.chance:.2g})",
                "let both click one picture and compare with bite agree; settle where the corner is",
                tuple(sorted(row.name for row in measured if row.annotators[0] == name)),
            )


_Read = Callable[[FrameRow], tuple[float | None, float | None]]


def _by_performer(rows: Sequence[FrameRow], read: _Read) -> tuple[Array, Array]:
    """Pool a quantity of each performer, so that one with many frames counts once."""
    own: dict[str, list[tuple[float, float]]] = {}
    for row in rows:
        value, sd = read(row)
        if value is not None and sd is not None and sd > 0:
            own.setdefault(row.performer, []).append((value, sd))
    pooled = [pool(*np.array(pairs).T) for _, pairs in sorted(own.items())]
    return np.array([p.mean for p in pooled]), np.array([p.se for p in pooled])


def _stale(
    rows: Sequence[FrameRow], failures: Sequence[FailedFrame], settings: CastSettings
) -> Iterator[Note]:
    """Tell results that lie about although no frame of this run stands behind them."""
    folders = {row.result.parent for row in rows}
    folders |= {settings.out} if settings.out is not None else set()
    folders |= {(settings.root / f.path).parent for f in failures if settings.out is None and f.name}
    known = {f"{row.name}{RESULT_SUFFIX}" for row in rows}
    failed = {f.name for f in failures if f.name}
    for folder in sorted(folders):
        for file in old_results(folder, known):
            name = file.removesuffix(RESULT_SUFFIX)
            because = (
                "its frame cannot be read now" if name in failed else "no frame of the cast has that name"
            )
            yield Note(
                "stale-result",
                Severity.WARN if name in failed else Severity.NOTE,
                f"{file} is an older answer: {because}",
                "do not use its dial value; mend the frame, or remove the file",
                (name,),
            )
