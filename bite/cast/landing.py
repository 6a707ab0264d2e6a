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

Look = tuple[tuple[str, int, int], ...]
"""Path, size and time of change of every file of a frame; size -1 where it is missing."""


@dataclass(slots=True)
class Landing:
    """What was seen at the last look, and what was told already.

    Hold one for as long as a folder is watched, and call `landed` again and again.
    """

    folder: Path
    seen: dict[Path, Look] = field(default_factory=dict)
    told: dict[Path, Look] = field(default_factory=dict)

    def landed(self) -> list[Path]:
        """Give the frame files that are whole now and have not been given since they last changed."""
        ready = []
        for path in frame_files(self.folder):
            look = _look(path)
            steady = self.seen.get(path) == look
            self.seen[path] = look
            whole = all(size > 0 for _, size, _ in look)
            if steady and whole and self.told.get(path) != look:
                self.told[path] = look
                ready.append(path)
        return ready

    def waiting(self) -> dict[Path, list[str]]:
        """Give the frames that are not whole, each with the names of what is missing or empty."""
        short = {
            path: [Path(name).name for name, size, _ in look if size <= 0] for path, look in self.seen.items()
        }
        return {path: names for path, names in short.items() if names}


def frame_files(folder: Path) -> Iterator[Path]:
    """Give the frame files in a folder and below it, in order; hidden folders and links to folders apart."""
    for place, folders, files in os.walk(folder):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        for name in sorted(files):
            if name.endswith(SUFFIX) and not name.startswith("."):
                yield Path(place, name)


def _look(path: Path) -> Look:
    """Look at all files that a frame needs; those that it names only once it can be read come later."""
    paths = [path]
    try:
        file = read_frame_file(path)
        entry = file.solved
        rig_path = entry.rig if entry is not None else None
        rig = read_rig(rig_path) if rig_path is not None and rig_path.is_file() else None
        paths += [*input_paths(file, rig), *([rig_path] if rig_path is not None else [])]
    except BiteError:
        pass  # half a file, or a bad one: told by its check when it stays so
    return tuple((str(p), *_size_and_time(p)) for p in dict.fromkeys(paths))


def _size_and_time(path: Path) -> tuple[int, int]:
    try:
        info = os.stat(path)
    except (OSError, ValueError):
        return -1, 0
    return info.st_size, info.st_mtime_ns
