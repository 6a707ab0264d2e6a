"""Frames of one invented performer, made once for all tests: two with depth, three with the head turned."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np

from bite.files.atomic import write_text
from demo_bite.make_demo import DEVICE
from demo_bite.roles import BACK
from demo_bite.scene import (
    Bite,
    Clicks,
    Detail,
    PictureSettings,
    Sensor,
    Settings,
    Shot,
    SimulatedFrame,
    SolveError,
    draw_anatomy,
    simulate,
)
from demo_bite.scene.write import Export, write_frame
from tests.once import kept

PLANTED_MM = 1.4
_BITE = Bite(2.9, 2.4, occlusal_pitch_deg=0.0)
DEPTH = Settings(
    t_mm=PLANTED_MM,
    bite=_BITE,
    shot=Shot(distance_mm=320.0, turn_deg=0.0, nod_deg=3.0, tilt_deg=0.0),
    solve=SolveError(waves_mm=0.15),
    sensor=Sensor(width_px=480, height_px=360, focal_px=600.0, enamel_bias_mm=0.15),
    picture=PictureSettings(480, 640, 900.0, noise=0.8),
    detail=Detail.COARSE,
)


@cache
def frames_of_one() -> Mapping[str, SimulatedFrame]:
    """Give the frames by name: a1 and a2 with depth, c1 to c3 with corners and landmarks alone."""
    return kept("frames-of-one", _simulated)


def _simulated() -> dict[str, SimulatedFrame]:
    anatomy = draw_anatomy(np.random.default_rng(3), _BITE)
    made = {
        name: simulate(np.random.default_rng(seed), DEPTH, anatomy=anatomy)
        for name, seed in (("a1", 50), ("a2", 51))
    }
    for name, turn in (("c1", 0.0), ("c2", 20.0), ("c3", -20.0)):
        turned = replace(
            DEPTH, depth=False, shot=replace(DEPTH.shot, turn_deg=turn), clicks=Clicks(0.3, 0.3, 0.3)
        )
        made[name] = simulate(np.random.default_rng(60 + int(turn)), turned, anatomy=anatomy)
    return made


def write_frames(folder: Path, names: tuple[str, ...], *, performer: str = "tern") -> list[Path]:
    """Write frames, each into a folder of its own, and give their frame files."""
    write_text(folder / "bench-depth.device.toml", DEVICE)
    made = frames_of_one()
    return [
        write_frame(folder / name, made[name], Export(f"{performer}-{name}", performer, BACK, landmarks=True))
        for name in names
    ]
