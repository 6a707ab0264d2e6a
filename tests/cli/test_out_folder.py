"""A folder to write into that cannot be made: one line from the commands that take ``--out``."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.runs import DEMO, Run, names_in, refusal


@pytest.mark.slow
@pytest.mark.parametrize("below", ["", "under"])
@pytest.mark.parametrize("command", ["cast", "choose", "opinion", "recheck"])
def test_a_file_in_the_way_of_out_is_told(run: Run, tmp_path: Path, command: str, below: str) -> None:
    (tmp_path / "file").write_text("x")
    plover = DEMO / "plover"
    before, after = plover / "plover-b02.bite.toml", plover / "plover-b02-after.bite.toml"
    asked: dict[str, tuple[str | Path, ...]] = {
        "cast": (DEMO / "cast.toml",),
        "choose": (DEMO / "whimbrel",),
        "opinion": (before,),
        "recheck": (before, after),
    }
    out = tmp_path / "file" / below
    line = refusal(run(command, *asked[command], "--out", out))
    assert line.startswith(f"{out}"), line
    assert "cannot be made a folder (" in line and "; name a folder that may be written with --out" in line
    assert names_in(tmp_path) == {"file"}
