"""Worker processes that outlive any frame: one job each at a time, and a dead worker is replaced.

Workers are started afresh ("spawn"), so that they hold no half-locked state of the parent on any system.
One numeric thread each: with a process a core, more threads only get in each other's way. A worker ends by
itself when its parent is gone, even after kill -9.
"""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from multiprocessing import connection, get_context
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from types import TracebackType
from typing import Generic, Self, TypeVar

from bite.errors import BiteError

Job = TypeVar("Job")
Answer = TypeVar("Answer")
_THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMEXPR_NUM_THREADS")
_TRIES = 2
"""A worker may be ended for another's hunger for memory: one more try, then the frame is told as failed."""
_STARTS = 4
"""So many processes in a row that end before they are ready: the next one would too."""
_READY, _ANSWER, _DONE = "ready", "answer", "done"


@dataclass(slots=True)
class _Task(Generic[Job]):
    job: Job
    tries: int = 0


@dataclass(slots=True)
class _Worker(Generic[Job]):
    process: BaseProcess
    line: Connection
    task: _Task[Job] | None = None
    ready: bool = False


@dataclass(frozen=True, slots=True)
class Told(Generic[Job, Answer]):
    """One answer to a job. ``last`` comes without an answer and says that the job is done.

    ``died`` tells that the job ended its worker, twice.
    """

    job: Job
    answer: Answer | None
    last: bool = False
    died: bool = False


def available_cores() -> int:
    """Count the cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return max(1, len(os.sched_getaffinity(0)))
    return os.cpu_count() or 1


@dataclass(slots=True)
class Crew(Generic[Job, Answer]):
    """A few processes that do one kind of work; jobs may be added at any time.

    Parameters
    ----------
    work : a function that can be pickled and that raises nothing; each thing it yields is an answer
    count : int, how many processes
    prepare : a function that can be pickled, called once in each process before its first job
    """

    work: Callable[[Job], Iterable[Answer]]
    count: int
    prepare: Callable[[], None] | None = None
    _waiting: deque[_Task[Job]] = field(default_factory=deque)
    _workers: list[_Worker[Job]] = field(default_factory=list)
    _stillborn: int = 0

    def __enter__(self) -> Self:
        """Start the processes."""
        try:
            with _one_thread_each():
                for _ in range(self.count):
                    self._workers.append(self._start())
        except BaseException:
            self._end_all()
            raise
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """End the processes, whatever they are doing."""
        self._end_all()

    @property
    def busy(self) -> bool:
        """Whether any job is not done yet."""
        return bool(self._waiting) or any(worker.task is not None for worker in self._workers)

    def add(self, job: Job) -> None:
        """Take one more job; it starts as soon as a process is free."""
        self._waiting.append(_Task(job))
        self._feed()

    def answers(self, timeout_s: float | None = None) -> Iterator[Told[Job, Answer]]:
        """Wait until somebody answers, or for so long; give what came in.

        Raises
        ------
        BiteError
            When processes end again and again before they are ready for work.
        """
        lines = {worker.line: worker for worker in self._workers if worker.task is not None}
        for line in connection.wait(list(lines), timeout_s) if lines else ():
            worker = lines[line]  # type: ignore[index]  # wait gives back what it was given
            task = worker.task
            assert task is not None
            try:
                kind, answer = worker.line.recv()
            except (EOFError, OSError):
                self._replace(worker)
                if not worker.ready:
                    self._stillborn += 1
                    task.tries -= 1
                    if self._stillborn >= _STARTS:
                        raise BiteError("worker processes end as soon as they start") from None
                if task.tries < _TRIES:
                    self._waiting.appendleft(task)
                    self._feed()
                else:
                    self._feed()
                    yield Told(task.job, None, last=True, died=True)
                continue
            if kind == _READY:
                worker.ready, self._stillborn = True, 0
                continue
            if kind == _DONE:
                worker.task = None
                self._feed()
            yield Told(task.job, answer, last=kind == _DONE)

    def _feed(self) -> None:
        for worker in self._workers:
            if worker.task is None and self._waiting:
                worker.task = self._waiting.popleft()
                worker.task.tries += 1
                with suppress(OSError):  # it died while idle: found at its next answer, which never comes
                    worker.line.send(worker.task.job)

    def _start(self) -> _Worker[Job]:
        context = get_context("spawn")
        here, there = context.Pipe()
        process = context.Process(target=_serve, args=(there, self.work, self.prepare), daemon=True)
        process.start()
        there.close()
        return _Worker(process, here)

    def _replace(self, worker: _Worker[Job]) -> None:
        place = self._workers.index(worker)
        _end(worker)
        with _one_thread_each():
            self._workers[place] = self._start()

    def _end_all(self) -> None:
        for worker in self._workers:
            worker.process.terminate()
        while self._workers:
            _end(self._workers.pop())


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
    with Crew[Job, Answer](_Single(work), min(count, len(jobs))) as crew:
        for job in jobs:
            crew.add(job)
        while crew.busy:
            for told in crew.answers():
                if told.answer is not None or told.died:
                    yield told.job, told.answer


@dataclass(frozen=True, slots=True)
class _Single(Generic[Job, Answer]):
    """Work of one answer a job."""

    work: Callable[[Job], Answer]

    def __call__(self, job: Job) -> Iterator[Answer]:
        yield self.work(job)


def _end(worker: _Worker[Job]) -> None:
    worker.line.close()
    worker.process.terminate()
    worker.process.join(5.0)
    if worker.process.is_alive():
        worker.process.kill()
        worker.process.join()


def _serve(
    line: Connection, work: Callable[[Job], Iterable[Answer]], prepare: Callable[[], None] | None
) -> None:
    import signal

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent decides
    _end_with_parent()
    if prepare is not None:
        prepare()
    with suppress(EOFError, OSError):
        line.send((_READY, None))
        while True:
            for answer in work(line.recv()):
                line.send((_ANSWER, answer))
            line.send((_DONE, None))


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
