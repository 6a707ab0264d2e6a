"""The folder that a command writes into."""

from __future__ import annotations

from pathlib import Path

from bite.errors import InputError


def make_folder(folder: Path, mend: str = "name a folder that may be written with --out") -> None:
    """Make a folder and those above it where they are missing.

    Raises
    ------
    InputError
        When there is a file of that name, or the folder may not be made.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(folder, "", f"cannot be made a folder ({reason})", mend) from None
