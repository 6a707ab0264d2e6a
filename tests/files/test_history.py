"""Histories grow, survive hand edits or say where they are wrong, and are never overwritten when they are."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from bite.errors import InputError
from bite.files.history import Stand, Step, appended, history_text, read_history

STEP = Step(Stand("a", 0.0, 1.4, 0.1), Stand("b", -0.44, 0.0, 0.1), 1.4, 0.01, 1.408, "stop")


def test_round_trip_and_growth(tmp_path: Path) -> None:
    path = tmp_path / "p.history.json"
    assert read_history(path, "p") == ()
    other = replace(STEP, after=Stand("c", -0.5, 0.1, 0.1), predicted_mm=None)
    path.write_text(history_text("p", [STEP, other]), encoding="utf-8")
    assert read_history(path, "p") == (STEP, other)
    noted = replace(STEP, note="new lens")
    again = appended([noted, other], replace(STEP, achieved_mm=1.3))
    assert [step.achieved_mm for step in again] == [1.3, 1.4] and again[0].note == "new lens"
    assert len(appended([STEP], other)) == 2


@pytest.mark.parametrize(
    ("edit", "told"),
    [
        (lambda table: table.update(performer="q"), "history of 'q'"),
        (lambda table: table["steps"][0].update(colour=1), "unknown key 'colour'"),
        (lambda table: table["steps"][0]["after"].update(t_mm="0"), "t_mm"),
        (lambda table: table["steps"][0].pop("before"), "missing"),
        (lambda table: table.update(format="bite-result 1"), "bite-history 1"),
    ],
)
def test_a_bad_edit_is_told(tmp_path: Path, edit, told: str) -> None:
    path = tmp_path / "p.history.json"
    path.write_text(history_text("p", [STEP]), encoding="utf-8")
    table = json.loads(path.read_text(encoding="utf-8"))
    edit(table)
    path.write_text(json.dumps(table), encoding="utf-8")
    with pytest.raises(InputError, match=told):
        read_history(path, "p")


@pytest.mark.parametrize(
    "data", [b"", b"{", b"[]", b"\xff\xfe", b'{"format": NaN}', b'{"a":1,"a":2}', b"[" * 9999]
)
def test_damage_is_told(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "p.history.json"
    path.write_bytes(data)
    with pytest.raises(InputError):
        read_history(path, "p")
