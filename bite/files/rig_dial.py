"""Writing a measured dial into a rig file: two or three keys of [dial] change, every other byte stays."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from pathlib import Path

from bite.errors import InputError
from bite.files.atomic import write_bytes
from bite.files.entries import entry_at, parsed
from bite.files.source import read_bytes

MEASURED_KEYS = ("mm_per_unit", "mm_per_unit_sd", "travel")
_HEADER = re.compile(r"[ \t]*\[[ \t]*(?:dial|\"dial\"|'dial')[ \t]*\][ \t]*(?:#.*)?\Z")


def write_dial(path: Path, lines: Sequence[str]) -> None:
    """Put measured values into the [dial] table of a rig file, in one step.

    Parameters
    ----------
    path : Path
    lines : sequence of str, TOML lines of ``mm_per_unit``, ``mm_per_unit_sd`` or ``travel``; they take the
    place of
        whatever of these the table holds

    Raises
    ------
    InputError
        When the table is not written as lines under [dial], or the file cannot be written.
    """
    data = read_bytes(path, limit_bytes=1_000_000)
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError:
        raise InputError(path, "", "not UTF-8 text", "save the file as UTF-8") from None
    write_bytes(path, edited(path, text, lines).encode("utf-8"))


def edited(path: Path, text: str, lines: Sequence[str]) -> str:
    r"""Give the text of a rig file with other measured values in its [dial] table.

    Examples
    --------
    >>> edited(Path("rig.toml"), "[dial]\nmm_per_unit = 3.0  # guess\nstep = 0.01\n", ["mm_per_unit = 3.2"])
    '[dial]\nmm_per_unit = 3.2  # guess\nstep = 0.01\n'
    """
    rows = text.splitlines(keepends=True)
    start = _header_row(path, rows)
    end_of_line = "\r\n" if rows[start].endswith("\r\n") else "\n"
    kept: list[str] = []
    place: int | None = None
    tail = ""
    row = start + 1
    while row < len(rows):
        entry, key = entry_at(rows, row)
        if key is None and entry[0].lstrip().startswith("["):
            break
        if key in MEASURED_KEYS:
            comments = _comments(entry)
            if place is None:
                place = len(kept)
                tail = comments.pop(0) if comments and len(entry) == 1 else ""
            kept += [comment.lstrip() + end_of_line for comment in comments]
        else:
            kept += entry
        row += len(entry)
    if place is None:
        place = max((k + 1 for k, kept_row in enumerate(kept) if kept_row.strip()), default=0)
    if place and not kept[place - 1].endswith("\n"):
        kept[place - 1] += end_of_line
    if not rows[start].endswith("\n"):
        rows[start] += end_of_line
    new = [line + (tail if k == 0 else "") + end_of_line for k, line in enumerate(lines)]
    out = "".join([*rows[: start + 1], *kept[:place], *new, *kept[place:], *rows[row:]])
    _check(path, text, out, lines)
    return out


def _header_row(path: Path, rows: list[str]) -> int:
    for number, row in enumerate(rows):
        # a line that looks like the header inside a text of several lines leaves a text that does not parse
        if _HEADER.match(row.rstrip("\r\n").lstrip("\ufeff")) and parsed("".join(rows[:number])) is not None:
            return number
    what = "the dial is not written as lines under a [dial] header"
    raise InputError(path, "[dial]", what, "write it so, or copy the printed lines into the file by hand")


def _comments(entry: list[str]) -> list[str]:
    """Give what follows a value on its lines, spaces before it included; numbers hold no # of their own."""
    found = (re.search(r"[ \t]*#.*", row.rstrip("\r\n")) for row in entry)
    return [comment.group() for comment in found if comment]


def _check(path: Path, old: str, new: str, lines: Sequence[str]) -> None:
    """Hold the new text against the old: the same tables, but for the measured values."""
    before, after = parsed(old), parsed(new)
    wanted = tomllib.loads("\n".join(lines))
    if before is not None and after is not None:
        dial = {key: value for key, value in before["dial"].items() if key not in MEASURED_KEYS}
        if after == {**before, "dial": {**dial, **wanted}}:
            return
    what = "the table could not be edited without changing something else"
    raise InputError(path, "[dial]", what, "copy the printed lines into the file by hand")
