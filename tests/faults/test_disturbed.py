"""Runs killed, ended and interrupted at random instants, a few of each: see `tests.faults.kills`."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.slow
@pytest.mark.skipif(not hasattr(os, "fork"), reason="runs are forked")
def test_what_a_disturbed_run_leaves_is_whole() -> None:
    signals = ["KILL", "KILL", "KILL", "KILL", "KILL", "TERM", "INT"]  # ten, two and two of the fourteen
    done = subprocess.run(
        [sys.executable, "-m", "tests.faults.kills", "--runs", "14", "--first", "5", "--signals", *signals],
        cwd=ROOT, capture_output=True, text=True, check=False, timeout=1200,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    assert "14 runs: " in done.stdout
