"""Entries of a TOML text, one by one: where each ends, so that one can change and every other byte stay."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from typing import Any


def entry_at(rows: Sequence[str], first: int) -> tuple[list[str], str | None]:
    """Give the rows of the entry that starts at a row, and its key; a blank, comment or header has none."""
    stripped = rows[first].strip()
    if not stripped or stripped.startswith(("#", "[")):
        return [rows[first]], None
    for last in range(first + 1, len(rows) + 1):
        found = parsed("".join(rows[first:last]))
        if found is not None:
            return list(rows[first:last]), next(iter(found), None)
    return [rows[first]], None


def parsed(text: str) -> dict[str, Any] | None:
    """Parse TOML text, with or without byte order mark and with any line ends; None where it is none."""
    try:
        return tomllib.loads(text.lstrip("\ufeff").replace("\r\n", "\n"))
    except (ValueError, RecursionError):
        return None
