"""Worker processes that outlive any frame: one job each at a time, and a dead worker is replaced.

Workers are started afresh ("spawn"), so that they hold no half-locked state of the parent on any system.
One numeric thread each: with a process a core, more threads only get in each other's way. A worker ends by
itself when its parent is gone, even after kill -9.
"""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from multiprocessing import connection, get_context
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from typing import Generic, TypeVar

Job = TypeVar("Job")
Answer = TypeVar("Answer")
_THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMEXPR_NUM_THREADS")
_TRIES = 2
"""A worker may be ended for another's hunger for memory: one more try, then the frame is told as failed."""


@dataclass(slots=True)
class _Worker(Generic[Job]):
    process: BaseProcess
    line: Connection
    job: Job | None = None


def available_cores() -> int:
    """Count the cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return max(1, len(os.sched_getaffinity(0)))
    return os.cpu_count() or 1


def run_in_workers(
    work: Callable[[Job], Answer], jobs: Sequence[Job], count: int
) -> Iterator[tuple[Job, Answer | None]]:
    """Do all jobs, in any order; None where the worker died over one twice.

    Parameters
    ----------
    work : a function that can be pickled, and that raises nothing
    jobs : sequence
    count : int, how many processes
    """
    waiting = deque((job, 1) for job in jobs)
    tries: dict[int, int] = {}
    workers: list[_Worker[Job]] = []
    try:
        with _one_thread_each():
            workers += [_start(work) for _ in range(min(count, len(jobs)))]
        for worker in workers:
            _feed(worker, waiting, tries)
        while any(worker.job is not None for worker in workers):
            busy = {worker.line: worker for worker in workers if worker.job is not None}
            for line in connection.wait(list(busy)):
                worker = busy[line]  # type: ignore[index]
                job = worker.job
                assert job is not None
                try:
                    answer: Answer = worker.line.recv()
                except (EOFError, OSError):
                    place = workers.index(worker)
                    _end(worker)
                    with _one_thread_each():
                        workers[place] = _start(work)
                    if tries[id(job)] < _TRIES:
                        waiting.appendleft((job, tries[id(job)] + 1))
                    else:
                        yield job, None
                    _feed(workers[place], waiting, tries)
                    continue
                _feed(worker, waiting, tries)
                yield job, answer
    finally:
        for worker in workers:
            _end(worker)


def _feed(worker: _Worker[Job], waiting: deque[tuple[Job, int]], tries: dict[int, int]) -> None:
    worker.job = None
    if waiting:
        worker.job, tried = waiting.popleft()
        tries[id(worker.job)] = tried
        with suppress(OSError):  # it died while idle: found at its next answer, which never comes
            worker.line.send(worker.job)


def _start(work: Callable[[Job], Answer]) -> _Worker[Job]:
    context = get_context("spawn")
    here, there = context.Pipe()
    process = context.Process(target=_serve, args=(there, work), daemon=True)
    process.start()
    there.close()
    return _Worker(process, here)


def _end(worker: _Worker[Job]) -> None:
    worker.line.close()
    worker.process.terminate()
    worker.process.join(5.0)
    if worker.process.is_alive():
        worker.process.kill()
        worker.process.join()


def _serve(line: Connection, work: Callable[[Job], Answer]) -> None:
    import signal

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent decides
    _end_with_parent()
    with suppress(EOFError, OSError):
        while True:
            line.send(work(line.recv()))


def _end_with_parent() -> None:
    from multiprocessing import parent_process
    from threading import Thread

    parent = parent_process()
    if parent is None:
        return

    def wait() -> None:
        connection.wait([parent.sentinel])
        os._exit(1)

    Thread(target=wait, daemon=True).start()


@contextmanager
def _one_thread_each() -> Iterator[None]:
    """Set what numeric libraries read when they are loaded in a new process, and put it back."""
    before = {name: os.environ.get(name) for name in _THREADS}
    os.environ.update(dict.fromkeys(_THREADS, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value
