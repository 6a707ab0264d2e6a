"""Writing a file so that it is either there whole or not there at all.

What a killed run left of its temporary files, the next one that writes into the folder removes (`leftovers`).
"""

from __future__ import annotations

import contextlib
import os
import stat
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

from bite.errors import InputError
from bite.files.leftovers import remove_leftovers_at_times, temporary_beside


def write_bytes(path: str | Path, data: bytes) -> None:
    """Write a file in one step: a temporary file in its folder, flushed to disk, renamed over the old one.

    A link is written through; the permissions of a file that is replaced are kept.

    Raises
    ------
    InputError
        When the folder is missing or cannot be written. The old file is then untouched and no temporary file
        is left.
    """
    write_together({Path(path): data})


def write_pieces(path: str | Path, pieces: Iterable[str]) -> None:
    """Write UTF-8 text in one step that comes in pieces, so that it never stands in memory whole.

    Raises
    ------
    InputError
        As `write_bytes`.
    """
    path = Path(path)
    _check_target(path)
    target = Path(os.path.realpath(path))
    temporary = temporary_beside(target)
    try:
        with _told_as_input(path):
            handle = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666)
        with os.fdopen(handle, "w", encoding="utf-8", newline="") as stream:
            for piece in pieces:
                with _told_as_input(path):
                    stream.write(piece)
            with _told_as_input(path):
                stream.flush()
                os.fsync(stream.fileno())
        with _told_as_input(path):
            os.replace(temporary, target)
    finally:
        with contextlib.suppress(OSError, ValueError):
            temporary.unlink(missing_ok=True)
    _flush_folder(target.parent)
    remove_leftovers_at_times(target.parent)


def write_together(files: Mapping[Path, bytes]) -> None:
    """Write files that belong together: all are on disk whole before the first takes its name.

    Raises
    ------
    InputError
        When one of them cannot be written. Old files are then untouched and no temporary file is left.
    """
    staged: list[tuple[Path, Path, Path]] = []
    try:
        for path in files:
            _check_target(path)
        for path, data in files.items():
            target = Path(os.path.realpath(path))
            temporary = temporary_beside(target)
            staged.append((path, temporary, target))
            with _told_as_input(path):
                _stage(temporary, data, target)
        for path, temporary, target in staged:
            with _told_as_input(path):
                os.replace(temporary, target)
    finally:
        for _, temporary, _ in staged:
            with contextlib.suppress(OSError, ValueError):
                temporary.unlink(missing_ok=True)
    for folder in {target.parent for _, _, target in staged}:
        _flush_folder(folder)
        remove_leftovers_at_times(folder)


def _check_target(path: Path) -> None:
    with _told_as_input(path):
        target = Path(os.path.realpath(path))
        if not target.parent.is_dir():
            what = f"there is no folder {target.parent}"
            raise InputError(path, "", what, "make the folder or name another one")
        if target.is_dir():
            raise InputError(path, "", "is a folder, needed a file name", "name a file inside it")


def _stage(temporary: Path, data: bytes, target: Path) -> None:
    handle = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666)
    with os.fdopen(handle, "wb") as stream:
        stream.write(data)
        stream.flush()
        os.fsync(stream.fileno())
    if target.exists():
        os.chmod(temporary, stat.S_IMODE(target.stat().st_mode))


@contextlib.contextmanager
def _told_as_input(path: Path) -> Iterator[None]:
    try:
        yield
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        what = f"cannot be written ({reason})"
        mend = "check that the folder may be written and has room, or name another one"
        raise InputError(path, "", what, mend) from None


def write_text(path: str | Path, text: str) -> None:
    """Write UTF-8 text in one step, line ends as given; see `write_bytes`."""
    write_bytes(path, text.encode("utf-8"))


def _flush_folder(folder: Path) -> None:
    # the rename itself lives in the folder; systems that cannot open folders have nothing to flush here
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
