"""What every frame of a cast is held against; the same for all workers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from bite.files.device import Device


@dataclass(frozen=True, slots=True)
class CastSettings:
    """Settings of a run.

    Parameters
    ----------
    tolerance_mm : float
    performance_device : str or None
    devices : mapping from name to Device, the cast's own tables
    root : Path, the folder that shown paths start at
    out : Path or None, where results go; None: beside each frame
    pictures : Path, folder for the pages' pictures, which may be deleted at any time
    """

    tolerance_mm: float
    performance_device: str | None
    devices: Mapping[str, Device]
    root: Path
    out: Path | None
    pictures: Path
