"""The matrix's small tier: on one head, the mistakes that take nothing but that head's own frame."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.worlds.mistakes.every import MISTAKES
from tests.worlds.mistakes.matrix import Cell, run, summary, table
from tests.worlds.mistakes.takes import Takes

pytestmark = pytest.mark.network

REFUSED = (
    "rig's up downwards",
    "clicks of the rows swapped",
    "clicks of 11 and 21 called mesial",
    "solved pose the other way round",
    "depth map in half size",
)
JUDGED = (
    "depth camera's focal length 5 % too long",
    "solved jaw open by 5 mm",
    "rest export as the solved model",
)
NAMED = {mistake.name: mistake for mistake in MISTAKES}


@pytest.fixture(scope="module")
def takes(head_wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Takes:
    return Takes(1, tmp_path_factory.mktemp("takes"))


@pytest.mark.slow
@pytest.mark.parametrize("name", REFUSED + JUDGED)
def test_a_mistake_gives_no_answer_and_is_named_first(takes: Takes, tmp_path: Path, name: str) -> None:
    cell = run(NAMED[name], takes, tmp_path / "frame")
    assert cell.verdict in (("exit 2",) if name in REFUSED else ("unsure", "exit 2")), cell
    assert cell.told, cell.said


@pytest.mark.slow
def test_files_that_belong_together_keep_their_answer(takes: Takes, tmp_path: Path) -> None:
    cell = run(NAMED["none: all files right"], takes, tmp_path / "frame")
    assert cell.verdict in ("leave", "move") and not cell.wrong and cell.told


def test_a_wrong_green_answer_comes_first_in_the_table() -> None:
    names = ("solved pose of another head turn", "picture of another head turn", "cameras swapped")
    cells = [
        Cell(names[0], "moment", 1, "unsure", 0.9, True, ""),
        Cell(names[1], "moment", 1, "move", 0.1, False, ""),
        Cell(names[2], "order", 1, "move", -0.7, True, ""),
    ]
    rows = [line.split("|")[1].strip() for line in list(table(cells))[2:]]
    assert rows == [names[2], names[1], names[0]]
    assert "1 with a leave or move off by more than 0.5 mm" in summary(cells)
