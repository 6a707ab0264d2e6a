"""The part of OpenCV's FileStorage format that cameras use: numbers, strings, matrices; YAML or JSON.

Read here and not by OpenCV, whose reader was made for files that it wrote itself: it accepts a doubled key,
and what it does with a damaged file differs between versions.
"""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np

from bite.errors import InputError
from bite.files.tables import parse_json, shown
from bite.geometry.rigid import Array

_MEND = "write the file again with cv2.FileStorage, as YAML or JSON"


def read_filestorage(path: Path, text: str) -> dict[str, object]:
    """Read the top-level entries of FileStorage text.

    Returns
    -------
    entries : dict
        A number as an array of shape (), a matrix as an array of shape (rows, columns), both float64;
        anything else as a string.

    Raises
    ------
    InputError
        For text that is neither, a doubled key, and a matrix whose count of values is not rows times columns.
    """
    start = text.lstrip()
    if start.startswith("{"):
        return {key: _from_json(path, key, value) for key, value in parse_json(path, text).items()}
    if start.startswith("<"):
        raise InputError(
            path, "", "XML, needed YAML or JSON", "give the file a name ending .yaml when it is written"
        )
    entries: dict[str, object] = {}
    for line, key, block in _blocks(path, text):
        if key in entries:
            raise InputError(path, f"line {line}", f"key {shown(key)} stands there twice", "keep one of them")
        entries[key] = _from_yaml(path, f"line {line}, {shown(key, quote=False)}", block)
    return entries


def _blocks(path: Path, text: str) -> list[tuple[int, str, str]]:
    """Split YAML into top-level entries: line number, key, and all text up to the next one."""
    blocks: list[tuple[int, str, list[str]]] = []
    for number, line in enumerate(text.split("\n"), 1):
        bare = re.sub(r"(^|\s)#.*", "", line) if "#" in line else line
        if not bare.strip() or bare.startswith("%") or re.fullmatch(r"(---|\.\.\.)(\s.*)?", bare):
            continue
        entry = re.match(r'(?:"([^"]+)"|([A-Za-z_][^\s:"\[\]{}]*))\s*:(?:\s+(.*)|)$', bare)
        if entry is not None:
            blocks.append((number, entry[1] or entry[2], [entry[3] or ""]))
        elif blocks and (bare[0] in " \t]" or bare.startswith("- ")):
            blocks[-1][2].append(bare)
        else:
            raise InputError(path, f"line {number}", f"got {shown(line)}, needed KEY: VALUE", _MEND)
    if not blocks:
        raise InputError(path, "", "holds no KEY: VALUE lines", _MEND)
    return [(number, key, "\n".join(lines)) for number, key, lines in blocks]


def _from_yaml(path: Path, where: str, block: str) -> object:
    value = re.sub(r"^\s*!!?[\w-]+", "", block).strip()
    fields = dict(re.findall(r"^\s*(rows|cols|dt|data)\s*:[ \t]*([^\[\s][^\n]*)", value, re.MULTILINE))
    data = re.search(r"^\s*data\s*:\s*\[([^\[\]]*)\]\s*$", value, re.MULTILINE)
    if data is not None and "rows" in fields and "cols" in fields:
        return _matrix(path, where, fields["rows"], fields["cols"], _numbers(path, where, data[1]))
    if "rows" in fields or "data" in fields or data is not None:
        raise InputError(path, where, "not a whole matrix with rows, cols and data", _MEND)
    if re.fullmatch(r"\[[-+0-9.,eE\s]*\]", value):
        return _numbers(path, where, value[1:-1])[None, :]
    number = _number(value)
    return value.strip('"') if number is None else np.array(number)


def _from_json(path: Path, key: str, value: object) -> object:
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        return np.array(_json_number(path, key, value))
    rows: object = None
    if isinstance(value, dict) and "data" in value:
        data, rows, cols = value["data"], value.get("rows"), value.get("cols")
        if not isinstance(data, list):
            raise InputError(path, key, "not a whole matrix with rows, cols and data", _MEND)
        numbers = np.array([_json_number(path, key, v) for v in data], float)
        return _matrix(path, key, rows, cols, numbers)
    if isinstance(value, list) and value:
        table = value if all(isinstance(row, list) for row in value) else [value]
        if len({len(row) for row in table}) == 1 and all(
            isinstance(v, (int, float)) for row in table for v in row
        ):
            return np.array([[_json_number(path, key, v) for v in row] for row in table], float)
    return shown(value)


def _json_number(path: Path, key: str, value: object) -> float:
    try:
        if isinstance(value, (int, float)) and not isinstance(value, bool):
            return float(value)
    except OverflowError:
        pass
    raise InputError(path, key, f"got {shown(value)}, needed a number", _MEND)


def _matrix(path: Path, where: str, rows: object, cols: object, numbers: Array) -> Array:
    shape = (_size(rows), _size(cols))
    if 0 in shape:
        what = f"matrix of {shown(rows)} by {shown(cols)}, needed whole positive numbers"
        raise InputError(path, where, what, _MEND)
    if shape[0] * shape[1] != numbers.size:
        what = f"{shape[0]} rows of {shape[1]}, but {numbers.size} values"
        raise InputError(path, where, what, _MEND)
    return numbers.reshape(shape)


def _size(value: object) -> int:
    """Give a count of rows or columns, 0 where it is none."""
    text = str(value).strip() if isinstance(value, (str, int)) and not isinstance(value, bool) else ""
    return int(text) if re.fullmatch(r"[0-9]{1,6}", text) else 0


def _numbers(path: Path, where: str, text: str) -> Array:
    values: list[float] = []
    for word in re.split(r"[,\s]+", text.strip()):
        number = _number(word) if word else None
        if word and number is None:
            raise InputError(path, where, f"got {shown(word)}, needed a number", _MEND)
        values += [] if number is None else [number]
    return np.array(values, float)


def _number(word: str) -> float | None:
    special = {".nan": "nan", ".inf": "inf", "-.inf": "-inf", "+.inf": "inf"}.get(word.lower(), word)
    try:
        return None if "_" in word else float(special)
    except ValueError:
        return None
