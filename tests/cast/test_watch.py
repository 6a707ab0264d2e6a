"""Frames that land while a folder is watched."""

import shutil
import signal
import subprocess
import sys
import threading
from pathlib import Path
from types import SimpleNamespace
from typing import IO

import pytest

from bite.cast.content import FailedFrame, FailureKind
from bite.cast.runner.landing import Landing
from bite.cast.runner.one_frame import EarlyVerdict, frame_steps
from bite.cast.runner.settings import CastSettings
from bite.cli import main
from bite.cli.watch import _Watcher
from tests.cast.conftest import DEMO, write_cast


def test_half_a_copy_is_waited_for(tmp_path):
    write_cast(tmp_path, "whimbrel")
    picture = tmp_path / "whimbrel" / "front.jpg"
    if not picture.exists():
        picture = next((tmp_path / "whimbrel").glob("front.*g"))
    data = picture.read_bytes()
    landing = Landing(tmp_path)
    picture.unlink()
    assert landing.landed() == [] and landing.landed() == []
    assert list(landing.waiting().values()) == [[picture.name]]
    for share in (0.3, 0.6, 1.0):
        picture.write_bytes(data[: int(len(data) * share)])
        assert landing.landed() == []  # grew since the last look
    assert [path.name for path in landing.landed()] == ["whimbrel-a02.bite.toml"]
    assert landing.landed() == []
    picture.write_bytes(data + b"\0")
    assert landing.landed() == [] and len(landing.landed()) == 1  # changed: asked again


@pytest.mark.slow
def test_once_tells_verdicts_and_what_is_bad(tmp_path, capsys):
    write_cast(tmp_path, "whimbrel")
    (tmp_path / "half.bite.toml").write_text('format = "bite-fr', encoding="utf-8")
    assert main(["watch", str(tmp_path), "--once"]) == 2
    said = capsys.readouterr()
    assert said.out.startswith("whimbrel-a02: USABLE") and said.out.count("\n") == 1
    assert said.err.startswith("half.bite.toml") and said.err.count("\n") == 1
    assert (tmp_path / "whimbrel" / "whimbrel-a02.result.json").exists()


@pytest.mark.slow
def test_the_verdict_comes_before_anything_is_drawn_or_saved(tmp_path):
    write_cast(tmp_path, "whimbrel")
    frame = tmp_path / "whimbrel" / "whimbrel-a02.bite.toml"
    settings = CastSettings(0.5, None, {}, tmp_path, None, tmp_path)
    steps = frame_steps(frame, "told", settings)
    early = next(steps)
    assert isinstance(early, EarlyVerdict) and early.verdict == "usable"
    assert not list(tmp_path.rglob("*.result.json")) and not list(tmp_path.rglob("*.before-after.png"))
    (row,) = steps
    assert (row.verdict, row.why) == (early.verdict, early.why) and row.result.is_file()
    again = list(frame_steps(frame, "told", settings))
    assert again == [row]  # saved: nothing is checked, and the same row


def test_a_frame_that_changes_while_it_is_checked_has_another_turn():
    seen = []

    class Folder:
        def landed(self):
            return [frame]

        def ask_again(self, path):
            seen.append(path)

    frame = Path("a.bite.toml")
    watcher = _Watcher(Folder())
    assert watcher.due(0.0) == [frame] and watcher.due(0.1) == [] and seen == [frame]
    watcher.tell(frame, None, last=True, died=False)
    assert watcher.due(0.2) == [frame]


def test_a_fault_of_the_program_is_no_bad_input_in_the_exit_code(capsys):
    folder = SimpleNamespace(folder=Path(), seen={}, waiting=dict)

    def ended(*kinds):
        watcher = _Watcher(folder)
        for number, kind in enumerate(kinds):
            path = Path(f"{number}.bite.toml")
            watcher.at_work[path] = "told before it was saved"  # not asked again, so told at once
            watcher.tell(path, FailedFrame(path.name, kind, "a line"), last=True, died=False)
        return watcher.exit_code()

    assert ended(FailureKind.INPUT) == 2 and ended(FailureKind.FAULT) == 70
    assert ended(FailureKind.FAULT, FailureKind.INPUT) == ended(FailureKind.INPUT, FailureKind.FAULT) == 70
    assert capsys.readouterr().err == 6 * "a line\n"


def test_a_frame_that_waits_is_told_once_with_what_it_waits_for(capsys):
    short = {Path("a.bite.toml"): ["front.png"]}
    watcher = _Watcher(SimpleNamespace(folder=Path(), seen={}, waiting=lambda: short))
    for now in (0.0, 5.0, 9.9):
        watcher.say_waiting(now)
    assert capsys.readouterr().err == ""
    for now in (10.0, 30.0, 60.0):
        watcher.say_waiting(now)
    assert capsys.readouterr().err == "a.bite.toml: waits for front.png\n"
    short[Path("a.bite.toml")] = ["solved.obj"]  # the picture came, the mesh is still missing
    watcher.say_waiting(61.0)
    watcher.say_waiting(72.0)
    assert capsys.readouterr().err == "a.bite.toml: waits for solved.obj\n"


def test_a_verdict_carries_its_sd_once(capsys):
    watcher = _Watcher(SimpleNamespace(folder=Path()))
    said = "the teeth stand within 0.5 mm already (offset +0.09 +- 0.13 mm)"
    for why in ("the teeth stand too far back", said):
        path = Path(f"{len(why)}.bite.toml")
        watcher.tell(path, EarlyVerdict("tern", "move", why, 0.0913, 0.1284), last=True, died=False)
    out = capsys.readouterr().out.splitlines()
    assert [line.count("offset +0.09 +- 0.13 mm") for line in out] == [1, 1]


def test_frames_that_were_told_are_looked_at_less_often_but_not_forgotten(tmp_path):
    write_cast(tmp_path, "whimbrel")
    landing = Landing(tmp_path, quiet_every=3)
    given = [len(landing.landed()) for _ in range(3)]
    assert sum(given) == 1
    clicks = next((tmp_path / "whimbrel").glob("*.corners.json"))
    clicks.write_bytes(clicks.read_bytes() + b"\n")
    assert sum(len(landing.landed()) for _ in range(6)) == 1


def _heard(process: subprocess.Popen, stream: IO[str], longest_s: float) -> str:
    """Wait for one line of what a process says; after so long it is ended, and the line is empty."""
    watchdog = threading.Timer(longest_s, process.kill)
    watchdog.start()
    try:
        return stream.readline()
    finally:
        watchdog.cancel()


@pytest.mark.slow
def test_a_frame_that_lands_later_is_told_and_an_interrupt_ends_it(tmp_path):
    """Nothing here is judged by the clock: the limits only end a process that would never end."""
    longest_s = 600.0
    command = [sys.executable, "-m", "bite", "watch", str(tmp_path)]
    # a shell without job control starts what it runs beside itself deaf to interrupts, and so would this be
    watching = subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )  # fmt: skip
    try:
        # what comes from here on lands later
        assert _heard(watching, watching.stderr, longest_s).startswith(f"watching {tmp_path}")
        shutil.copy(DEMO / "bench-depth.device.toml", tmp_path)
        shutil.copytree(DEMO / "whimbrel", tmp_path / "whimbrel")
        assert _heard(watching, watching.stdout, longest_s).startswith("whimbrel-a02: USABLE")
        watching.send_signal(signal.SIGINT)
        _, err = watching.communicate(timeout=longest_s)
        assert watching.returncode == 130 and err == ""
    finally:
        watching.kill()
        watching.communicate()
