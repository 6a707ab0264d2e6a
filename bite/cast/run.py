"""Run a cast: every frame over all cores, rows as they come, content at the end."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from bite import __version__
from bite.cast.advice import advised
from bite.cast.compared.consistency import consistency_notes
from bite.cast.compared.together import device_summaries, with_twins
from bite.cast.content import CastContent, FailedFrame, FailureKind, FrameRow
from bite.cast.order import ordered_failures, ordered_rows, performer_answers
from bite.cast.runner.listing import Listed, list_frames
from bite.cast.runner.one_frame import failed, frame_row
from bite.cast.runner.settings import CastSettings
from bite.cast.runner.workers import run_in_workers
from bite.files.cast import CastFile

Job = tuple[Path, str]
Told = Callable[[FrameRow | FailedFrame], None]


@dataclass(frozen=True, slots=True)
class Rows:
    """All that came of the frames."""

    rows: tuple[FrameRow, ...]
    failures: tuple[FailedFrame, ...]


def run_frames(listed: Listed, settings: CastSettings, *, jobs: int, told: Told) -> Rows:
    """Do every listed frame in worker processes; ``told`` hears of each as it ends.

    An interrupt stops the workers and is raised again; what was done stays on disk for the next run.
    """
    rows: list[FrameRow] = []
    failures = list(listed.failures)
    for failure in listed.failures:
        told(failure)
    work = partial(_work, settings=settings)
    for (_, shown), answer in run_in_workers(work, listed.frames, jobs):
        outcome = answer or failed(
            shown, FailureKind.KILLED, f"{shown}: its check was ended twice (memory?); try bite check on it"
        )
        if isinstance(outcome, FailedFrame):
            failures.append(outcome)
        else:
            rows.append(outcome)
        told(outcome)
    return Rows(tuple(rows), tuple(failures))


def cast_content(cast: CastFile, found: Rows, settings: CastSettings) -> CastContent:
    """Gather what the page shows; the order in which frames came in does not matter."""
    rows, failures = with_twins(ordered_rows(found.rows)), ordered_failures(found.failures)
    answers = performer_answers(rows, failures)
    devices = device_summaries(rows, tolerance_mm=settings.tolerance_mm)
    notes = consistency_notes(rows, failures, answers, settings)
    return CastContent(
        name=cast.name,
        tolerance_mm=settings.tolerance_mm,
        performance_device=settings.performance_device or "",
        version=__version__,
        rows=rows,
        failures=failures,
        answers=advised(answers, devices, notes),
        devices=devices,
        notes=notes,
    )


def frames_of(cast: CastFile, settings: CastSettings) -> Listed:
    """List a cast's frames."""
    return list_frames(cast, one_folder=settings.out is not None)


def _work(job: Job, *, settings: CastSettings) -> FrameRow | FailedFrame:
    path, shown = job
    return frame_row(path, shown, settings)
