"""Bytes, text and paths: what is read, and what is refused before anything else looks at it."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from bite.files.source import hash_file, key_beside, path_beside, read_bytes, read_text


def test_text_loses_its_mark_and_carriage_returns(tmp_path: Path) -> None:
    path = tmp_path / "t"
    path.write_bytes(b"\xef\xbb\xbfa\r\nb\rc\n")
    assert read_text(path) == "a\nb\nc\n"


def test_bytes_that_are_no_text_name_their_line(tmp_path: Path, refuses) -> None:
    path = tmp_path / "t"
    path.write_bytes(b"a\nb\n\xff\xfe")
    assert "line 3: not UTF-8" in refuses(lambda: read_text(path))


def test_too_large_a_file_is_not_read(tmp_path: Path, refuses) -> None:
    path = tmp_path / "t"
    with path.open("wb") as file:
        file.truncate(2_000_000_000)  # sparse: takes no room
    assert "2000 MB, needed at most 1000 MB" in refuses(lambda: read_bytes(path))
    assert "needed at most 4 MB" in refuses(lambda: read_text(path))


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_a_pipe_does_not_block(tmp_path: Path, refuses) -> None:
    os.mkfifo(tmp_path / "pipe")
    assert "not a regular file" in refuses(lambda: read_bytes(tmp_path / "pipe"))


@pytest.mark.parametrize("name", ["a\0b", "x" * 5000, "a/b/c"])
def test_impossible_paths_are_refused(tmp_path: Path, refuses, name: str) -> None:
    (tmp_path / "a").write_text("a file, not a folder")
    refuses(lambda: read_bytes(f"{tmp_path}/{name}"))


def test_hash_is_that_of_the_bytes(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"abc")
    # FIPS 180-2, appendix B.1
    published = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert hash_file(tmp_path / "a") == f"sha256:{published}"


def test_parent_of_a_linked_folder_is_the_parent_of_its_target(tmp_path: Path) -> None:
    (tmp_path / "real" / "shots").mkdir(parents=True)
    (tmp_path / "work").mkdir()
    os.symlink(tmp_path / "real" / "shots", tmp_path / "work" / "shots")
    owner = tmp_path / "work" / "shots" / "a.bite.toml"
    path = path_beside(owner, "rig", "../rig.toml")
    assert path == Path(os.path.realpath(tmp_path)) / "real" / "rig.toml"
    assert key_beside(owner, path) == "../rig.toml"


@pytest.mark.parametrize(
    "written", ["", "  ", "a\nb", "file:///a", "http://a", "C:/a.png", "~/a", "a\\b", "\ud800"]
)
def test_odd_paths_are_refused(refuses, written: str) -> None:
    refuses(lambda: path_beside(Path("/x/a.toml"), "image", written))


@pytest.mark.parametrize("written", ["a.png", "./a.png", "a b/ö.png", "../a.png", "/mnt/a.png", "a-b.png"])
def test_plain_paths_are_accepted(written: str) -> None:
    assert path_beside(Path("/x/y/a.toml"), "image", written).is_absolute()


def test_importing_the_readers_loads_nothing_heavy() -> None:
    code = (
        "import sys, pkgutil, importlib, bite.files\n"
        "names = [m.name for m in pkgutil.iter_modules(bite.files.__path__) if 'form' not in m.name]\n"
        "[importlib.import_module('bite.files.' + n) for n in names]\n"
        "print(len(names), sorted({'cv2', 'trimesh', 'scipy', 'matplotlib', 'pydantic'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    count, _, heavy = done.stdout.strip().partition(" ")
    assert int(count) > 15 and heavy == "[]"
