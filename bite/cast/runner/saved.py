"""Is a result on disk still the answer? Only when inputs, version and settings are those of now.

It does not matter who wrote it: an earlier run, a run that was cut off, or `bite check` on another machine.
"""

from __future__ import annotations

import json
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bite import __version__
from bite.cast.runner.settings import CastSettings
from bite.check.page_file import is_drawn_as_now
from bite.check.result import settings_mapping
from bite.errors import BiteError
from bite.files.bundle import device_of, input_paths
from bite.files.frame import FrameFile
from bite.files.result import read_result, result_text
from bite.files.rig import read_rig
from bite.files.source import hash_file, is_file, key_beside

RESULT_SUFFIX, PICTURE_SUFFIX = ".result.json", ".before-after.png"


@dataclass(frozen=True, slots=True)
class SavedResult:
    """A result that holds: its content and its two files."""

    content: dict[str, Any]
    result: Path
    picture: Path


def saved_result(file: FrameFile, settings: CastSettings) -> SavedResult | None:
    """Find a result that is what a new check would write; None where there is none.

    Looked for in the run's own folder first, then beside the frame.
    """
    folders = [settings.out, file.path.parent] if settings.out is not None else [file.path.parent]
    found = [folder for folder in folders if is_file(folder / f"{file.name}{RESULT_SUFFIX}")]
    if not found:
        return None
    try:
        wanted = _wanted(file, settings)
    except BiteError:
        return None  # the check itself will say what is wrong
    for folder in found:
        result, picture = (folder / f"{file.name}{suffix}" for suffix in (RESULT_SUFFIX, PICTURE_SUFFIX))
        if not is_file(picture) or not is_drawn_as_now(picture):
            continue  # missing, or drawn by other code: checked and drawn again
        try:
            content = read_result(result)
        except BiteError:
            continue
        if all(content.get(key) == value for key, value in wanted.items()):
            return SavedResult(content, result, picture)
    return None


def old_results(folder: Path, known: Collection[str]) -> list[str]:
    """List results in a folder whose file names are not known, in order."""
    return sorted(path.name for path in folder.glob(f"*{RESULT_SUFFIX}") if path.name not in known)


def _wanted(file: FrameFile, settings: CastSettings) -> dict[str, Any]:
    entry = file.solved
    rig = read_rig(entry.rig) if entry is not None and entry.rig is not None else None
    told = settings_mapping(
        tolerance_mm=settings.tolerance_mm,
        performance_device=settings.performance_device,
        device=device_of(file, settings.devices),
    )
    wanted: dict[str, Any] = {
        "frame": file.name,
        "version": __version__,
        # through text, since numbers in a result are rounded
        "settings": json.loads(result_text(told)),
        "inputs": {key_beside(file.path, path): hash_file(path) for path in input_paths(file, rig)},
    }
    return wanted
