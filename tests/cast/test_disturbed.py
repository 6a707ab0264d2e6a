"""Runs that are killed, doubled, or lose a worker: what is done is kept, and the page is the same."""

import json
import os
import signal
import subprocess
import sys
import time
from functools import partial

import pytest

from bite.cast.runner.workers import Crew, run_in_workers
from bite.cli import main
from bite.errors import BiteError
from tests.cast.conftest import outputs, undone
from tests.cast.small_cast import Performer, clicks_alone, write_small_cast

DIES_AT_ONE_FILE = """
import os, sys

def die(event, args):
    if event == "open" and str(args[0]).endswith("p2-0001.corners.json"):
        os._exit(9)

sys.addaudithook(die)
"""
"""As a crash in a library would: the process that opens this file is gone. Only checks open clicks."""


@pytest.fixture(scope="module")
def four(tmp_path_factory):
    """Write and run a cast of two performers with two small frames each, undisturbed; give its folder."""
    folder = tmp_path_factory.mktemp("four") / "cast"
    path = write_small_cast(folder, [Performer(name, 1) for name in ("p1", "p2")], 2)
    clicks_alone(folder)
    assert main(["cast", str(path), "--jobs", "1"]) in (0, 1)
    return folder


def started(cast, jobs, **environment):
    return subprocess.Popen(
        [sys.executable, "-m", "bite", "cast", str(cast), "--jobs", str(jobs)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, **environment},
    )


def results(folder):
    return list(folder.rglob("*.result.json"))


@pytest.mark.slow
@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="needs a system with SIGKILL")
def test_a_run_killed_in_the_middle_ends_in_the_same_bytes(four, tmp_path):
    cast = undone(four, tmp_path / "killed")
    running = started(cast, 2)
    until = time.monotonic() + 120
    while len(results(cast.parent)) < 2 and running.poll() is None and time.monotonic() < until:
        time.sleep(0.02)
    os.kill(running.pid, signal.SIGKILL)
    running.communicate()
    kept = {path: path.stat().st_mtime_ns for path in results(cast.parent)}
    assert 2 <= len(kept) < 4 and not (cast.parent / "cast.html").exists()
    main(["cast", str(cast), "--jobs", "2"])
    assert outputs(cast.parent) == outputs(four)
    now = {path: path.stat().st_mtime_ns for path in results(cast.parent)}
    # what was done is not done again; a worker may still have been saving when the parent died
    assert len(now) == 4 and kept.items() <= now.items()


@pytest.mark.slow
def test_two_runs_at_once_on_one_folder_end_in_the_same_bytes(four, tmp_path):
    cast = undone(four, tmp_path / "doubled")
    running = [started(cast, 1) for _ in range(2)]
    said = [run.communicate(timeout=300) for run in running]
    assert len({run.returncode for run in running}) == 1 and running[0].returncode in (0, 1)
    assert said[0][0] == said[1][0] and said[0][1] == said[1][1] == ""
    assert outputs(cast.parent) == outputs(four)
    assert not list(cast.parent.rglob("*.tmp"))


@pytest.mark.slow
def test_a_frame_that_ends_its_worker_is_one_line_and_the_others_are_done(four, tmp_path):
    hooks = tmp_path / "hooks"
    hooks.mkdir()
    (hooks / "sitecustomize.py").write_text(DIES_AT_ONE_FILE, encoding="utf-8")
    cast = undone(four, tmp_path / "dying")
    running = started(cast, 2, PYTHONPATH=os.pathsep.join([str(hooks), os.environ.get("PYTHONPATH", "")]))
    _, told = running.communicate(timeout=300)
    assert running.returncode == 2
    assert told.count("\n") == 1 and told.startswith("p2/p2-0001.bite.toml: its check was ended")
    content = json.loads((cast.parent / "cast.json").read_text(encoding="utf-8"))
    assert len(content["frames"]) == 3
    assert [f["kind"] for f in content["failures"]] == ["check ended by the system"]


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="needs a terminal that a program can hold")
def test_a_terminal_shows_how_long_it_takes_and_a_file_does_not(four, tmp_path):
    import fcntl
    import pty
    import struct
    import termios

    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 100, 0, 0))
    command = [sys.executable, "-m", "bite", "cast", str(four / "cast.toml"), "--out", str(tmp_path)]
    command += ["--jobs", "1"]
    running = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=theirs)
    os.close(theirs)
    shown = b""
    try:
        while piece := os.read(ours, 4096):
            shown += piece
    except OSError:  # the other end is closed
        pass
    running.wait()
    os.close(ours)
    assert b"4/4" in shown and b"frame" in shown and b"<" in shown
    silent = subprocess.run([*command, "--json"], capture_output=True, check=False)
    assert silent.stderr == b"" and json.loads(silent.stdout)["format"] == "bite-cast-result 1"


def _answer(job, deaths):
    if job in deaths:
        os._exit(1)
    return job * 10


@pytest.mark.slow
def test_every_job_is_answered_whoever_dies():
    found = dict(run_in_workers(partial(_answer, deaths={2, 5}), range(7), 2))
    assert found == {k: None if k in (2, 5) else k * 10 for k in range(7)}


def _never():
    os._exit(3)


@pytest.mark.slow
def test_processes_that_cannot_start_are_one_error_and_no_endless_try():
    with Crew(_count, 2, _never) as crew:
        for job in range(50):
            crew.add(job)
        with pytest.raises(BiteError, match="as soon as they start"):
            while crew.busy:
                list(crew.answers())


def _count(job):
    yield from range(job)


def test_a_crew_gives_each_answer_as_it_comes_and_says_when_a_job_is_done():
    heard = []
    with Crew(_count, 1) as crew:
        assert not crew.busy and list(crew.answers(0.0)) == []
        crew.add(2)
        crew.add(0)
        while crew.busy:
            heard += [(told.job, told.answer, told.last) for told in crew.answers()]
    assert heard == [(2, 0, False), (2, 1, False), (2, None, True), (0, None, True)]
