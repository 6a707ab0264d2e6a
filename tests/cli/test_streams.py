"""Answers to stdout byte for byte; a bar only where somebody watches."""

from __future__ import annotations

import sys

import pytest

from bite.cli.streams import FrameBar, print_file, tell


def test_a_files_content_keeps_its_bytes(capfdbinary: pytest.CaptureFixture[bytes]) -> None:
    print("before")
    print_file('{"name": "歯"}\n')
    assert capfdbinary.readouterr() == ('before\n{"name": "歯"}\n'.encode(), b"")


def test_without_a_terminal_only_lines_are_told(capfd: pytest.CaptureFixture[str]) -> None:
    with FrameBar(3, stays=True) as bar:
        bar.count(2)
        bar.tell("a.bite.toml: bad")
    tell("end")
    assert capfd.readouterr() == ("", "a.bite.toml: bad\nend\n")


@pytest.mark.parametrize("stays", [True, False])
def test_on_a_terminal_lines_stand_above_the_bar(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, stays: bool
) -> None:
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    with FrameBar(3, stays=stays) as bar:
        bar.tell("a.bite.toml: bad")
        bar.count(3)
    out, err = capsys.readouterr()
    assert out == "" and "a.bite.toml: bad\n" in err
    last = err.rpartition("\r")[2]
    assert ("3/3" in last) is stays
