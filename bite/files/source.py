"""Bytes and text of a file on disk, its hash, and the paths that a file names."""

from __future__ import annotations

import hashlib
import os
import re
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from pathlib import Path

from bite.errors import InputError

_WAIT = "wait until it is written, then try again"
_READ: ContextVar[dict[str, str] | None] = ContextVar("hashes of what is read", default=None)


@dataclass(frozen=True, slots=True)
class Hashes:
    """Hashes of files as they were read, by absolute path."""

    by_path: dict[str, str]

    def of(self, path: str | Path) -> str:
        """Give the hash of a file that was read, as "sha256:<hex>"."""
        return self.by_path[os.path.abspath(path)]


TEXT_LIMIT_BYTES = 4_000_000
"""Larger texts are no file of this kind, and would be held in memory whole (our choice)."""
DATA_LIMIT_BYTES = 1_000_000_000
"""A gigabyte: far above any picture, map or mesh of a frame (our choice)."""


def is_file(path: str | Path) -> bool:
    """Tell whether there is a file; a name that cannot be one is none, where pathlib raises."""
    return os.path.isfile(path)


def is_folder(path: str | Path) -> bool:
    """Tell whether there is a folder; a name that cannot be one is none, where pathlib raises."""
    return os.path.isdir(path)


def stands(path: str | Path) -> bool:
    """Tell whether there is anything of that name, a link to nothing included."""
    return os.path.lexists(path)


def read_bytes(path: str | Path, *, limit_bytes: int = DATA_LIMIT_BYTES) -> bytes:
    """Read a whole regular file.

    Raises
    ------
    InputError
        When the file is missing, empty, a folder or a device, unreadable, or larger than ``limit_bytes``.
    """
    try:
        # before opening: to open a pipe is to wait for a writer
        _check_kind(path, os.stat(path), limit_bytes)
        with open(path, "rb") as stream:
            info = os.fstat(stream.fileno())
            _check_kind(path, info, limit_bytes)
            # no more than it held: asking for the limit would set aside a gigabyte each time
            data = stream.read(info.st_size + 1)
            after = os.fstat(stream.fileno())
    except FileNotFoundError:
        raise InputError(path, "", "no such file", "check the name and the folder") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(path, "", f"cannot be read ({reason})", "check its name and permissions") from None
    if len(data) > info.st_size:
        raise InputError(path, "", "grew while it was read", _WAIT)
    if len(data) < info.st_size or (after.st_size, after.st_mtime_ns) != (info.st_size, info.st_mtime_ns):
        raise InputError(path, "", "changed while it was read", _WAIT)
    if not data:
        raise InputError(path, "", "is empty", "export or copy it again")
    _remember(path, data)
    return data


def _check_kind(path: str | Path, info: os.stat_result, limit_bytes: int) -> None:
    if stat.S_ISDIR(info.st_mode):
        raise InputError(path, "", "is a folder, needed a file", "name the file inside it")
    if not stat.S_ISREG(info.st_mode):
        raise InputError(path, "", "is not a regular file", "copy its content into a file and name that")
    if info.st_size > limit_bytes:
        what = f"holds {info.st_size / 1e6:.0f} MB, needed at most {limit_bytes / 1e6:.0f} MB"
        raise InputError(path, "", what, "check that it is the right file")


def _remember(path: str | Path, data: bytes) -> None:
    seen = _READ.get()
    if seen is None:
        return
    digest = sha256_of(data)
    if seen.setdefault(os.path.abspath(path), digest) != digest:
        raise InputError(path, "", "changed between two readings of it", _WAIT)


@contextmanager
def hashes_of_what_is_read() -> Iterator[Hashes]:
    """Collect the hash of each file that is read meanwhile: of the very bytes that were handed on.

    A file that is read twice and holds something else the second time is refused by `read_bytes`. Another
    thread takes part if it runs in a copy of this context (`contextvars.copy_context`).
    """
    hashes = Hashes({})
    token = _READ.set(hashes.by_path)
    try:
        yield hashes
    finally:
        _READ.reset(token)


def read_text(path: str | Path, *, limit_bytes: int = TEXT_LIMIT_BYTES) -> str:
    """Read a UTF-8 text file; a byte order mark is dropped and CRLF or CR line ends become LF.

    Raises
    ------
    InputError
        As `read_bytes`, and when the bytes are not UTF-8.
    """
    data = read_bytes(path, limit_bytes=limit_bytes)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise InputError(path, f"line {line}", "not UTF-8 text", "save the file as UTF-8") from None
    if not text.strip():
        raise InputError(path, "", "holds no text", "export or copy it again")
    return text.replace("\r\n", "\n").replace("\r", "\n")


def sha256_of(data: bytes) -> str:
    """Give the hash of some bytes as "sha256:<hex>".

    Examples
    --------
    >>> sha256_of(b"")[:19]
    'sha256:e3b0c44298fc'
    """
    return "sha256:" + hashlib.sha256(data).hexdigest()


def hash_file(path: str | Path) -> str:
    """Give the hash of a file's bytes as "sha256:<hex>"."""
    return sha256_of(read_bytes(path))


def path_beside(owner: Path, where: str, written: str) -> Path:
    """Turn a path written inside the file ``owner``, relative to its folder, into an absolute one.

    Raises
    ------
    InputError
        For an empty path, control characters, a web address, backslashes, or a home shortcut.
    """
    mend = "write a file name or path relative to this file, with / between folders"
    if not written.strip():
        raise InputError(owner, where, "empty path", mend)
    if any(ord(c) < 32 or ord(c) == 127 or 0xD800 <= ord(c) < 0xE000 for c in written):
        raise InputError(owner, where, f"path {written[:80]!r} holds control characters", mend)
    if re.match(r"[A-Za-z][A-Za-z0-9+.-]+:", written):
        raise InputError(owner, where, f"{written[:80]!r} is an address, needed a path on disk", mend)
    drive = os.name != "nt" and re.match(r"[A-Za-z]:", written)
    if "\\" in written or drive or written.startswith("~"):
        raise InputError(owner, where, f"path {written[:80]!r} works on one computer only", mend)
    if len(written) > 1000:
        raise InputError(owner, where, f"path of {len(written)} characters, needed at most 1000", mend)
    path = Path(os.path.abspath(owner)).parent / written
    # ".." behind a linked folder means the parent of the link's target: leave that to the file system
    return Path(os.path.realpath(path.parent), path.name) if ".." in path.parts else path


def key_beside(owner: Path, path: Path) -> str:
    """Name an input as seen from the folder of ``owner``, with / between folders: the key of its hash."""
    folder = os.path.realpath(os.path.abspath(owner.parent))
    target = os.path.join(os.path.realpath(os.path.abspath(path.parent)), path.name)
    try:
        return Path(os.path.relpath(target, folder)).as_posix()
    except ValueError:  # on another drive
        return Path(target).as_posix()
