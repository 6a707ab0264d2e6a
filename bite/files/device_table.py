"""Writing a measured device into a device or cast file: its measured keys change, every other byte stays."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Sequence
from pathlib import Path

from bite.errors import InputError
from bite.files.atomic import write_text
from bite.files.entries import entry_at, parsed
from bite.files.source import read_bytes, stands

MEASURED_KEYS = ("smoothing_px", "smoothing_sd_px", "noise_mm", "correlation_px", "filter")
NOTE = "# bite device: "
"""How the comment line starts that says what a table was measured from; a new measurement replaces it."""


def table_text(device: str, note: str, lines: Sequence[str]) -> str:
    """Give a whole [device.NAME] table.

    Parameters
    ----------
    device : str
    note : str, what it was measured from
    lines : sequence of str, TOML lines of `MEASURED_KEYS`
    """
    return "\n".join((_header(device), NOTE + note, *lines)) + "\n"


def write_device_table(path: Path, device: str, note: str, lines: Sequence[str]) -> None:
    """Create a device file, or put measured values into the table of a device or cast file, in one step.

    Other keys of that table, such as the enamel bias, stay, and so does everything else in the file.

    Raises
    ------
    InputError
        When the table is not written as lines under its header, or the file cannot be read or written.
    """
    if not stands(path):
        write_text(path, table_text(device, note, lines))
        return
    try:
        text = read_bytes(path, limit_bytes=1_000_000).decode("utf-8")
    except UnicodeDecodeError:
        raise InputError(path, "", "not UTF-8 text", "save the file as UTF-8") from None
    write_text(path, edited(path, text, device, note, lines))


def edited(path: Path, text: str, device: str, note: str, lines: Sequence[str]) -> str:
    r"""Give the text of a device or cast file with other measured values for one device.

    Examples
    --------
    >>> old = "[device.a]\nsmoothing_px = 2.0\nenamel_bias_mm = 0.1\n"
    >>> print(edited(Path("a.device.toml"), old, "a", "from c1", ["smoothing_px = 1.5"]), end="")
    [device.a]
    # bite device: from c1
    smoothing_px = 1.5
    enamel_bias_mm = 0.1
    """
    table = parsed(text)
    if table is None:
        raise InputError(path, "", "not TOML", "correct the file, or name a new one with --write")
    rows = text.splitlines(keepends=True)
    end_of_line = "\r\n" if "\r\n" in text else "\n"
    devices = table.get("device", {})
    if not (isinstance(devices, dict) and device in devices):
        if "device" not in table and "format" not in table and table:
            what = "holds the keys of one device without a header"
            raise InputError(path, "", what, f"write {_header(device)} above them, or name a new file")
        gap = "" if not text else end_of_line if text.endswith("\n") else 2 * end_of_line
        new = text + gap + table_text(device, note, lines).replace("\n", end_of_line)
        _check(path, text, new, device, lines)
        return new
    start = _header_row(path, rows, device)
    kept: list[str] = []
    row = start + 1
    while row < len(rows):
        entry, key = entry_at(rows, row)
        if key is None and entry[0].lstrip().startswith("["):
            break
        if key not in MEASURED_KEYS and not entry[0].startswith(NOTE):
            kept += entry
        row += len(entry)
    if kept and not kept[-1].endswith("\n"):
        kept[-1] += end_of_line
    head = rows[start].rstrip("\r\n") + end_of_line
    body = [line + end_of_line for line in (NOTE + note, *lines)]
    new = "".join([*rows[:start], head, *body, *kept, *rows[row:]])
    _check(path, text, new, device, lines)
    return new


def _header(device: str) -> str:
    plain = device.isascii() and device.replace("-", "").replace("_", "").isalnum()
    return f"[device.{device if plain else json.dumps(device, ensure_ascii=False)}]"


def _header_row(path: Path, rows: list[str], device: str) -> int:
    for number, row in enumerate(rows):
        # a line that looks like the header inside a text of several lines leaves a text that does not parse
        if (
            row.lstrip("\ufeff \t").startswith("[")
            and parsed(row) == {"device": {device: {}}}
            and parsed("".join(rows[:number])) is not None
        ):
            return number
    what = f"the table is not written as lines under {_header(device)}"
    raise InputError(path, "device", what, "write it so, or copy the printed lines into the file by hand")


def _check(path: Path, old: str, new: str, device: str, lines: Sequence[str]) -> None:
    """Hold the new text against the old: the same tables, but for the measured values."""
    before, after = parsed(old), parsed(new)
    if before is not None and after is not None:
        devices = before.get("device", {})
        other = {k: v for k, v in devices.get(device, {}).items() if k not in MEASURED_KEYS}
        wanted = {**other, **tomllib.loads("\n".join(lines))}
        if after == {**before, "device": {**devices, device: wanted}}:
            return
    what = "the table could not be edited without changing something else"
    raise InputError(path, "device", what, "copy the printed lines into the file by hand")
