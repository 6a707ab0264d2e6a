"""`bite watch`: the verdict of each bite frame as it lands in a folder."""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from bite.cli.exits import exit_for
from bite.cli.streams import tell
from bite.errors import InputError
from bite.files.source import is_folder

if TYPE_CHECKING:
    from collections.abc import Iterator

    from bite.cast.content import FailedFrame, FrameRow
    from bite.cast.runner.landing import Landing
    from bite.cast.runner.one_frame import EarlyVerdict
    from bite.cast.runner.settings import CastSettings
    from bite.check.decision import Verdict

LOOK_EVERY_S = 0.1
"""How often a folder is looked at (our choice)."""
STEADY_LOOKS = 2
"""A frame that did not change for two looks after the first is whole; a check then takes about a second."""
QUIET_EVERY = 5
"""Frames that were told are looked at every half second: there may be thousands of them."""
BAD_FOR_S = 2.0
"""A frame is told as bad once it has been so for two seconds: a copy in progress is not (our choice)."""
ASK_AGAIN_S = 0.3
"""A copy may stall: what cannot be read is asked again, and told once it has stayed so for this long."""
WAITING_S = 10.0
"""A frame that lacks a file for longer is told with what it waits for: slow copies take seconds."""
MOST_PROCESSES = 4
"""More would hold everything imported once each (our choice)."""
_FOOT = """\
Results and pictures are written as by bite check, so bite cast takes them as they are. Ctrl-C ends it.
exit codes with --once: 0 all leave, move or usable, 1 something needs a person, 2 bad or missing input."""


