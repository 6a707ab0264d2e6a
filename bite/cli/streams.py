"""What goes where: answers to stdout, talk and progress to stderr."""

from __future__ import annotations

import sys
from typing import Any


def print_file(text: str) -> None:
    """Write to stdout what also stands in a file, byte for byte, whatever the terminal's letters and ends."""
    sys.stdout.flush()
    sys.stdout.buffer.write(text.encode())
    sys.stdout.buffer.flush()


def tell(line: str) -> None:
    """Write a line of talk to stderr."""
    print(line, file=sys.stderr, flush=True)


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
