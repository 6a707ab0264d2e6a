"""Which drawing made a picture: known by the code that draws, so that none has to count versions up."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from functools import cache
from pathlib import Path

import bite


@cache
def drawing_of(*places: str) -> str:
    """Give twelve letters that change with the code that draws.

    Parameters
    ----------
    places : str, modules (``check/words.py``) or rooms (``plots``) of bite, as paths within it

    Returns
    -------
    str : of the version and the text of these files, whatever their line ends
    """
    root = Path(bite.__file__).parent
    found = hashlib.sha256(bite.__version__.encode())
    for path in sorted(_sources(root, places)):
        try:
            text = path.read_bytes().replace(b"\r\n", b"\n")
        except OSError:
            continue
        found.update(path.relative_to(root).as_posix().encode() + b"\0" + text)
    return found.hexdigest()[:12]


def _sources(root: Path, places: Iterable[str]) -> set[Path]:
    return {
        path
        for place in places
        for path in ((root / place).glob("*.py") if (root / place).is_dir() else [root / place])
    }