def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the parser."""
    parser = subparsers.add_parser(
        "watch",
        help="check each bite frame as it lands in a folder",
        description="Check each bite frame of a folder as soon as all its files are whole.",
        epilog=_FOOT,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("folder", metavar="FOLDER", help="folder that frames are copied into")
    parser.add_argument("--cast", metavar="CAST", help="cast file to take devices and tolerance from")
    parser.add_argument("--once", action="store_true", help="do what is there, then end")
    parser.add_argument("--bell", action="store_true", help="ring the terminal's bell with each verdict")


def run(args: argparse.Namespace) -> int:
    """Look, check, tell; until an interrupt, or once."""
    from functools import partial

    from bite.cast.runner.landing import Landing
    from bite.cast.runner.one_frame import load_what_a_check_needs
    from bite.cast.runner.workers import Crew, available_cores
    from bite.files.frame import SUFFIX

    folder = Path(args.folder)
    if not is_folder(folder):
        raise InputError(folder, "", "is no folder", "name the folder that frames are copied into")
    # two or more, so that nobody waits for another frame's pictures to be drawn
    count = min(MOST_PROCESSES, max(2, available_cores()))
    work = partial(_steps, settings=_settings(args, folder))
    landing = Landing(folder, steady_looks=STEADY_LOOKS, quiet_every=QUIET_EVERY)
    watcher = _Watcher(landing, bell=args.bell)
    if not args.once:
        tell(f"watching {folder} for frame files ({SUFFIX}) and all that they name; Ctrl-C ends it")
    started = time.monotonic()
    with Crew[Path, "EarlyVerdict | FrameRow | FailedFrame"](work, count, load_what_a_check_needs) as crew:
        while True:
            began = time.monotonic()
            for path in watcher.due(began):
                crew.add(path)
            if not args.once:
                watcher.say_waiting(began)
            took = time.monotonic() - began
            # a folder of thousands on a slow disk must not be looked at without end
            until = began + max(LOOK_EVERY_S, 3 * took)
            while (left := until - time.monotonic()) > 0:
                if not crew.busy:
                    time.sleep(left)
                for told in crew.answers(left):
                    watcher.tell(told.job, told.answer, last=told.last, died=told.died)
            over = time.monotonic() > started + BAD_FOR_S and landing.looks > STEADY_LOOKS + 1
            if args.once and over and not crew.busy and not watcher.bad:
                break
    return watcher.exit_code()


@dataclass(slots=True)
class _Watcher:
    """Which frames are being checked, what was said of them, and which are asked again."""

    landing: Landing
    bell: bool = False
    at_work: dict[Path, str] = field(default_factory=dict)
    """the verdict told so far, empty before it"""
    bad: dict[Path, tuple[float, float]] = field(default_factory=dict)
    """when it was bad first, and when to ask again"""
    verdicts: dict[Path, Verdict] = field(default_factory=dict)
    failures: set[Path] = field(default_factory=set)
    faults: set[Path] = field(default_factory=set)
    """those whose last answer was a fault of the program"""
    short: dict[Path, tuple[float, tuple[str, ...]]] = field(default_factory=dict)
    """since when a frame waits for which files; told ones are marked by an infinite time"""

    def due(self, now: float) -> list[Path]:
        """Give the frames to be checked now; one that is at work has its turn later."""
        for path, (_, again) in self.bad.items():
            if now >= again and path not in self.at_work:
                self.landing.ask_again(path)
        ready = []
        for path in self.landing.landed():
            if path in self.at_work:
                self.landing.ask_again(path)
            else:
                self.at_work[path] = ""
                ready.append(path)
        return ready

    def say_waiting(self, now: float) -> None:
        """Say once of a frame what it waits for, when that has been the same for a while."""
        waiting = self.landing.waiting()
        for path in self.short.keys() - waiting.keys():
            del self.short[path]
        for path, names in waiting.items():
            since, before = self.short.get(path, (now, ()))
            if before != tuple(names):
                since = now
            if now - since >= WAITING_S:
                tell(f"{self._shown(path)}: waits for {', '.join(names)}")
                since = float("inf")
            self.short[path] = since, tuple(names)

    def tell(
        self, path: Path, answer: EarlyVerdict | FrameRow | FailedFrame | None, *, last: bool, died: bool
    ) -> None:
        """Say a verdict once, as soon as it is known; a failure once it has stayed so for a while."""
        from bite.cast.content import FailedFrame, FailureKind
        from bite.check.decision import Verdict

        if answer is not None:
            self.faults.discard(path)
        if isinstance(answer, FailedFrame):
            if answer.kind is FailureKind.FAULT:
                self.faults.add(path)
            self._failed(path, answer.line)
        elif answer is not None:
            line = _line(answer)
            if self.at_work.get(path) != line:
                print(line, flush=True)
                if self.bell:
                    print("\a", end="", file=sys.stderr, flush=True)
            self.at_work[path] = line
            self.bad.pop(path, None)
            self.failures.discard(path)
            self.verdicts[path] = Verdict(answer.verdict)
        if died:
            self._say_failed(path, f"{self._shown(path)}: its check was ended twice (memory?)")
        if last:
            self.at_work.pop(path, None)

    def exit_code(self) -> int:
        """Say what is still missing or being written, and sum up."""
        waiting = self.landing.waiting()
        for path, names in waiting.items():
            self._say_failed(path, f"{self._shown(path)}: waits for {', '.join(names)}")
        for path in self.landing.seen.keys() - waiting.keys() - self.verdicts.keys() - self.failures:
            self._say_failed(path, f"{self._shown(path)}: its files are still being written")
        faults = len(self.failures & self.faults)
        return exit_for(self.verdicts.values(), bad_inputs=len(self.failures) - faults, faults=faults)

    def _failed(self, path: Path, line: str) -> None:
        now = time.monotonic()
        first = self.bad.get(path, (now, now))[0]
        if self.at_work.get(path) or now - first >= BAD_FOR_S:  # checked but not saved: no copy mends that
            self.bad.pop(path, None)
            self._say_failed(path, line)
        else:
            self.bad[path] = first, now + ASK_AGAIN_S

    def _say_failed(self, path: Path, line: str) -> None:
        self.failures.add(path)
        self.verdicts.pop(path, None)
        tell(line)

    def _shown(self, path: Path) -> str:
        return str(path.relative_to(self.landing.folder))


def _line(answer: EarlyVerdict | FrameRow) -> str:
    """Give verdict, reason and offset with its sd in one line, the offset once."""
    from bite.check.words import told
    from bite.stats.estimate import Estimate

    line = f"{answer.name}: {answer.verdict.upper()} - {answer.why}"
    if answer.t_mm is None or answer.sd_mm is None:
        return line
    offset = f"offset {told(Estimate(answer.t_mm, answer.sd_mm), 'mm', sign=True)}"
    return line if offset in line else f"{line} ({offset})"


def _steps(path: Path, settings: CastSettings) -> Iterator[EarlyVerdict | FrameRow | FailedFrame]:
    from bite.cast.runner.one_frame import frame_steps

    return frame_steps(path, str(path.relative_to(settings.root)), settings)


def _settings(args: argparse.Namespace, folder: Path) -> CastSettings:
    from tempfile import gettempdir

    from bite.cast.runner.settings import CastSettings
    from bite.check.decision import TOLERANCE_MM

    pictures = folder / ".bite-cast"
    try:
        pictures.mkdir(exist_ok=True)
    except OSError:
        pictures = Path(gettempdir())
    if args.cast is None:
        return CastSettings(TOLERANCE_MM, None, {}, folder, None, pictures)
    from bite.files.cast import read_cast

    cast = read_cast(Path(args.cast))
    return CastSettings(cast.tolerance_mm, cast.performance_device, cast.devices, folder, None, pictures)
