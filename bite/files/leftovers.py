"""Temporary files beside the files that they will become, and what a killed run left of them.

A name holds who writes it: a key of the machine, and the process. What is left of a process that lives no
more is removed by the next one that writes into the folder. Nothing that a living process may still write is
ever touched: process numbers mean nothing on another machine, in another container or before a restart, so
there age alone counts, and generously.
"""

from __future__ import annotations

import contextlib
import os
import re
import secrets
import time
from hashlib import sha256
from pathlib import Path

DEAD_AFTER_S = 15 * 60.0
"""Age from which a file of a process that is gone counts as left (our choice). One that only seems gone,
since two machines look alike from here, lets seconds pass between two touches of a file, and not minutes."""
STRANGE_AFTER_S = 2 * 24 * 3600.0
"""The same for a file of another machine, whose processes cannot be seen from here (our choice)."""
_NAME = re.compile(r"\.bite-(?:([0-9a-f]{8})-([1-9][0-9]{0,9})-)?[0-9a-f]{12}\.tmp")
"""Files of versions before this name held a writer count as those of another machine."""


def temporary_beside(target: Path) -> Path:
    """Give a name for a temporary file of this process in the folder of ``target``."""
    return target.with_name(f".bite-{_machine()}-{os.getpid()}-{secrets.token_hex(6)}.tmp")


_looked_at_s: dict[Path, float] = {}


def remove_leftovers_at_times(folder: Path) -> None:
    """Do `remove_leftovers` where this process has not for a while: looking through a folder takes time.

    Again and again, since a window may stay open for a day: what was too young at its first save grows
    old.
    """
    now_s = time.monotonic()
    if now_s - _looked_at_s.get(folder, float("-inf")) >= DEAD_AFTER_S:
        _looked_at_s[folder] = now_s
        remove_leftovers(folder)


def remove_leftovers(folder: Path) -> None:
    """Remove temporary files that killed processes left in a folder into which something was just written.

    Age is told by the folder's own clock, which is that of the machine that keeps it: writing into a folder
    sets its time. Where a file system does not do that, files seem younger and stay. Whatever cannot be
    looked at or removed is left: another run may be removing it at this moment.
    """
    with contextlib.suppress(OSError):
        now_s = folder.stat().st_mtime
        with os.scandir(folder) as entries:
            for entry in entries:
                named = _NAME.fullmatch(entry.name)
                if named is None:
                    continue
                with contextlib.suppress(OSError):
                    age_s = now_s - entry.stat(follow_symlinks=False).st_mtime
                    if entry.is_file(follow_symlinks=False) and age_s > _least_age_s(*named.groups()):
                        os.unlink(entry.path)


def _least_age_s(machine: str | None, process: str | None) -> float:
    """Give from which age a file of such a writer is surely left; endless while the writer lives."""
    if machine != _machine() or process is None or os.name != "posix":
        return STRANGE_AFTER_S
    return float("inf") if _lives(int(process)) else DEAD_AFTER_S


def _lives(process: int) -> bool:
    try:
        os.kill(process, 0)  # asks only; on Windows it would end the process, so it is never asked there
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):  # another user's, or a number too large to ask for
        return True
    return True


def _machine() -> str:
    """Give a key of what process numbers belong to: machine, and on Linux its start and the container."""
    import platform

    known = platform.node()
    with contextlib.suppress(OSError):
        known += f" {os.stat('/proc/self/ns/pid').st_ino}"
        known += Path("/proc/sys/kernel/random/boot_id").read_text(encoding="ascii")
    return sha256(known.encode()).hexdigest()[:8]
