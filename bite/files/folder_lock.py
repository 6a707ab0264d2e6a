"""One process at a time where a file is read, changed and written back: a lock on its folder.

The folder itself is locked (flock), so that no lock file is left, and the system lets go of the lock when a
process ends in whatever way. Where the system has no such lock (Windows, some network disks) nothing is
locked: a step that two runs write at the same instant can then be lost, as docs/commands.md says.
"""

from __future__ import annotations

import contextlib
import errno
import os
import time
from collections.abc import Iterator
from pathlib import Path

from bite.errors import InputError

WAIT_S = 60.0
"""How long another run is waited for; what it does meanwhile takes a second or two (our choice)."""
_BETWEEN_S = 0.02
"""Between two looks at a lock that another holds (our choice)."""
_HELD = (errno.EAGAIN, errno.EACCES, errno.EWOULDBLOCK)


@contextlib.contextmanager
def locked(folder: Path, *, wait_s: float = WAIT_S) -> Iterator[None]:
    """Hold the folder's lock.

    Raises
    ------
    InputError
        When another process holds it for longer than ``wait_s``.
    """
    handle = _opened(folder)
    if handle is None:
        yield
        return
    try:
        _take(handle, folder, wait_s)
        yield
    finally:
        os.close(handle)  # and with it the lock


def _opened(folder: Path) -> int | None:
    if os.name != "posix":
        return None
    with contextlib.suppress(OSError):
        return os.open(folder, os.O_RDONLY)
    return None


def _take(handle: int, folder: Path, wait_s: float) -> None:
    import fcntl

    waited_s = 0.0
    while True:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            return
        except OSError as error:
            if error.errno not in _HELD:
                return  # this disk has no locks
        if waited_s >= wait_s:
            what = f"another run has been writing its history for {wait_s:.0f} s"
            raise InputError(folder, "", what, "wait until it has ended, or end it, then try again")
        time.sleep(_BETWEEN_S)
        waited_s += _BETWEEN_S
