"""What takes long to make is made once a run, for all of its processes: kept on disk, in the run's folder.

Nothing outlives the run, so no answer of yesterday's code is ever read.
"""

from __future__ import annotations

import fcntl
import os
import tempfile
from collections.abc import Callable
from pathlib import Path

import pytest


def made_once(factory: pytest.TempPathFactory, name: str, make: Callable[[Path], object]) -> Path:
    """Give a folder that ``make`` has filled, in this process or in another one of the run. Only read it.

    Where ``make`` fails, whoever asks next tries anew and fails for itself.
    """
    base = factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        base = base.parent  # each worker has a folder of its own in that of the run
    made = base / f"{name}.made"
    with (base / f"{name}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not made.exists():
            folder = Path(tempfile.mkdtemp(prefix=f"{name}-", dir=base))
            make(folder)
            made.write_text(folder.name, encoding="utf-8")
        return base / made.read_text(encoding="utf-8")
