"""Three hundred kept cases of damaged demo files through the command line: see `tests.fuzz.run`."""

from __future__ import annotations

import os
import random
import subprocess
import sys
from pathlib import Path

import pytest

from tests.fuzz.mutations import mutated
from tests.fuzz.run import kept_seeds

HERE = Path(__file__).parent
SEEDS = HERE / "seeds.txt"


def test_a_case_is_told_by_its_number_alone() -> None:
    data = (HERE / "mutations.py").read_bytes()
    once, again = (mutated(random.Random(5), "a.toml", data) for _ in range(2))
    assert once == again and once[1] != data


@pytest.mark.slow
@pytest.mark.skipif(not hasattr(os, "fork"), reason="runs are forked")
def test_no_kept_case_goes_wrong() -> None:
    assert len(set(kept_seeds(SEEDS))) >= 300
    done = subprocess.run(
        [sys.executable, "-m", "tests.fuzz.run", "--seeds", str(SEEDS)],
        cwd=HERE.parents[1], capture_output=True, text=True, check=False, timeout=1200,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.splitlines()[-1].startswith(f"{len(kept_seeds(SEEDS))} cases: ")
