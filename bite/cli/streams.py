"""What goes where: answers to stdout, talk and progress to stderr; and streams that are closed or full.

Talk that cannot be written is dropped, since there is nowhere left to say so. An answer that cannot be
written is an error of its own: whoever asked for it must not take silence for an answer.
"""

from __future__ import annotations

import contextlib
import os
import sys
import threading
import time
from collections.abc import Iterator
from typing import Any, TextIO, cast

from bite.errors import BiteError


def print_file(text: str) -> None:
    """Write to stdout what also stands in a file, byte for byte, whatever the terminal's letters and ends."""
    sys.stdout.flush()
    sys.stdout.buffer.write(text.encode())
    sys.stdout.buffer.flush()


def tell(line: str) -> None:
    """Write a line of talk to stderr."""
    print(line, file=sys.stderr, flush=True)


def open_missing_streams() -> None:
    """Put nothing in the place of streams that were closed before the program began.

    Otherwise the next file that is opened gets the number of a stream, and what libraries print goes into it;
    and Python, which has no stream then, prints errors to stdout.
    """
    for number in range(3):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # the lowest free number: that of the stream
    if sys.stdin is None:
        sys.stdin = os.fdopen(0, encoding="utf-8", closefd=False)
    for name, number in (("stdout", 1), ("stderr", 2)):
        if getattr(sys, name) is None:
            setattr(sys, name, os.fdopen(number, "w", encoding="utf-8", closefd=False))


class OutputError(BiteError):
    """An answer that could not be printed."""


class Answers:
    """Stdout, whose failures are an `OutputError`; a reader that went away is still a BrokenPipeError."""

    def __init__(self, stream: Any) -> None:
        self._stream = stream

    def write(self, text: Any) -> int:
        """Write, as the stream does."""
        with _told_as_output():
            return int(self._stream.write(text))

    def flush(self) -> None:
        """Flush, as the stream does."""
        with _told_as_output():
            self._stream.flush()

    @property
    def buffer(self) -> Answers:
        """Bytes beneath the text."""
        return Answers(self._stream.buffer)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


class Talk:
    """Stderr, whose failures are passed over: there is nowhere left to tell them."""

    def __init__(self, stream: Any) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        """Write what can be written."""
        with contextlib.suppress(OSError, ValueError):
            self._stream.write(text)
        return len(text)

    def flush(self) -> None:
        """Flush what can be flushed."""
        with contextlib.suppress(OSError, ValueError):
            self._stream.flush()

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


@contextlib.contextmanager
def _told_as_output() -> Iterator[None]:
    try:
        yield
    except BrokenPipeError:
        raise
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or str(error)
        mend = "make room there or redirect it elsewhere; files that were written stand"
        raise OutputError(f"standard output: cannot be written ({why}); {mend}") from None


@contextlib.contextmanager
def guarded_streams() -> Iterator[None]:
    """Put `Answers` and `Talk` in the place of stdout and stderr; leave neither to fail at the very end."""
    plain = sys.stdout, sys.stderr
    sys.stdout, sys.stderr = cast(TextIO, Answers(plain[0])), cast(TextIO, Talk(plain[1]))
    try:
        yield
    finally:
        sys.stdout, sys.stderr = plain
        for stream in plain:
            try:
                stream.flush()
            except (OSError, ValueError):
                _leave_to_nothing(stream)


def _leave_to_nothing(stream: TextIO) -> None:
    """Point a stream that takes nothing at the null device, so that the interpreter's last flush works."""
    nothing = os.open(os.devnull, os.O_WRONLY)
    with contextlib.suppress(OSError, ValueError):  # it may be no file of the system's
        os.dup2(nothing, stream.fileno())
    os.close(nothing)
class Waiting:
    """Says on a terminal what takes so long, from the second second on; nothing elsewhere."""

    def __init__(self, what: str) -> None:
        self._what = what
        self._done = threading.Event()
        self._thread: threading.Thread | None = None

    def __enter__(self) -> Waiting:
        if sys.stderr.isatty():
            self._thread = threading.Thread(target=self._count, daemon=True)
            self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._done.set()
        if self._thread is not None:
            self._thread.join()

    def _count(self) -> None:
        began = time.monotonic()
        told = False
        while not self._done.wait(1.0):
            seconds = int(time.monotonic() - began)
            if seconds >= 2:
                print(f"\r{self._what}, {seconds} s ", end="", file=sys.stderr, flush=True)
                told = True
        if told:
            print("\r" + " " * (len(self._what) + 12) + "\r", end="", file=sys.stderr, flush=True)


class FrameBar:
    """A bar of frames done, with the time left, where stderr is a terminal; nothing elsewhere."""

    def __init__(self, total: int, *, stays: bool) -> None:
        self._bar: Any = None
        if sys.stderr.isatty():
            from tqdm import tqdm

            self._bar = tqdm(
                total=total or None, unit="frame", file=sys.stderr, dynamic_ncols=True, leave=stays
            )

    def count(self, done: int) -> None:
        """Count frames as done."""
        if self._bar is not None:
            self._bar.update(done)

    def tell(self, line: str) -> None:
        """Write a line of talk above the bar, or where it would stand."""
        if self._bar is not None:
            self._bar.write(line, file=sys.stderr)
        else:
            tell(line)

    def __enter__(self) -> FrameBar:
        return self

    def __exit__(self, *_: object) -> None:
        if self._bar is not None:
            self._bar.close()
