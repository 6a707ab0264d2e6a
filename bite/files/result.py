"""Result files, `bite-result 1`: the same content gives the same bytes."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from bite.files.atomic import write_text
from bite.files.tables import check_format, read_json

FORMAT = "bite-result 1"
_DIGITS = 7
"""Digits kept: far below any sd, so that the same frame gives the same bytes on most machines."""


def write_result(path: Path, result: Mapping[str, Any]) -> None:
    """Write a result file in one step.

    Raises
    ------
    InputError
        When the folder cannot be written.
    ValueError, TypeError
        As `result_text`.
    """
    write_text(path, result_text(result))


def result_text(result: Mapping[str, Any]) -> str:
    """Give the text of a result file: keys in the order given, 7 significant digits, a line end last.

    Seven digits are more than any measurement here holds, and few enough to hide the last bits in which
    machines differ.

    Raises
    ------
    ValueError
        For a number that is not finite: what was not measured is None.
    TypeError
        For a value that JSON has no form for, or a key that is not text.

    Examples
    --------
    >>> print(result_text({"t_mm": 1.23456789, "sd_mm": None}), end="")
    {
     "t_mm": 1.234568,
     "sd_mm": null
    }
    """
    return json.dumps(_plain(result, ""), indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def read_result(path: Path) -> dict[str, Any]:
    """Read a result file.

    Raises
    ------
    InputError
        When it is not JSON, or not a result.
    """
    path = Path(path)
    table = read_json(path)
    check_format(path, table, FORMAT)
    return table


def as_stored(value: float) -> float:
    """Give a finite number as a result file holds it: rounded, and without a minus zero.

    Examples
    --------
    >>> as_stored(1.23456789), as_stored(-0.0)
    (1.234568, 0.0)
    """
    return float(f"{value:.{_DIGITS}g}") + 0.0


def _plain(value: object, place: str) -> object:
    if isinstance(value, np.ndarray):
        value = value.tolist()
    elif isinstance(value, np.generic):
        value = value.item()
    if value is None or isinstance(value, (bool, int)):
        return value
    if isinstance(value, str):
        return str(value)
    if isinstance(value, float):
        if not math.isfinite(value):
            raise ValueError(f"{place or 'result'} is {value}; what was not measured is None")
        return as_stored(value)
    if isinstance(value, Mapping):
        for key in value:
            if not isinstance(key, str):
                raise TypeError(f"key {key!r} in {place or 'result'} is not text")
        return {str(key): _plain(inner, f"{place}.{key}".lstrip(".")) for key, inner in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(inner, f"{place}[{i}]") for i, inner in enumerate(value)]
    raise TypeError(f"{place or 'result'} is a {type(value).__name__}, which JSON has no form for")
