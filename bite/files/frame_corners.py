"""Name a corner file in a bite frame file that does not name it yet, and change nothing else in it."""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path

from bite.files.atomic import write_text
from bite.files.source import read_text

_VIEW_HEAD = re.compile(r"^\s*\[\[\s*view\s*\]\]\s*(#.*)?$")
_TABLE_HEAD = re.compile(r"^\s*\[")
_WAITING = re.compile(r"^\s*#\s*corners\s*=")


def name_corner_file(path: Path, view: int, corner_file: str) -> bool:
    """Add ``corners = "FILE"`` to the n-th [[view]] of a frame file; tell whether that was done.

    A commented ``# corners =`` line of that view is replaced, otherwise the line comes after the view's last
    key. The text is written only when it then reads as the same tables with that one key more.

    Parameters
    ----------
    path : Path
    view : int, from 0
    corner_file : str, as it is to be written
    """
    text = read_text(path)
    lines = text.split("\n")
    heads = [k for k, line in enumerate(lines) if _VIEW_HEAD.match(line)]
    if view >= len(heads):
        return False
    start = heads[view] + 1
    end = next((k for k in range(start, len(lines)) if _TABLE_HEAD.match(lines[k])), len(lines))
    new = f"corners = {json.dumps(corner_file, ensure_ascii=False)}"
    waiting = [k for k in range(start, end) if _WAITING.match(lines[k])]
    if waiting:
        lines[waiting[0]] = new
    else:
        keys = [k for k in range(start, end) if "=" in lines[k].partition("#")[0]]
        lines.insert((keys[-1] if keys else start - 1) + 1, new)
    changed = "\n".join(lines)
    try:
        before, after = tomllib.loads(text), tomllib.loads(changed)
        if "corners" in before["view"][view]:
            return False
        before["view"][view]["corners"] = corner_file
    except (tomllib.TOMLDecodeError, KeyError, IndexError, TypeError):
        return False
    if before != after:
        return False
    write_text(path, changed)
    return True
