"""Folders that are full, read-only, oddly named or far down; files that vanish or come from the future."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.cli.runs import CopyDemo, Run, names_in, refusal

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(os.name != "posix", reason="made with the means of Unix"),
]
NOBODY = 65534


@pytest.fixture
def small_disk() -> Iterator[Path]:
    """Mount a disk of 64 kB."""
    with tempfile.TemporaryDirectory() as name:
        mounted = subprocess.run(
            ["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", name], capture_output=True, check=False
        )
        if mounted.returncode:
            pytest.skip("may not mount a disk here")
        try:
            yield Path(name)
        finally:
            subprocess.run(["umount", name], check=True)


def test_a_full_disk_is_one_line_and_keeps_what_was_there(
    copy_demo: CopyDemo, run: Run, small_disk: Path
) -> None:
    frame = copy_demo("whimbrel", "whimbrel-a02")
    (small_disk / "whimbrel-a02.result.json").write_text("old")
    line = refusal(run("check", frame, "--out", small_disk))
    assert "cannot be written" in line and str(small_disk) in line
    assert names_in(small_disk) == {"whimbrel-a02.result.json"}
    assert (small_disk / "whimbrel-a02.result.json").read_text() == "old"


@pytest.mark.skipif(os.name != "posix" or os.geteuid() != 0, reason="only root may become another user")
def test_a_read_only_folder_is_one_line_for_an_ordinary_user(copy_demo: CopyDemo, tmp_path: Path) -> None:
    frame = copy_demo("whimbrel", "whimbrel-a02")
    with tempfile.TemporaryDirectory() as name:
        shared = Path(name) / "in"
        shutil.copytree(frame.parent, shared)
        shutil.copy(frame.parent.parent / "bench-depth.device.toml", name)
        for path in (Path(name), shared, *shared.iterdir()):
            path.chmod(0o755 if path.is_dir() else 0o644)
        # once as root, so that all is imported: an ordinary user may not be able to read this Python
        code = (
            "import os, sys\nfrom bite.cli import main\n"
            "assert main([*sys.argv[2:], '--out', sys.argv[1]]) == 0\n"
            f"os.setgid({NOBODY}); os.setuid({NOBODY})\nsys.exit(main(sys.argv[2:]))\n"
        )
        command = [sys.executable, "-c", code, str(tmp_path), "check", str(shared / frame.name), "--quiet"]
        done = subprocess.run(command, cwd=name, capture_output=True, text=True, check=False)
        assert done.returncode == 2 and done.stderr.count("\n") == 1, done.stderr
        assert "cannot be written (Permission denied)" in done.stderr


def test_names_that_are_no_utf8(copy_demo: CopyDemo, tmp_path: Path) -> None:
    frame = copy_demo("whimbrel", "whimbrel-a02")
    odd = os.fsencode(tmp_path) + b"/caf\xe9 \xff"
    shutil.copytree(os.fsencode(frame.parent), odd + b"/in")
    shutil.copy(frame.parent.parent / "bench-depth.device.toml", odd + b"/bench-depth.device.toml")
    command = [os.fsencode(sys.executable), b"-m", b"bite", b"check", odd + b"/in/" + os.fsencode(frame.name)]
    done = subprocess.run([*command, b"--out", odd + b"/out"], capture_output=True, check=False)
    assert done.returncode == 0 and done.stderr == b""
    json.loads(Path(os.fsdecode(odd + b"/out/whimbrel-a02.result.json")).read_text(encoding="utf-8"))
    os.unlink(odd + b"/in/front.jpg")
    done = subprocess.run([*command, b"--out", odd + b"/out"], capture_output=True, check=False)
    assert done.returncode == 2 and done.stderr.count(b"\n") == 1 and b"no such file" in done.stderr


@pytest.mark.parametrize("name", ["x" * 256, "/".join(["x" * 200] * 25), "ä" * 200])
def test_paths_that_are_too_long(copy_demo: CopyDemo, run: Run, tmp_path: Path, name: str) -> None:
    frame = copy_demo("whimbrel", "whimbrel-a02")
    assert "cannot be made a folder" in refusal(run("check", frame, "--out", tmp_path / name))
    line = refusal(run("check", tmp_path / f"{name}.bite.toml"))
    assert "no such file" in line or "too long" in line


def test_a_picture_whose_name_leaves_no_room_for_an_ending(
    copy_demo: CopyDemo, run: Run, tmp_path: Path
) -> None:
    picture = tmp_path / ("x" * 250 + ".jpg")
    shutil.copy(copy_demo("whimbrel", "whimbrel-a02").parent / "front.jpg", picture)
    ran = run("new", picture, "--name", "a1", "--no-questions")
    assert ran.code == 1 and (tmp_path / "a1.bite.toml").is_file() and "FILL IN" in ran.err
    assert "needed at most 100" in refusal(run("new", picture, "--no-questions"))


def test_a_long_path_that_the_system_takes(copy_demo: CopyDemo, run: Run, tmp_path: Path) -> None:
    out = tmp_path.joinpath(*["x" * 200] * 15)
    assert run("check", copy_demo("whimbrel", "whimbrel-a02"), "--out", out).code == 0
    assert len(names_in(out)) == 2


@pytest.mark.parametrize("name", ["front.png", "solved.obj", "front.depth.png"])
def test_a_file_that_vanishes_meanwhile_is_told_or_was_read(
    copy_demo: CopyDemo, run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    """What is in memory is used; nothing is opened a second time."""
    frame = copy_demo("tern", "tern-a07")
    import bite.files.bundle as bundle

    contents = bundle._contents

    def then_gone(*given: object, **named: object) -> object:
        found = contents(*given, **named)
        (frame.parent / name).unlink()
        return found

    monkeypatch.setattr(bundle, "_contents", then_gone)
    ran = run("check", frame, "--json", "--out", tmp_path / "out")
    assert ran.code == 0 and json.loads(ran.out)["inputs"][name].startswith("sha256:")
    assert "no such file" in refusal(run("check", frame, "--json", "--out", tmp_path / "out"))


def test_a_clock_that_was_set_back_changes_nothing(copy_demo: CopyDemo, run: Run, tmp_path: Path) -> None:
    frame = copy_demo("whimbrel", "whimbrel-a02")
    first = run("check", frame, "--json", "--out", tmp_path / "out")
    later = time.time() + 30 * 365 * 24 * 3600
    left = tmp_path / "out" / f".bite-00000000-{os.getpid()}-{'0' * 12}.tmp"
    left.write_bytes(b"half")
    for path in (*frame.parent.iterdir(), *(tmp_path / "out").iterdir()):
        os.utime(path, (later, later))
    again = run("check", frame, "--json", "--out", tmp_path / "out")
    assert (again.code, again.out) == (first.code, first.out) and first.code == 0
    assert left.exists()  # of an unknown age: somebody may be writing it
