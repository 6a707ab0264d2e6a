"""docs/cluster.md, run: frames as jobs of a scheduler into one folder, then the page from what is there."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cast.small_cast import Performer, clicks_alone, write_small_cast

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs" / "cluster.md").read_text(encoding="utf-8")


def block(name: str) -> str:
    found = re.search(rf"<!-- {name} -->\n```\w+\n(.*?)```", PAGE, re.DOTALL)
    assert found is not None, f"docs/cluster.md has no block marked {name}"
    return found[1]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    write_small_cast(tmp_path, [Performer("heron", 1)], frames_each=2)
    clicks_alone(tmp_path)  # what is asked is which frames are checked, and how often
    return tmp_path


def environment() -> dict[str, str]:
    path = os.pathsep.join(filter(None, [str(ROOT), os.environ.get("PYTHONPATH", "")]))
    binaries = os.pathsep.join([str(Path(sys.executable).parent), os.environ["PATH"]])
    return os.environ | {"PYTHONPATH": path, "PATH": binaries, "OPENBLAS_NUM_THREADS": "1"}


def ages_ns(shared: Path) -> dict[str, int]:
    return {p.name: p.stat().st_mtime_ns for p in shared.rglob("*.result.json")}


@pytest.mark.slow
def test_a_job_array_leaves_nothing_to_check(folder: Path) -> None:
    frames = sorted(str(p) for p in folder.glob("*/*.bite.toml"))
    (folder / "frames.txt").write_text("\n".join(frames) + "\n", encoding="utf-8")
    for number in range(1, len(frames) + 1):
        job = environment() | {"SLURM_ARRAY_TASK_ID": str(number)}
        done = subprocess.run(["sh", "-c", block("job")], cwd=folder, env=job, capture_output=True, text=True)
        assert done.returncode == 0, done.stderr
    shared = folder / "shared"
    before = ages_ns(shared)
    assert len(before) == len(frames)
    page = subprocess.run(
        ["sh", "-c", block("page")], cwd=folder, env=environment(), capture_output=True, text=True
    )
    assert page.returncode in (0, 1), page.stderr
    assert ages_ns(shared) == before
    assert len(json.loads((shared / "cast.json").read_text(encoding="utf-8"))["frames"]) == len(frames)


@pytest.mark.slow
def test_the_program_for_dask_checks_every_frame_once(folder: Path) -> None:
    pytest.importorskip("distributed", reason="the cluster page's program needs dask[distributed]; an extra")
    program = folder / "cluster.py"
    program.write_text(block("dask"), encoding="utf-8")
    done = subprocess.run(
        [sys.executable, str(program), str(folder / "cast.toml"), str(folder / "shared")],
        env=environment(),
        capture_output=True,
        text=True,
        cwd=folder,
    )
    assert done.returncode in (0, 1), done.stderr
    assert len(ages_ns(folder / "shared")) == 2
    frames = json.loads((folder / "shared" / "cast.json").read_text(encoding="utf-8"))["frames"]
    assert len(frames) == 2
