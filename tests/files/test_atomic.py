"""Saves are whole or not there; results are the same bytes each time."""

from __future__ import annotations

import errno
import os
import stat
from enum import StrEnum
from pathlib import Path

import numpy as np
import pytest

from bite.files.atomic import write_bytes, write_text
from bite.files.result import read_result, result_text, write_result


def test_writes_and_replaces(tmp_path: Path) -> None:
    path = tmp_path / "Zähne 歯.txt"
    write_text(path, "one\n")
    path.chmod(0o640)
    write_text(path, "tvö\n")
    assert path.read_bytes() == "tvö\n".encode()
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    assert os.listdir(tmp_path) == [path.name]


@pytest.mark.skipif(os.name == "nt", reason="Windows has no umask")
def test_new_files_follow_the_umask(tmp_path: Path) -> None:
    old = os.umask(0o027)
    try:
        write_text(tmp_path / "a", "x")
    finally:
        os.umask(old)
    assert stat.S_IMODE((tmp_path / "a").stat().st_mode) == 0o640


def test_writes_through_a_link(tmp_path: Path) -> None:
    (tmp_path / "real").write_text("old")
    os.symlink("real", tmp_path / "link")
    write_text(tmp_path / "link", "new")
    assert (tmp_path / "link").is_symlink() and (tmp_path / "real").read_text() == "new"


def test_missing_folder_and_folder_itself_are_refused(tmp_path: Path, refuses) -> None:
    assert "there is no folder" in refuses(lambda: write_text(tmp_path / "gone" / "a", "x"))
    assert "is a folder" in refuses(lambda: write_text(tmp_path, "x"))


@pytest.mark.parametrize("broken", ["open", "fsync", "replace"])
def test_failure_leaves_the_old_file_and_nothing_else(
    tmp_path: Path, refuses, monkeypatch: pytest.MonkeyPatch, broken: str
) -> None:
    path = tmp_path / "a"
    path.write_text("old")

    def fail(*_args: object) -> int:
        raise OSError(errno.EROFS, "Read-only file system")

    with monkeypatch.context() as patch:
        patch.setattr(os, broken, fail)
        message = refuses(lambda: write_bytes(path, b"new"))
    assert "Read-only file system" in message and "folder may be written" in message
    assert path.read_text() == "old" and os.listdir(tmp_path) == ["a"]


@pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() == 0, reason="the superuser may write anywhere"
)
def test_read_only_folder_is_refused(tmp_path: Path, refuses) -> None:
    tmp_path.chmod(0o500)
    try:
        assert "cannot be written" in refuses(lambda: write_text(tmp_path / "a", "x"))
    finally:
        tmp_path.chmod(0o700)


class Verdict(StrEnum):
    MOVE = "move"


def test_result_round_trip_and_bytes(tmp_path: Path) -> None:
    result = {
        "format": "bite-result 1",
        "offset": {"t_mm": np.float64(1.23456789), "interval_mm": (1.2, np.float32(1.5)), "n": np.int64(3)},
        "decision": {"verdict": Verdict.MOVE, "sure": np.bool_(True), "left": -0.0, "none": None},
        "rows": np.array([[1.0, 2.0]]),
        "name": "Zähne",
    }
    path = tmp_path / "a.result.json"
    write_result(path, result)
    first = path.read_bytes()
    assert first.endswith(b"}\n") and b"-0.0" not in first
    again = read_result(path)
    assert again["offset"] == {"t_mm": 1.234568, "interval_mm": [1.2, 1.5], "n": 3}
    assert again["decision"] == {"verdict": "move", "sure": True, "left": 0.0, "none": None}
    assert again["rows"] == [[1.0, 2.0]] and list(again) == list(result)
    write_result(path, again)
    assert path.read_bytes() == first


def test_last_bits_do_not_reach_the_file() -> None:
    assert result_text({"a": 0.1 + 0.2}) == result_text({"a": 0.3})
    assert result_text({"a": 1.0}) != result_text({"a": 1.0 + 1e-5})


@pytest.mark.parametrize("value", [float("nan"), float("inf"), np.float64("nan"), np.array([1.0, np.nan])])
def test_result_refuses_what_is_not_finite(tmp_path: Path, value: object) -> None:
    with pytest.raises(ValueError, match=r"offset\.t_mm"):
        write_result(tmp_path / "a", {"offset": {"t_mm": value}})
    assert not (tmp_path / "a").exists()


@pytest.mark.parametrize("value", [object(), {1: 2}, b"bytes", 1j])
def test_result_refuses_what_json_has_no_form_for(value: object) -> None:
    with pytest.raises(TypeError):
        result_text({"a": value})


def test_other_json_is_no_result(tmp_path: Path, refuses) -> None:
    path = tmp_path / "a.json"
    path.write_text('{"format": "bite-corners 1"}')
    assert "a corner file" in refuses(lambda: read_result(path))
