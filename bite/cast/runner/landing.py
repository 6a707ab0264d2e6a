"""Which bite frames of a folder have landed whole: all files there, and unchanged between two looks."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from bite.errors import BiteError
from bite.files.bundle import input_paths
from bite.files.frame import SUFFIX, read_frame_file
from bite.files.rig import read_rig
from bite.files.source import is_file

Look = tuple[tuple[str, int, int], ...]
"""Path, size and time of change of every file of a frame; size -1 where it is missing."""


@dataclass(slots=True)
class Landing:
    """What was seen at the last look, and what was told already.

    Hold one for as long as a folder is watched, and call `landed` again and again.

    Parameters
    ----------
    folder : Path
    steady_looks : int, in how many looks after the first one a frame must not have changed
    quiet_every : int, frames that were told are looked at only so often: there may be thousands of them
    """

    folder: Path
    steady_looks: int = 1
    quiet_every: int = 1
    looks: int = 0
    seen: dict[Path, Look] = field(default_factory=dict)
    steady: dict[Path, int] = field(default_factory=dict)
    told: dict[Path, Look] = field(default_factory=dict)
    named: dict[Path, tuple[Look, tuple[Path, ...]]] = field(default_factory=dict)

    def landed(self) -> list[Path]:
        """Give the frame files that are whole now and have not been given since they last changed."""
        ready = []
        self.looks += 1
        for path in frame_files(self.folder):
            quiet = path in self.told and self.told[path] == self.seen.get(path)
            if quiet and self.looks % self.quiet_every:
                continue
            look = self._look(path)
            self.steady[path] = self.steady.get(path, 0) + 1 if self.seen.get(path) == look else 0
            self.seen[path] = look
            whole = all(size > 0 for _, size, _ in look)
            if whole and self.steady[path] >= self.steady_looks and self.told.get(path) != look:
                self.told[path] = look
                ready.append(path)
        return ready

    def ask_again(self, path: Path) -> None:
        """Let a frame be given once more, though nothing changed."""
        self.told.pop(path, None)

    def waiting(self) -> dict[Path, list[str]]:
        """Give the frames that are not whole, each with the names of what is missing or empty."""
        short = {
            path: [Path(name).name for name, size, _ in look if size <= 0] for path, look in self.seen.items()
        }
        return {path: names for path, names in short.items() if names}

    def _look(self, path: Path) -> Look:
        """Look at all files that a frame needs; what it names is read again only when those texts change."""
        texts, paths = self.named.get(path, ((), (path,)))
        if not texts or texts != _look_at(name for name, _, _ in texts):
            texts, paths = _named(path)
            self.named[path] = texts, paths
        return _look_at(paths)


def frame_files(folder: Path) -> Iterator[Path]:
    """Give the frame files in a folder and below it, in order; hidden folders and links to folders apart."""
    for place, folders, files in os.walk(folder):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        for name in sorted(files):
            if name.endswith(SUFFIX) and not name.startswith("."):
                yield Path(place, name)


def _named(path: Path) -> tuple[Look, tuple[Path, ...]]:
    """Read which files a frame needs; give the look of the texts that say so, and the files.

    Those that it names only once it can be read come later.
    """
    texts = [path]
    before = _look_at(texts)
    paths = [path]
    try:
        file = read_frame_file(path)
        rig_path = file.solved.rig if file.solved is not None else None
        if rig_path is not None:
            texts.append(rig_path)
            before = _look_at(texts)
        rig = read_rig(rig_path) if rig_path is not None and is_file(rig_path) else None
        paths += [*input_paths(file, rig), *([rig_path] if rig_path is not None else [])]
    except BiteError:
        pass  # half a file, or a bad one: told by its check when it stays so
    return before, tuple(dict.fromkeys(paths))


def _look_at(paths: Iterator[str] | list[Path] | tuple[Path, ...]) -> Look:
    return tuple((str(path), *_size_and_time(path)) for path in paths)


def _size_and_time(path: str | Path) -> tuple[int, int]:
    try:
        info = os.stat(path)
    except (OSError, ValueError):
        return -1, 0
    return info.st_size, info.st_mtime_ns
