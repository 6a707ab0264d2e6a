"""Streams that are closed, full or left: one line or silence, and the code that the answer has."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.runs import CopyDemo

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(not os.path.exists("/dev/full"), reason="no full device here"),
]


def _shell(command: str, redirected: str, *, unbuffered: bool = False) -> tuple[int, str, str]:
    environment = {**os.environ, "BITE": f"{sys.executable} -m bite"}
    environment |= {"PYTHONUNBUFFERED": "1"} if unbuffered else {}
    done = subprocess.run(
        ["sh", "-c", f"$BITE {command} {redirected}"],
        capture_output=True, text=True, env=environment, timeout=120, check=False,
    )  # fmt: skip
    return done.returncode, done.stdout, done.stderr


@pytest.mark.parametrize("unbuffered", [False, True])
def test_an_answer_that_cannot_be_printed_is_one_line(unbuffered: bool) -> None:
    code, out, err = _shell("--help", ">/dev/full", unbuffered=unbuffered)
    assert (code, out) == (2, "") and err.count("\n") == 1 and err.startswith("standard output: ")
    assert _shell("--help", ">/dev/full 2>&1", unbuffered=unbuffered) == (2, "", "")


@pytest.mark.slow
@pytest.mark.parametrize("redirected", [">&-", "2>&-", ">&- 2>&-", "2>/dev/full", ">/dev/full 2>/dev/full"])
def test_bad_input_keeps_its_code(redirected: str) -> None:
    code, out, err = _shell("check none.bite.toml", redirected)
    assert code == 2 and out == "" and "fault" not in err
    assert err.count("\n") == (1 if redirected == ">&-" else 0)


@pytest.mark.slow
def test_a_closed_stdout_does_not_keep_files_from_being_written(copy_demo: CopyDemo, tmp_path: Path) -> None:
    frame = copy_demo("whimbrel", "whimbrel-a02")
    for option in ("", "--json"):
        code, out, err = _shell(f"check {frame} --out {tmp_path / 'out'} {option}", ">&- 2>&- <&-")
        assert (code, out, err) == (0, "", "")
        written = sorted((tmp_path / "out").iterdir())
        assert [path.suffix for path in written] == [".png", ".json"]
        assert written[1].read_bytes().startswith(b"{") and written[0].read_bytes().startswith(b"\x89PNG")
        for path in written:
            path.unlink()
