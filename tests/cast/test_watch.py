"""Frames that land while a folder is watched."""

import shutil
import signal
import subprocess
import sys
import time

from bite.cast.landing import Landing
from bite.cli import main
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


def test_once_tells_verdicts_and_what_is_bad(tmp_path, capsys):
    write_cast(tmp_path, "whimbrel")
    (tmp_path / "half.bite.toml").write_text('format = "bite-fr', encoding="utf-8")
    assert main(["watch", str(tmp_path), "--once"]) == 2
    said = capsys.readouterr()
    assert said.out.startswith("whimbrel-a02: USABLE") and said.out.count("\n") == 1
    assert said.err.startswith("half.bite.toml") and said.err.count("\n") == 1
    assert (tmp_path / "whimbrel" / "whimbrel-a02.result.json").exists()


def test_a_frame_that_lands_later_is_told_and_an_interrupt_ends_it(tmp_path):
    command = [sys.executable, "-m", "bite", "watch", str(tmp_path)]
    watching = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    try:
        time.sleep(0.5)
        shutil.copy(DEMO / "bench-depth.device.toml", tmp_path)
        shutil.copytree(DEMO / "whimbrel", tmp_path / "whimbrel")
        assert watching.stdout.readline().startswith("whimbrel-a02: USABLE")
        watching.send_signal(signal.SIGINT)
        _, err = watching.communicate(timeout=30)
        assert watching.returncode == 130 and err == ""
    finally:
        watching.kill()
