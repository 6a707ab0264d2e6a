"""Clicks that could not go where they belong: kept under another name, and found at the next opening."""

from __future__ import annotations

import hashlib
import os
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from bite.annotate.state.clicks import ViewClicks, clicks_of_file
from bite.errors import InputError
from bite.files.corners import Corners, read_corners, write_corners

_MOST = 1000
"""Copies kept beside one picture: more are a fault of another kind (our choice)."""


@dataclass(frozen=True, slots=True)
class Kept:
    """Clicks found under another name.

    Parameters
    ----------
    path : Path
    clicks : ViewClicks
    saved : str, when they were written, as the file states it
    """

    path: Path
    clicks: ViewClicks
    saved: str


def keep_beside(path: Path, content: Corners) -> Path | None:
    """Write clicks under another name than their own; None where no place takes them.

    Beside the corner file where that folder can be written, else in the home folder, else where temporary
    files go; there the name also tells, by a hash, which corner file is meant. Where such a copy holds the
    same clicks already, no second one is made.

    Parameters
    ----------
    path : Path, the corner file that they belong to
    content : Corners
    """
    wanted = clicks_of_file(content)
    for folder in _folders(path):
        for number in range(1, _MOST):
            beside = folder / _name(path, folder, number)
            try:
                if beside.exists():
                    if _clicks_in(beside) == wanted:
                        return beside
                    continue
                write_corners(beside, replace(content, path=beside))
            except (InputError, OSError, RuntimeError):
                break
            return beside
    return None


def kept_copies(path: Path, belongs: Callable[[Corners], bool]) -> tuple[Kept, ...]:
    """Find what ``keep_beside`` wrote for a corner file, latest first; what cannot be read is passed over.

    Parameters
    ----------
    path : Path, the corner file
    belongs : function that tells whether corners were clicked in this picture
    """
    found: list[Kept] = []
    for folder in _folders(path):
        for number in range(1, _MOST):
            beside = folder / _name(path, folder, number)
            if not os.path.lexists(beside):
                break
            try:
                corners = read_corners(beside)
            except InputError:
                continue
            clicks = clicks_of_file(corners)
            if belongs(corners) and clicks.done:
                found.append(Kept(beside, clicks, corners.saved))
    # stamps are in UTC and in one form, so that their letters sort as their times do
    return tuple(sorted(found, key=lambda kept: kept.saved, reverse=True))


def put_away(kept: Kept) -> Path | None:
    """Give a copy a name that is not looked for again; None where that cannot be done."""
    for number in range(1, _MOST):
        away = kept.path.with_name(f"{kept.path.name}.aside-{number}")
        try:
            if away.exists():
                continue
            kept.path.rename(away)
        except OSError:
            return None
        return away
    return None


def _folders(path: Path) -> Iterator[Path]:
    yield path.parent
    for folder in ("~", tempfile.gettempdir()):
        try:
            yield Path(folder).expanduser()
        except RuntimeError:  # no home folder
            continue


def _name(path: Path, folder: Path, number: int) -> str:
    if folder == path.parent:
        return f"{path.stem}.unsaved-{number}{path.suffix}"
    which = hashlib.sha256(os.path.abspath(path).encode("utf-8", "surrogateescape")).hexdigest()[:8]
    return f"{path.stem}.unsaved-{which}-{number}{path.suffix}"


def _clicks_in(path: Path) -> ViewClicks | None:
    try:
        return clicks_of_file(read_corners(path))
    except InputError:
        return None
