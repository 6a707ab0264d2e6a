"""Copies of demo frames in a folder of their own, and the command line run inside this process or as one."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from bite.cli import main
from tests.cli.runs import DEMO, CopyDemo, Ran, Run


@pytest.fixture
def run(capfdbinary: pytest.CaptureFixture[bytes]) -> Run:
    """Call main in this process; stdout and stderr are what the system's streams got."""

    def call(*arguments: str | Path) -> Ran:
        code = main([str(argument) for argument in arguments])
        out, err = capfdbinary.readouterr()
        return Ran(code, out.decode(), err.decode())

    return call


@pytest.fixture
def run_process() -> Run:
    """Call `python -m bite` in a process of its own."""

    def call(
        *arguments: str | Path, cwd: Path | None = None, environment: dict[str, str] | None = None
    ) -> Ran:
        done = subprocess.run(
            [sys.executable, "-m", "bite", *map(str, arguments)],
            capture_output=True,
            cwd=cwd,
            env={**os.environ, **(environment or {})},
            timeout=120,
            check=False,
        )
        return Ran(done.returncode, done.stdout.decode(), done.stderr.decode())

    return call


@pytest.fixture
def copy_demo(tmp_path: Path) -> CopyDemo:
    """Copy a demo performer's folder into the test's own; give the path of one frame file in it."""

    def copy(performer: str, frame: str, folder: str = "") -> Path:
        target = tmp_path / (folder or performer)
        shutil.copytree(DEMO / performer, target)
        shutil.copy(DEMO / "bench-depth.device.toml", target.parent)
        return target / f"{frame}.bite.toml"

    return copy
