"""Corner files under a window: damage, other writers, full disks, kills."""

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from bite.annotate.state.clicks import ViewClicks
from bite.annotate.store.corner_files import CornerStore
from bite.errors import InputError
from bite.files.corners import CornerPoint, CornerState, read_corners
from tests.annotate.support import NOON

KILLS = int(os.environ.get("BITE_KILLS", "12"))
"""How often the writer is killed; 200 were run for the record, a dozen keep the suite fast."""

_WRITER = """
import sys
from datetime import UTC, datetime
from pathlib import Path
from bite.annotate.state.clicks import ViewClicks
from bite.annotate.store.corner_files import CornerStore
store = CornerStore(Path(sys.argv[1]), image_file="a.png", width_px=100000, height_px=100, annotator="ab",
                    now=lambda: datetime.now(UTC))
clicks = store.load()
count = int(clicks.places["11d"][0]) if clicks.done else 0
print("ready", flush=True)
while True:
    count += 1
    clicks = clicks.placed("11d", (float(count), 10.0))
    print(f"try {count}\\n", end="", flush=True)
    status = store.save(clicks)
    assert status.saved, status.why_not
    print(f"done {count}\\n", end="", flush=True)
"""


def store_at(path: Path, **other: object) -> CornerStore:
    settings = {
        "image_file": "a.png",
        "width_px": 100,
        "height_px": 80,
        "annotator": "ab",
        "now": lambda: NOON,
    }
    return CornerStore(path, **(settings | other))  # type: ignore[arg-type]  # a stand-in


def one_click(x: float = 10.0) -> ViewClicks:
    return ViewClicks({"11d": CornerPoint(CornerState.SEEN, x, 20.0)})


def test_nothing_clicked_makes_no_file(tmp_path: Path) -> None:
    store = store_at(tmp_path / "a.corners.json")
    assert store.load() == ViewClicks()
    assert store.save(ViewClicks()).saved
    assert list(tmp_path.iterdir()) == []


def test_round_trip(tmp_path: Path) -> None:
    store = store_at(tmp_path / "a.corners.json")
    store.load()
    assert store.save(one_click()).saved
    assert store_at(store.path).load() == one_click()
    corners = read_corners(store.path)
    assert (corners.annotator, corners.saved) == ("ab", "2026-01-31T12:00:00Z")


@pytest.mark.parametrize("damage", [b"", b"{", b"\x00" * 50, b'{"format": "bite-corners 1"}'])
def test_a_damaged_file_is_kept_under_a_number(tmp_path: Path, damage: bytes) -> None:
    path = tmp_path / "a.corners.json"
    for number in (1, 2):
        path.write_bytes(damage)
        store = store_at(path)
        assert store.load() == ViewClicks()
        aside = tmp_path / f"a.corners.json.aside-{number}"
        assert store.set_aside == [aside]
        assert aside.read_bytes() == damage
        assert not path.exists()


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_a_pipe_is_refused_without_waiting_and_so_is_a_device(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "a.corners.json")
    (tmp_path / "b.corners.json").symlink_to("/dev/zero")
    for name in ("a.corners.json", "b.corners.json"):
        with pytest.raises(InputError, match="not a regular file"):
            store_at(tmp_path / name).load()
    assert store_at(tmp_path / ("x" * 300)).load() == ViewClicks()


def test_another_pictures_file_is_refused_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "a.corners.json"
    store = store_at(path)
    store.load()
    store.save(one_click())
    before = path.read_bytes()
    with pytest.raises(InputError, match=r"clicked in a\.png 100 x 80"):
        store_at(path, width_px=200).load()
    with pytest.raises(InputError, match=r"b\.png"):
        store_at(path, image_file="b.png").load()
    assert path.read_bytes() == before


def test_what_another_program_wrote_meanwhile_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "a.corners.json"
    mine, other = store_at(path), store_at(path, annotator="cd")
    mine.load()
    mine.save(one_click(10.0))
    other.load()
    other.save(one_click(55.0))
    mine.save(one_click(11.0))
    assert read_corners(path).points["11d"].x_px == 11.0
    assert read_corners(mine.set_aside[0]).points["11d"].x_px == 55.0


def test_a_failed_save_says_why_once_and_is_made_good_later(tmp_path: Path) -> None:
    folder = tmp_path / "there"
    folder.mkdir()
    store = store_at(folder / "a.corners.json")
    store.load()
    folder.rmdir()
    first, second = store.save(one_click()), store.save(one_click())
    assert not first.saved and first.new_trouble
    assert not second.saved and not second.new_trouble
    assert "folder" in second.why_not
    folder.mkdir()
    assert store.save(one_click()).saved
    assert read_corners(store.path).points["11d"].x_px == 10.0


def test_first_save_is_announced_once(tmp_path: Path) -> None:
    told: list[str] = []
    store = store_at(tmp_path / "a.corners.json", first_saved=lambda: told.append("saved"))
    store.load()
    store.save(one_click())
    store.save(one_click(11.0))
    assert told == ["saved"]


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="needs SIGKILL")
def test_killed_at_any_instant_the_last_or_last_but_one_save_is_there_whole(tmp_path: Path) -> None:
    path = tmp_path / "a.corners.json"
    clock = random.Random(11)
    for _ in range(KILLS):
        writer = subprocess.Popen(
            [sys.executable, "-c", _WRITER, str(path)], stdout=subprocess.PIPE, text=True
        )
        assert writer.stdout is not None
        assert writer.stdout.readline() == "ready\n"
        time.sleep(clock.uniform(0.0, 0.05))
        writer.send_signal(signal.SIGKILL)
        # the last line may be cut off
        lines = writer.stdout.read().split("\n")[:-1]
        writer.wait()
        done = [int(line.split()[1]) for line in lines if line.startswith("done")]
        tried = [int(line.split()[1]) for line in lines if line.startswith("try")]
        if not done:
            continue
        kept = read_corners(path).points["11d"].x_px
        assert kept in (done[-1], tried[-1]), "a complete save must not be lost"
        assert not list(tmp_path.glob("*.aside-*"))


def test_copies_elsewhere_are_known_by_the_file_they_belong_to(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HOME", str(tmp_path))
    # a folder that is not there takes no file
    ours, others = (store_at(tmp_path / name / "a.corners.json") for name in ("gone", "gone too"))
    beside = ours.save_beside(one_click())
    assert beside is not None and beside.parent == tmp_path
    assert [kept.path for kept in ours.kept(ViewClicks())] == [beside]
    assert ours.kept(ViewClicks())[0].clicks == one_click()
    assert others.kept(ViewClicks()) == ()
    assert ours.kept(one_click()) == (), "what is clicked already is not offered"


def test_the_latest_copy_comes_first(tmp_path: Path) -> None:
    stamps = iter([NOON, NOON.replace(hour=15), NOON.replace(hour=13)])
    store = store_at(tmp_path / "a.corners.json", now=lambda: next(stamps))
    for x in (10.0, 11.0, 12.0):
        assert store.save_beside(one_click(x)) is not None
    assert [kept.clicks for kept in store.kept(ViewClicks())] == [one_click(x) for x in (11.0, 12.0, 10.0)]
