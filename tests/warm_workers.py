"""Workers of casts, and commands, forked from a process that has imported all: more work than a small check.

The program starts its workers afresh ("spawn"), and so does every run in a process of its own, such as those
of `tests/cast/test_disturbed.py`. A worker of a run inside the tests' own process need not import, has the
streams and the folder of whoever starts it, and differs in nothing else.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from multiprocessing import forkserver, get_context, reduction
from multiprocessing.process import BaseProcess
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
IMPORTED = (
    "bite.check.before_after", "bite.check.page_file", "bite.check.result", "bite.check.solved_looks",
    "bite.check.steps", "bite.cast.run", "bite.cast.runner.one_frame", "cv2", "matplotlib.figure",
    "matplotlib.backends.backend_agg", "PIL.Image", "pydantic", "scipy.fft", "scipy.ndimage",
    "scipy.optimize", "scipy.sparse", "scipy.spatial", "scipy.special",
)  # fmt: skip


class Warm:
    """What a caller of ``multiprocessing.get_context`` asks of a context: pipes and processes."""

    def __init__(self, method: str) -> None:
        """Start the process that others are forked from, unless it runs; the method is not kept to."""
        self._forked = get_context("forkserver")
        self._forked.set_forkserver_preload(list(IMPORTED))
        before = Path.cwd()
        os.chdir(ROOT)  # where the project is found if it is not installed
        try:
            forkserver.ensure_running()
        finally:
            os.chdir(before)
        self.Pipe = self._forked.Pipe

    def Process(
        self, *, target: Callable[..., None], args: tuple[object, ...], daemon: bool
    ) -> BaseProcess:
        """Make a process that writes where this one does."""
        return self._forked.Process(target=_written_here, args=(_Streams(), target, *args), daemon=daemon)


class _Streams:
    """Standard output and error of the process that pickles it; taken on where it is unpickled."""

    def __reduce__(self) -> tuple[object, ...]:
        return _taken_on, (reduction.DupFd(1), reduction.DupFd(2))


def _taken_on(*streams: reduction.DupFd) -> _Streams:
    for number, stream in enumerate(streams, 1):
        given = stream.detach()
        os.dup2(given, number)
        os.close(given)
    return _Streams()


def commanded(arguments: list[str]) -> BaseProcess:
    """Start a command of `bite` in a process of its own; what ``main`` gives is its exit code."""
    process = Warm("spawn").Process(target=_command, args=(arguments,), daemon=True)
    process.start()
    return process


def _command(arguments: list[str]) -> None:
    from bite.cli import main

    sys.exit(main(arguments))


def _written_here(_: _Streams, target: Callable[..., None], *args: object) -> None:
    target(*args)
