"""What killed runs left is removed once it surely is left; nothing that may be alive ever is."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from bite.files.atomic import write_bytes, write_pieces
from bite.files.leftovers import DEAD_AFTER_S, STRANGE_AFTER_S, remove_leftovers, temporary_beside

posix = pytest.mark.skipif(os.name != "posix", reason="processes are asked for by signal 0")
ELSEWHERE = "00000000"


def gone() -> int:
    """Give the number of a process that has ended and was waited for."""
    with subprocess.Popen([sys.executable, "-c", ""]) as child:
        child.wait()
    return child.pid


def left(folder: Path, *, process: int | None, age_s: float, machine: str = "") -> Path:
    """Leave a temporary file of a process, as old as said by the folder's clock."""
    path = temporary_beside(folder / "a")
    _, own, number, rest = path.name.split("-")
    name = f".bite-{rest}" if process is None else f".bite-{machine or own}-{process}-{rest}"
    path = folder / name
    path.write_bytes(b"half")
    then = time.time() - age_s
    os.utime(path, (then, then))
    assert int(number) == os.getpid()
    return path


@posix
def test_a_dead_writer_is_cleared_once_old_and_a_living_one_never(tmp_path: Path) -> None:
    dead = gone()
    old = left(tmp_path, process=dead, age_s=DEAD_AFTER_S + 60)
    young = left(tmp_path, process=dead, age_s=DEAD_AFTER_S - 60)
    alive = [left(tmp_path, process=p, age_s=1e9) for p in (os.getpid(), os.getppid(), 1)]
    remove_leftovers(tmp_path)
    assert not old.exists()
    assert young.exists() and all(path.exists() for path in alive)


@posix
def test_a_process_that_lives_long_looks_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    now_s = [1000.0]
    monkeypatch.setattr("bite.files.leftovers.time.monotonic", lambda: now_s[0])
    young = left(tmp_path, process=gone(), age_s=DEAD_AFTER_S - 60)
    write_bytes(tmp_path / "a", b"1")
    assert young.exists()
    os.utime(young, (0, 0))
    now_s[0] += DEAD_AFTER_S
    write_bytes(tmp_path / "a", b"2")
    assert not young.exists() and (tmp_path / "a").read_bytes() == b"2"


@posix
def test_another_machine_is_judged_by_age_alone(tmp_path: Path) -> None:
    dead = gone()
    for process in (dead, os.getpid(), None, 9999999999):
        machine = "" if process == 9999999999 else ELSEWHERE
        young = left(tmp_path, process=process, age_s=STRANGE_AFTER_S - 60, machine=machine)
        old = left(tmp_path, process=process, age_s=STRANGE_AFTER_S + 60, machine=machine)
        remove_leftovers(tmp_path)
        assert young.exists()
        # a number that no process here can have is one that cannot be asked for: never removed
        assert old.exists() is (process == 9999999999)


@posix
def test_age_is_told_by_the_clock_of_the_folder(tmp_path: Path) -> None:
    # a file server an hour behind: what it stamped just now looks an hour old from here
    path = left(tmp_path, process=gone(), age_s=3600.0)
    behind = time.time() - 3600.0
    os.utime(tmp_path, (behind, behind))
    remove_leftovers(tmp_path)
    assert path.exists()


@posix
def test_only_files_of_that_very_name_go(tmp_path: Path) -> None:
    dead = gone()
    own = left(tmp_path, process=dead, age_s=1e8)
    others = [
        tmp_path / name
        for name in (
            f"{own.name}.bak", f"x{own.name}", own.name.replace("bite", "bit"), ".bite-.tmp",
            ".bite-cast", own.name.upper(), ".bite-0123456789abcdef.tmp",
        )
    ]  # fmt: skip
    for path in others:
        path.write_bytes(b"x")
    folder, link = (own.with_name(own.name[:-16] + 12 * letter + ".tmp") for letter in "ab")
    folder.mkdir()
    link.symlink_to(others[0])
    for path in (*others, folder):
        os.utime(path, (0, 0))
    os.utime(link, (0, 0), follow_symlinks=False)
    remove_leftovers(tmp_path)
    assert not own.exists()
    assert link.is_symlink() and folder.is_dir() and all(path.exists() for path in others)


def test_what_cannot_be_looked_at_is_left_without_a_word(tmp_path: Path) -> None:
    remove_leftovers(tmp_path / "gone")
    (tmp_path / "file").write_text("x")
    remove_leftovers(tmp_path / "file")


@posix
@pytest.mark.parametrize("pieces", [False, True])
def test_the_next_run_that_writes_into_the_folder_removes_them(tmp_path: Path, pieces: bool) -> None:
    path = left(tmp_path, process=gone(), age_s=DEAD_AFTER_S + 60)
    if pieces:
        write_pieces(tmp_path / "a", ["x", "y"])
    else:
        write_bytes(tmp_path / "a", b"xy")
    assert not path.exists() and os.listdir(tmp_path) == ["a"]


@posix
def test_two_runs_at_once_remove_each_file_and_write_all_of_theirs(tmp_path: Path) -> None:
    dead = gone()
    for _ in range(200):
        left(tmp_path, process=dead, age_s=DEAD_AFTER_S + 60)

    def write(number: int) -> None:
        write_bytes(tmp_path / f"{number}", b"x" * 100)
        remove_leftovers(tmp_path)

    with ThreadPoolExecutor(8) as pool:
        list(pool.map(write, range(64)))
    assert sorted(os.listdir(tmp_path), key=int) == [str(number) for number in range(64)]


@posix
def test_a_run_that_is_killed_while_it_writes_is_cleared_by_a_later_one(tmp_path: Path) -> None:
    code = (
        "import sys, time\n"
        "from bite.files.atomic import write_pieces\n"
        "def slow():\n"
        "    yield 'half'\n"
        "    print('half', flush=True)\n"
        "    time.sleep(60)\n"
        "write_pieces(sys.argv[1], slow())\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code, str(tmp_path / "page")], stdout=subprocess.PIPE, text=True
    ) as run:
        assert run.stdout is not None and run.stdout.readline() == "half\n"
        (half,) = tmp_path.iterdir()
        then = time.time() - 10 * STRANGE_AFTER_S
        os.utime(half, (then, then))
        remove_leftovers(tmp_path)
        assert half.exists(), "a living run's file was taken from it"
        run.send_signal(signal.SIGKILL)
        run.wait()
    assert half.exists()
    remove_leftovers(tmp_path)
    assert os.listdir(tmp_path) == []
