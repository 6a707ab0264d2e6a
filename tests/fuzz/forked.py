"""Runs of the command line, forked from a process that has imported everything: real, but cheap."""

from __future__ import annotations

import contextlib
import os
import resource
import signal
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

MOST_WALL_S = 120.0
Disturb = Callable[[int, float], bool]


@dataclass(frozen=True, slots=True)
class Ended:
    """How one run ended: exit code (negative for a signal), streams, processor time and peak memory."""

    code: int
    out: str
    err: str
    cpu_s: float
    peak_bytes: int


def import_everything() -> None:
    """Import what any command uses, so that a forked run does not: no threads are started by that."""
    import pkgutil
    from importlib import import_module

    import bite

    for module in pkgutil.walk_packages(bite.__path__, "bite."):
        if not module.name.endswith("__main__"):
            import_module(module.name)
    for name in (
        "cv2", "trimesh", "pydantic", "scipy.fft", "scipy.ndimage", "scipy.optimize", "scipy.special",
        "scipy.stats", "matplotlib.figure", "matplotlib.backends.backend_agg", "PIL.Image", "tornado.ioloop",
        "jinja2",
    ):  # fmt: skip
        import_module(name)


def ended(arguments: list[str], folder: Path, *, disturb: Disturb | None = None) -> Ended:
    """Run `bite` with arguments, in a folder that gets its streams, and give how it ended.

    Parameters
    ----------
    arguments : list of str
    folder : Path
    disturb : callable, optional
        Called again and again with the run's process number and its age in seconds, until it says that it is
        done.
    """
    streams = [folder / "stdout", folder / "stderr"]
    for stream in streams:
        stream.unlink(missing_ok=True)
    child = os.fork()
    if not child:
        _child(arguments, folder, streams)
    serves = _Interrupting(streams[1]) if "--browser" in arguments else None
    _watch(child, [each for each in (disturb, serves) if each is not None])
    _, status, used = os.wait4(child, 0)
    code = os.waitstatus_to_exitcode(status)
    if serves is not None and code == 130:
        code = 0
    out, err = (stream.read_text("utf-8", "replace") if stream.exists() else "" for stream in streams)
    return Ended(code, out, err, used.ru_utime + used.ru_stime, used.ru_maxrss * 1024)


class _Interrupting:
    """Interrupt a server once it serves."""

    def __init__(self, talk: Path) -> None:
        self._talk, self._since_s = talk, 0.0

    def __call__(self, child: int, age_s: float) -> bool:
        if not self._since_s and self._talk.exists() and b"open http://" in self._talk.read_bytes():
            self._since_s = age_s
        if not self._since_s or age_s < self._since_s + 0.3:
            return False
        os.kill(child, signal.SIGINT)
        return True


class Spending:
    """End a run that has taken more processor time than this, s; told by ``ended``."""

    def __init__(self, most_s: float) -> None:
        self._most_s = most_s
        self.ended = False

    def __call__(self, child: int, age_s: float) -> bool:
        with contextlib.suppress(OSError):
            spent_ns = int(Path(f"/proc/{child}/schedstat").read_text(encoding="ascii").split()[0])
            if spent_ns > 1e9 * self._most_s:
                os.kill(child, signal.SIGKILL)
                self.ended = True
        return self.ended


def _child(arguments: list[str], folder: Path, streams: list[Path]) -> None:
    """Become the run: nothing of the parent but what it imported."""
    code = 99
    try:
        for number, stream in zip((1, 2), streams, strict=True):
            handle = os.open(stream, os.O_WRONLY | os.O_CREAT)
            os.dup2(handle, number)
            os.close(handle)
        nothing = os.open(os.devnull, os.O_RDONLY)
        os.dup2(nothing, 0)
        os.chdir(folder)
        resource.setrlimit(resource.RLIMIT_CPU, (30, 35))
        resource.setrlimit(resource.RLIMIT_AS, (5_000_000_000, 5_000_000_000))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        sys.stdout = open(1, "w", encoding="utf-8", closefd=False)  # noqa: SIM115  open as long as the process
        sys.stderr = open(2, "w", encoding="utf-8", closefd=False, buffering=1)  # noqa: SIM115  open as long as the process
        from bite.cli import main

        code = main(arguments)
        sys.stdout.flush()
        sys.stderr.flush()
    finally:
        os._exit(code)


def _watch(child: int, disturbing: list[Disturb]) -> None:
    """Wait for a run to end, disturbing it, and kill what does not end."""
    started, pause_s = time.monotonic(), 0.001
    while os.waitid(os.P_PID, child, os.WEXITED | os.WNOHANG | os.WNOWAIT) is None:
        age_s = time.monotonic() - started
        disturbing = [disturb for disturb in disturbing if not disturb(child, age_s)]
        if age_s > MOST_WALL_S:
            os.kill(child, signal.SIGKILL)
        time.sleep(pause_s)
        if all(isinstance(disturb, Spending) for disturb in disturbing):
            pause_s = min(0.05, 1.5 * pause_s)
