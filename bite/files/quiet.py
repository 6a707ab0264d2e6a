"""Keeping decoders quiet: what they would print about a file stands in one line of our own."""

from __future__ import annotations

import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import ModuleType

_ONE_AT_A_TIME = threading.Lock()


@contextmanager
def quiet_opencv(cv2: ModuleType) -> Iterator[None]:
    """Keep OpenCV, and the libraries it decodes with, from writing lines of their own to stderr.

    libpng, libtiff and ffmpeg write from C, past Python's streams, so that the stream itself is led away
    meanwhile: one decoder at a time, or the second one would take the first one's nothing for stderr.
    """
    # OpenCV 4 has these at the top, 5 in a module of their own
    home = cv2 if hasattr(cv2, "setLogLevel") else cv2.utils.logging
    with _ONE_AT_A_TIME, _nothing_on_stderr():
        level = home.getLogLevel()
        home.setLogLevel(0)
        try:
            yield
        finally:
            home.setLogLevel(level)


@contextmanager
def _nothing_on_stderr() -> Iterator[None]:
    try:
        kept = os.dup(2)
    except OSError:  # there is no stderr
        yield
        return
    nothing = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nothing, 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(nothing)
        os.close(kept)
