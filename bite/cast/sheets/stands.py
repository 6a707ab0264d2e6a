"""Is a page or PDF on disk the one that would be written now? Its last line says what it was made from."""

from __future__ import annotations

import hashlib
from pathlib import Path

from bite.cast.sheets.page import SOURCES


def made_from(cast_json: str) -> str:
    """Give the mark of all that a page shows: cast.json holds every result's and picture's hash.

    The sources of page and PDF count too, so that what was made by other ones is written again.

    Examples
    --------
    >>> made_from("{}") == made_from("{}") != made_from("{ }")
    True
    """
    digest = hashlib.sha256(cast_json.encode())
    for source in SOURCES:
        digest.update(source.read_bytes())
    return f"made from sha256:{digest.hexdigest()}"


def last_line(mark: str, suffix: str) -> str:
    """Give a mark as a comment for the end of an HTML file or a PDF."""
    return f"<!-- {mark} -->\n" if suffix == ".html" else f"% {mark}\n"


def stands(path: Path, mark: str) -> bool:
    """Tell whether a file ends with this mark: it is whole then, too."""
    line = last_line(mark, path.suffix).encode()
    try:
        with open(path, "rb") as stream:
            stream.seek(max(0, path.stat().st_size - len(line)))
            return stream.read() == line
    except OSError:
        return False
