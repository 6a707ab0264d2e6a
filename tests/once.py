"""What takes long to make is made once a run, for all of its processes: kept on disk, in a folder of the run.

Nothing outlives the run, so no answer of yesterday's code is ever read.
"""

from __future__ import annotations

import fcntl
import os
import pickle
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

import pytest

RUN = "BITE_TESTS_RUN"
"""Names the run's folder to all of its processes (set in `tests/conftest.py`)."""
Made = TypeVar("Made")


def kept(name: str, make: Callable[[], Made]) -> Made:
    """Give what ``make`` makes, or a copy of what it made in this or another process of the run.

    Everything that decides over it has to be in ``name``. Outside of a run nothing is kept.
    """
    if RUN not in os.environ:
        return make()
    path = Path(os.environ[RUN]) / f"{name}.pickle"
    with path.with_suffix(".lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not path.exists():
            made = make()
            half = path.with_suffix(".half")
            half.write_bytes(pickle.dumps(made, protocol=pickle.HIGHEST_PROTOCOL))
            half.replace(path)
            return made
    return pickle.loads(path.read_bytes())


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
