"""Two runs in one folder: nothing that either wrote is lost."""

from __future__ import annotations

import json
import os
import time
from multiprocessing.process import BaseProcess
from pathlib import Path

import pytest

from bite.errors import InputError
from bite.files.folder_lock import locked
from tests.warm_workers import commanded

pytestmark = pytest.mark.skipif(os.name != "posix", reason="folders are locked by flock")


def _results(folder: Path, frame: str) -> list[str]:
    """Write the results of a frame before and after a move; give their paths."""
    written = []
    for name, t_mm, dial in ((frame, 1.4, 0.0), (f"{frame}-after", 0.0, -0.44)):
        table = {
            "format": "bite-result 1", "frame": name, "performer": "plover",
            "inputs": {"front.jpg": "sha256:1"},
            "offset": {"t_mm": t_mm, "sd_mm": 0.1, "sampling_sd_mm": 0.05},
            "decision": {"verdict": "move", "why": "", "dial_before": dial},
        }  # fmt: skip
        path = folder / f"{name}.result.json"
        path.write_text(json.dumps(table), encoding="utf-8")
        written.append(str(path))
    return written


def _recheck(folder: Path, frame: str) -> BaseProcess:
    return commanded(["recheck", *_results(folder, frame)])


def _ended_well(run: BaseProcess) -> bool:
    run.join(100)
    return run.exitcode == 0


def _steps(folder: Path) -> set[str]:
    table = json.loads((folder / "plover.history.json").read_text(encoding="utf-8"))
    return {step["before"]["frame"] for step in table["steps"]}


@pytest.mark.slow
def test_a_step_that_another_run_adds_meanwhile_is_kept(tmp_path: Path) -> None:
    assert _ended_well(_recheck(tmp_path, "b01"))
    kept = (tmp_path / "plover.history.json").read_text(encoding="utf-8")
    (tmp_path / "plover.history.json").unlink()
    with locked(tmp_path):
        second = _recheck(tmp_path, "b02")
        deadline = time.monotonic() + 3.0
        while second.exitcode is None and time.monotonic() < deadline:
            time.sleep(0.05)
        # what another run would write while the second one is at work
        (tmp_path / "plover.history.json").write_text(kept, encoding="utf-8")
    assert _ended_well(second)
    assert _steps(tmp_path) == {"b01", "b02"}


@pytest.mark.slow
def test_four_at_once_leave_four_steps(tmp_path: Path) -> None:
    frames = [f"b{number:02}" for number in range(4)]
    runs = [_recheck(tmp_path, frame) for frame in frames]
    for run in runs:
        assert _ended_well(run)
    assert _steps(tmp_path) == set(frames)


def test_who_waits_too_long_says_so(tmp_path: Path) -> None:
    with locked(tmp_path), pytest.raises(InputError, match="another run"), locked(tmp_path, wait_s=0.05):
        raise AssertionError("locked twice")
    with locked(tmp_path):
        pass
