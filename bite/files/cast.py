"""Cast files, `bite-cast 1`: the frames of a production and the device that its performances use."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from bite.errors import InputError
from bite.files.device import Device, device_from_form
from bite.files.frame import SUFFIX
from bite.files.source import path_beside
from bite.files.tables import check_form, check_format, read_toml, shown

FORMAT = "bite-cast 1"
DEFAULT_TOLERANCE_MM = 0.5
"""Common practice, no source."""


@dataclass(frozen=True, slots=True)
class CastFile:
    """A cast file; ``frames`` are patterns from its folder on, ``devices`` its own device tables."""

    path: Path
    name: str
    performance_device: str
    tolerance_mm: float
    frames: tuple[str, ...]
    devices: Mapping[str, Device] = field(default_factory=dict)


def read_cast(path: Path) -> CastFile:
    """Read a cast file; frames are not looked for yet.

    Raises
    ------
    InputError
        For a missing or unknown key, or a pattern that is not a relative one.
    """
    from bite.files.forms import CastForm

    path = Path(path)
    table = read_toml(path)
    check_format(path, table, FORMAT)
    form = check_form(path, table, CastForm)
    for pattern in form.frames:
        path_beside(path, "frames", pattern)
        if Path(pattern).is_absolute() or any("**" in part and part != "**" for part in Path(pattern).parts):
            mend = f'write patterns relative to this file, such as "*/*{SUFFIX}"'
            raise InputError(path, "frames", f"pattern {shown(pattern)} is not a relative one", mend)
    devices = {name: device_from_form(name, path.name, table) for name, table in form.device.items()}
    return CastFile(path, form.name, form.performance_device, form.tolerance_mm, tuple(form.frames), devices)
