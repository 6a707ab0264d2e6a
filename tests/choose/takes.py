"""Small simulated takes, made once a session and kept in memory, and ways to put them on disk."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import cv2

from bite.files.corners import Corners, write_corners
from demo_bite.scene.settings import Detail
from demo_bite.scene.take import Planted, SimulatedTake, TakeSettings, simulate_take

SMALL = TakeSettings(width_px=176, height_px=136, focal_px=600.0, detail=Detail.COARSE)
SEEDS = (11, 12, 13)
SIZE = (SMALL.width_px, SMALL.height_px)


@cache
def small_take(seed: int) -> SimulatedTake:
    """Simulate a small take, once."""
    return simulate_take(seed, SMALL)


def clicked_corners(take: SimulatedTake, path: Path, file: str) -> Corners:
    """Give what somebody clicked as a corner file's content."""
    return Corners(path, file, *SIZE, dict(take.clicks), annotator="ab")


def write_pictures(take: SimulatedTake, folder: Path, *, clicked: bool = True) -> Path:
    """Write a take as numbered pictures, with the corner file of the clicked one."""
    folder.mkdir(parents=True)
    for frame in take.frames():
        cv2.imwrite(str(folder / f"p{frame.number}.png"), frame.image[:, :, ::-1])
    if clicked:
        path = folder / f"p{take.clicked}.corners.json"
        write_corners(path, clicked_corners(take, path, f"p{take.clicked}.png"))
    return folder


def write_video(take: SimulatedTake, path: Path) -> Path:
    """Write a take as a video in which every frame stands alone (Motion JPEG)."""
    path.parent.mkdir(parents=True, exist_ok=True)
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter_fourcc(*"MJPG"), 25, SIZE)
    for frame in take.frames():
        writer.write(frame.image[:, :, ::-1])
    writer.release()
    return path


def frames_of(take: SimulatedTake, what: Planted) -> list[int]:
    """Give the numbers of the frames that were made to be something."""
    return [k for k, planted in enumerate(take.planted) if planted is what]
