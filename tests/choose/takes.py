"""Small simulated takes, made once a run, and ways to put them or a stretch of one on disk."""

from __future__ import annotations

from collections.abc import Container
from functools import cache
from pathlib import Path

import cv2

from bite.files.corners import Corners, write_corners
from demo_bite.scene.settings import Detail
from demo_bite.scene.take import Planted, SimulatedTake, TakeSettings, simulate_take
from tests.once import kept

SMALL = TakeSettings(width_px=176, height_px=136, focal_px=600.0, detail=Detail.COARSE)
SEEDS = (11, 12, 13)
SIZE = (SMALL.width_px, SMALL.height_px)
STRETCHED, STRETCH = 12, range(17, 30)
"""A take and some of its frames: blurred, best, lips in the way, fair (one of them clicked), teeth apart."""


@cache
def small_take(seed: int) -> SimulatedTake:
    """Simulate a small take, once."""
    return kept(f"small-take-{seed}", lambda: simulate_take(seed, SMALL))


def clicked_corners(take: SimulatedTake, path: Path, file: str) -> Corners:
    """Give what somebody clicked as a corner file's content."""
    return Corners(path, file, *SIZE, dict(take.clicks), annotator="ab")


def write_pictures(
    take: SimulatedTake, folder: Path, *, clicked: bool = True, only: Container[int] | None = None
) -> Path:
    """Write a take, or some of its frames, as numbered pictures, with the corner file of the clicked one."""
    folder.mkdir(parents=True)
    for frame in take.frames():
        if only is not None and frame.number not in only:
            continue
        cv2.imwrite(str(folder / f"p{frame.number}.png"), frame.image[:, :, ::-1])
    if clicked:
        path = folder / f"p{take.clicked}.corners.json"
        write_corners(path, clicked_corners(take, path, f"p{take.clicked}.png"))
    return folder


def write_video(take: SimulatedTake, path: Path, *, only: Container[int] | None = None) -> Path:
    """Write a take, or some of its frames, as a video in which each stands alone (Motion JPEG)."""
    path.parent.mkdir(parents=True, exist_ok=True)
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter_fourcc(*"MJPG"), 25, SIZE)
    for frame in take.frames():
        if only is None or frame.number in only:
            writer.write(frame.image[:, :, ::-1])
    writer.release()
    return path


def frames_of(take: SimulatedTake, what: Planted) -> list[int]:
    """Give the numbers of the frames that were made to be something."""
    return [k for k, planted in enumerate(take.planted) if planted is what]
