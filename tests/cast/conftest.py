"""A small cast out of demo frames, run once."""

import shutil
from pathlib import Path

import pytest

from tests.cast.small_cast import Performer, write_small_cast
from tests.external.conftest import fetch_wheel  # noqa: F401  a fixture
from tests.once import made_once

DEMO = Path(__file__).resolve().parents[2] / "demo_bite"
HOSTILE = "<img src=x onerror=alert(1)>"
CAST = """format = "bite-cast 1"
name = "=1+1 <script>alert(1)</script>"
performance_device = "bench-depth"
frames = [{patterns}]
"""


def write_cast(folder: Path, *performers: str, patterns: str = '"*/*.bite.toml"') -> Path:
    for performer in performers:
        shutil.copytree(DEMO / performer, folder / performer)
    shutil.copy(DEMO / "bench-depth.device.toml", folder)
    path = folder / "cast.toml"
    path.write_text(CAST.format(patterns=patterns), encoding="utf-8")
    return path


def outputs(folder: Path) -> dict[str, bytes]:
    return {name: (folder / name).read_bytes() for name in ("cast.html", "cast.csv", "cast.json", "cast.pdf")}


@pytest.fixture(scope="session")
def small(tmp_path_factory):
    """Write and run a cast of three performers with two small frames each; give its folder.

    For tests that read it: all processes of a run share it.
    """
    from bite.cli import main

    def make(folder):
        # some forward and some back: a shift that all share would hold their dial values back
        heads = {"p1": (1, 0.8), "p2": (2, -0.8), "p3": (1, 0.8)}
        performers = [Performer(name, k, t_mm=t, moved_mm=(0.0, 0.3)) for name, (k, t) in heads.items()]
        assert main(["cast", str(write_small_cast(folder, performers, 2)), "--jobs", "2"]) in (0, 1)

    return made_once(tmp_path_factory, "small", make)


def undone(folder: Path, copy: Path) -> Path:
    """Copy a cast without anything that a run writes; give its cast file."""
    unwanted = ("*.result.json", "*.before-after.png", ".bite-cast", "cast.html", "cast.csv", "cast.pdf")
    shutil.copytree(folder, copy, ignore=shutil.ignore_patterns(*unwanted, "cast.json"))
    return copy / "cast.toml"


@pytest.fixture(scope="session")
def done(tmp_path_factory):
    """Run a cast of one leave, one usable, a broken file, rubbish and an odd performer; give folder and code.

    For tests that read it: all processes of a run share it.
    """
    from bite.cli import main

    def make(folder):
        path = write_cast(folder, "tern", "whimbrel", patterns='"*/*.bite.toml", "rubbish/*"')
        frame = folder / "whimbrel" / "whimbrel-a02.bite.toml"
        text = frame.read_text(encoding="utf-8")
        odd = text.replace('performer = "whimbrel"', 'performer = "=SUM(A1) & b"')
        frame.write_text(odd, encoding="utf-8")
        (folder / "rubbish").mkdir()
        for number in range(30):
            (folder / "rubbish" / f"{number:02d}.png").write_bytes(bytes([number, 0, 255]))
        (folder / "rubbish" / "broken.bite.toml").write_text(f'format = "{HOSTILE}"\n', encoding="utf-8")
        (folder / "code").write_text(str(main(["cast", str(path), "--jobs", "2"])), encoding="utf-8")

    folder = made_once(tmp_path_factory, "done", make)
    return folder, int((folder / "code").read_text(encoding="utf-8"))
