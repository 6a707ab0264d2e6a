"""What a person meant by FRAME: one helpful line where it is a folder, a picture or nothing at all."""

from __future__ import annotations

from pathlib import Path

from bite.errors import InputError
from bite.files.source import is_folder, stands

_PICTURES = frozenset({".png", ".jpg", ".jpeg", ".tif", ".tiff", ".bmp", ".webp", ".exr", ".dng", ".heic"})
_MOST_NAMES = 3
"""Names told before the list is cut short (our choice)."""


def require_frame_file(path: str | Path) -> Path:
    """Give the path where it can be a bite frame file.

    Raises
    ------
    InputError
        For a folder, a picture, or a name that does not end as bite frame files do; the line names the frame
        files that lie there.
    """
    from bite.files.frame import SUFFIX

    path = Path(path)
    if is_folder(path):
        what = "is a folder, needed a bite frame file"
        raise InputError(path, "", what, _frames_in(path) or f"name a file ending in {SUFFIX}")
    if path.name.endswith(SUFFIX):
        return path
    if path.suffix.lower() in _PICTURES:
        mend = _frames_in(path.parent) or f"write one beside it, with bite new {path}"
        raise InputError(path, "", "is a picture, needed the bite frame file that names it", mend)
    what = f"name does not end in {SUFFIX}"
    if not stands(path):
        what = f"no such file, and its {what}"
    raise InputError(path, "", what, _frames_in(path.parent) or f"name a file ending in {SUFFIX}")


def _frames_in(folder: Path) -> str:
    """Say which frame files lie in a folder or one below it; empty where none do."""
    from bite.files.frame import SUFFIX

    try:
        found = sorted(folder.glob(f"*{SUFFIX}")) or sorted(folder.glob(f"*/*{SUFFIX}"))
    except OSError:
        return ""
    if not found:
        return ""
    names = ", ".join(str(path) for path in found[:_MOST_NAMES])
    more = len(found) - _MOST_NAMES
    return f"name {names}" + (f" or one of {more} more" if more > 0 else "")
