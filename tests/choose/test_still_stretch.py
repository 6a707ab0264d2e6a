"""Frames about the chosen one that hold still are one bite, read again and again."""

from dataclasses import replace
from pathlib import Path

import pytest

from bite.choose.content import Chosen, Measures, Ranked, Standing
from bite.choose.judge import STILL_PX, still_stretch
from bite.choose.written import write_frames
from bite.files.frame import MapEntry, read_frame_file

MOTION = (3.0, 2.0, 0.4, 0.1, 0.2, 0.3, 1.0, 0.2, 0.1)


def measures(folder: Path = Path()) -> list[Measures]:
    return [Measures(k, f"p{k}", folder / f"p{k}.png", motion_px=px) for k, px in enumerate(MOTION)]


@pytest.mark.parametrize(
    ("number", "held"), [(3, range(2, 6)), (2, range(2, 6)), (8, range(7, 9)), (6, range(6, 7))]
)
def test_the_stretch_ends_where_the_head_moves(number: int, held: range) -> None:
    assert still_stretch(measures(), number) == held


def test_a_frame_whose_motion_is_not_known_holds_nothing() -> None:
    unknown = [replace(one, motion_px=None) for one in measures()]
    assert still_stretch(unknown, 3) == range(3, 4)
    assert STILL_PX < 1.0


def test_the_written_frame_averages_the_maps_of_the_stretch_its_own_first(tmp_path: Path) -> None:
    for k in range(len(MOTION)):
        (tmp_path / f"p{k}.png").write_bytes(b"x")
        (tmp_path / f"p{k}.depth.png").write_bytes(b"x")
    for name in ("camera.yaml", "bench.device.toml"):
        (tmp_path / name).write_text("", encoding="utf-8")
    ranked = tuple(Ranked(k, one, Standing.FIT, 0.1, "") for k, one in enumerate(measures(tmp_path), 1))
    chosen = Chosen("take", len(MOTION), 3, ranked, (), True)
    picture = type("Picture", (), {"number": 3, "path": tmp_path / "p3.png", "image": None})()
    (path,), notes = write_frames(None, chosen, [ranked[3]], {3: picture}, tmp_path, unit_mm=0.1)
    assert notes == ["p3.bite.toml averages 4 depth maps of the bite held about it"]
    text = path.read_text(encoding="utf-8").replace("# FILL IN: ", "")
    path.write_text(text, encoding="utf-8")
    depth = read_frame_file(path).depth
    assert isinstance(depth, MapEntry) and depth.unit_mm == 0.1
    assert [p.name for p in (depth.map, *depth.more_maps)] == [f"p{k}.depth.png" for k in (3, 2, 4, 5)]
