"""Depth profiles: one line of depths across lips and incisors, CSV."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from bite.errors import InputError
from bite.files.source import read_text
from bite.files.tables import nearest, shown
from bite.geometry.rigid import Array, frozen

COLUMNS = ("along_mm", "depth_mm", "sigma_mm", "region", "solved_depth_mm")
REGIONS = ("skin", "upper", "lower", "none")
FEWEST_ROWS, MOST_ROWS = 8, 20_000
"""Fewer readings hold no line through lips and teeth; more are no line across a mouth (our choice)."""
_FARTHEST_MM = 1e6
"""Numbers beyond a kilometre are damage (our choice)."""


@dataclass(frozen=True, slots=True)
class DepthProfile:
    """Depths along a line.

    Parameters
    ----------
    path : Path
    along_mm : array, shape (n,), strictly increasing (a decreasing file is turned round on reading)
    depth_mm : array, shape (n,), mm, NaN where there is no reading
    sigma_mm : array, shape (n,), or None where the file has no such column
    region : tuple of str, length n: "skin", "upper", "lower", "none"; or None
    solved_depth_mm : array, shape (n,), mm, NaN where the model has no surface; or None
    """

    path: Path
    along_mm: Array
    depth_mm: Array
    sigma_mm: Array | None
    region: tuple[str, ...] | None
    solved_depth_mm: Array | None


def read_profile(path: Path) -> DepthProfile:
    """Read a depth profile, CSV with a header.

    An empty field or ``nan`` under a depth means "no reading".

    Raises
    ------
    InputError
        For an unknown, doubled or missing column, a field that is no number, ``along_mm`` that does not run
        one way, fewer than 8 rows with a reading or more than 20 000 rows.
    """
    path = Path(path)
    try:
        # newlines inside quotes have no place here, so that row numbers are line numbers
        reader = csv.reader(io.StringIO(read_text(path, limit_bytes=16_000_000)), strict=True)
        rows = [(reader.line_num, row) for row in reader if any(field.strip() for field in row)]
    except csv.Error as error:
        raise InputError(
            path, f"line {reader.line_num}", f"not CSV: {error}", "export the table again"
        ) from None
    names = _header(path, rows[0][1] if rows else [])
    body = rows[1:]
    if len(body) > MOST_ROWS:
        what = f"{len(body)} rows, needed at most {MOST_ROWS}"
        raise InputError(path, "", what, "give the line across lips and incisors alone")
    for line, row in body:
        if len(row) != len(names):
            what = f"{len(row)} fields, needed {len(names)} as in the header"
            raise InputError(path, f"line {line}", what, "write every field, with a point in decimals")
    columns = {name: [(line, row[index].strip()) for line, row in body] for index, name in enumerate(names)}
    along = _numbers(path, "along_mm", columns["along_mm"], may_be_empty=False)
    depth = _numbers(path, "depth_mm", columns["depth_mm"], may_be_empty=True)
    depth[~(depth > 0)] = np.nan
    usable = int(np.isfinite(depth).sum())
    if usable < FEWEST_ROWS:
        what = f"{usable} rows with a depth, needed at least {FEWEST_ROWS}"
        raise InputError(path, "depth_mm", what, "export the line with more points")
    step = _direction(path, along, columns["along_mm"])
    sigma = solved = region = None
    if "sigma_mm" in columns:
        sigma = _numbers(path, "sigma_mm", columns["sigma_mm"], may_be_empty=False)
        for value, (line, text) in zip(sigma, columns["sigma_mm"], strict=True):
            if not value > 0:
                what = f"got {shown(text)}, needed a positive number"
                raise InputError(path, f"line {line}, sigma_mm", what, "write the sd of the reading in mm")
    if "solved_depth_mm" in columns:
        solved = _numbers(path, "solved_depth_mm", columns["solved_depth_mm"], may_be_empty=True)
        solved[~(solved > 0)] = np.nan
    if "region" in columns:
        for line, text in columns["region"]:
            if text not in REGIONS:
                what = f"unknown region {shown(text)}"
                raise InputError(path, f"line {line}, region", what, nearest(text, REGIONS))
        region = tuple(text for _, text in columns["region"])[::step]
    return DepthProfile(
        path,
        frozen(along[::step]),
        frozen(depth[::step]),
        None if sigma is None else frozen(sigma[::step]),
        region,
        None if solved is None else frozen(solved[::step]),
    )


def _header(path: Path, row: list[str]) -> list[str]:
    names = [name.strip() for name in row]
    for name in names:
        if name not in COLUMNS:
            raise InputError(path, "header", f"unknown column {shown(name)}", nearest(name, COLUMNS))
        if names.count(name) > 1:
            raise InputError(path, "header", f"column {name} stands there twice", "keep one of them")
    for name in COLUMNS[:2]:
        if name not in names:
            raise InputError(
                path, "header", f"no column {name}", f"write the columns {', '.join(COLUMNS[:2])}"
            )
    return names


def _numbers(path: Path, name: str, fields: list[tuple[int, str]], *, may_be_empty: bool) -> Array:
    values = np.empty(len(fields))
    for row, (line, text) in enumerate(fields):
        try:
            value = float("nan" if may_be_empty and not text else text)
        except ValueError:
            value = np.inf
        missing = np.isnan(value) and may_be_empty
        if not (missing or abs(value) <= _FARTHEST_MM) or "_" in text:
            what = f"got {shown(text)}, needed a number" + (" or an empty field" if may_be_empty else "")
            raise InputError(path, f"line {line}, {name}", what, "write mm with a point in decimals")
        values[row] = value
    return values


def _direction(path: Path, along: Array, fields: list[tuple[int, str]]) -> int:
    """Give 1 where positions rise, -1 where they fall."""
    steps = np.diff(along)
    falling = steps[0] < 0
    wrong = np.flatnonzero(steps >= 0 if falling else steps <= 0)
    if wrong.size:
        line, text = fields[int(wrong[0]) + 1]
        what = f"{shown(text)} after {shown(fields[int(wrong[0])][1])}, needed only rising or only falling"
        raise InputError(
            path, f"line {line}, along_mm", what, "sort the rows along the line and drop doubled ones"
        )
    return -1 if falling else 1
