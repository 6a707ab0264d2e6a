"""Which files a cast means: all that its patterns find, and a line for each that cannot be a frame."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from bite.cast.content import FailedFrame, FailureKind
from bite.cast.runner.one_frame import failed, told_from
from bite.errors import BiteError, InputError
from bite.files.cast import CastFile
from bite.files.frame import SUFFIX, read_frame_file
from bite.files.source import is_folder, key_beside
from bite.files.tables import shown


@dataclass(frozen=True, slots=True)
class Listed:
    """Frame files to be done, in the order of their paths, and what cannot be done."""

    frames: tuple[tuple[Path, str], ...]
    """path, and how it is told"""
    failures: tuple[FailedFrame, ...]


def list_frames(cast: CastFile, *, one_folder: bool) -> Listed:
    """Find the frames of a cast; never stops at a bad one.

    A name that stands twice is refused from the second file on, in the order of paths: results and links go
    by name. Frame files that cannot be read are refused here.

    Parameters
    ----------
    cast : CastFile
    one_folder : bool, whether all results go into one folder
    """
    found: set[Path] = set()
    failures: list[FailedFrame] = []
    for pattern in cast.frames:
        try:
            matches = set(cast.path.parent.glob(pattern))
        except (OSError, ValueError, NotImplementedError, RuntimeError, IndexError) as error:
            failures.append(_bad_pattern(cast, pattern, f"cannot be used ({error})"))
            continue
        if not matches:
            failures.append(_bad_pattern(cast, pattern, "finds no file"))
        found |= matches
    frames: list[tuple[Path, str]] = []
    taken: dict[str, str] = {}
    for path in sorted(found):
        told = key_beside(cast.path, path)
        if not path.name.endswith(SUFFIX) or path.name == SUFFIX:
            if is_folder(path):
                continue
            line = f"{told}: is no bite frame file; end the pattern in {SUFFIX}"
            failures.append(failed(told, FailureKind.INPUT, line))
            continue
        try:
            file = read_frame_file(path)
        except BiteError as error:
            line = told_from(cast.path.parent, str(error))
            failures.append(failed(told, FailureKind.INPUT, line))
            continue
        first = taken.setdefault(file.name.casefold(), told)
        if first != told:
            why = "both results would have one name" if one_folder else "results are known by it"
            what = f"{shown(file.name)} is also the name of {shown(first)}, and {why}"
            error_told = InputError(told, "name", what, "rename one")
            failures.append(failed(told, FailureKind.INPUT, str(error_told), file))
            continue
        frames.append((path, told))
    return Listed(tuple(frames), tuple(failures))


def _bad_pattern(cast: CastFile, pattern: str, what: str) -> FailedFrame:
    told = f"{cast.path.name}: frames: {shown(pattern)} {what}; patterns start at the cast file's folder"
    return failed(shown(pattern, quote=False), FailureKind.INPUT, told)
