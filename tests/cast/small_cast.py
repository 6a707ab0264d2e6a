"""Casts of small simulated frames: a 320 x 240 picture, an 80 x 60 depth map, a coarse mesh.

A performer is simulated once (about a second). Each of the performer's frames then gets noise of its own in
picture, depth and clicks, and one of a few solved meshes whose teeth stand elsewhere: milliseconds a frame.
The cameras are close to the mouth, so that teeth keep their pixels: incisors are about 20 px wide.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import numpy as np

from bite.files.atomic import write_bytes, write_text
from bite.files.corners import CornerPoint, Corners, write_corners
from demo_bite.scene import Detail, PictureSettings, Sensor, Settings, SimulatedFrame, SolveError, simulate
from demo_bite.scene.bundle import BENCH_DEPTH, DIAL
from demo_bite.scene.write import Export, picture_bytes, write_frame
from tests.once import kept

PICTURE = PictureSettings(width_px=320, height_px=240, focal_px=720.0)
SOLVE = SolveError(waves_mm=0.15, shift_sd_mm=0.1, turn_sd_deg=0.1)
SENSOR = Sensor(
    width_px=80, height_px=60, focal_px=180.0, smoothing_px=0.8, correlation_px=0.8, enamel_bias_mm=0.15
)
DEVICE_TABLE = """[device.{name}]
smoothing_px = 0.8
smoothing_sd_px = 0.4
enamel_bias_mm = {bias}
enamel_bias_sd_mm = {bias_sd}
noise_mm = 0.4
correlation_px = 0.8
"""
CAST = """format = "bite-cast 1"
name = "small"
performance_device = "{device}"
frames = ["*/*.bite.toml"]
"""


@dataclass(frozen=True, slots=True)
class Performer:
    """One simulated performer.

    ``t_mm`` is the planted offset; frame k is solved with teeth moved by ``moved_mm[k % len(moved_mm)]``, so
    that its planted offset is smaller by that. ``up_px`` is how far below the corners each annotator clicks.
    """

    name: str
    seed: int
    t_mm: float = 0.0
    device: str = "bench-depth"
    enamel_bias_mm: float = 0.15
    moved_mm: tuple[float, ...] = (0.0,)
    annotators: tuple[tuple[str, float], ...] = (("lr", 0.0),)


@lru_cache(maxsize=64)
def template(seed: int, t_mm: float, enamel_bias_mm: float) -> SimulatedFrame:
    """Simulate a performer's bite frame."""
    settings = Settings(
        t_mm=t_mm,
        sensor=replace(SENSOR, enamel_bias_mm=enamel_bias_mm),
        picture=PICTURE,
        detail=Detail.COARSE,
        solve=SOLVE,
    )
    name = f"small-{seed}-{t_mm}-{enamel_bias_mm}"
    return kept(name, lambda: simulate(np.random.default_rng(seed), settings))


def write_performer(folder: Path, performer: Performer, frames: int) -> None:
    """Write a performer's frames into a folder of the performer's own."""
    import cv2

    made = template(performer.seed, performer.t_mm, performer.enamel_bias_mm)
    rng = np.random.default_rng(performer.seed + 1)
    place = folder / performer.name
    for number, moved in enumerate(performer.moved_mm):
        export = Export(
            "first", performer.name, DIAL, device=performer.device, moved_mm=moved,
            device_file=f"../{performer.device}.device.toml", solved_file=f"solved-{number}.obj",
        )  # fmt: skip
        frame = write_frame(place, made, export)
    text = frame.read_text(encoding="utf-8")
    for file in (frame, place / "front.jpg", place / "front.corners.json", place / "front.depth.png"):
        file.unlink()
    (view,) = made.views
    unit = made.settings.sensor.unit_mm
    for number in range(frames):
        name = f"{performer.name}-{number:04d}"
        noisy = view.image + rng.normal(0.0, 1.5, view.image.shape)
        picture = np.clip(np.rint(noisy), 0, 255).astype(np.uint8)
        write_bytes(place / f"{name}.jpg", picture_bytes(picture, ".jpg"))
        depth = made.depth_mm + rng.normal(0.0, 0.1, made.depth_mm.shape)
        stored = np.nan_to_num(np.rint(depth / unit), nan=0.0).astype(np.uint16)
        write_bytes(place / f"{name}.depth.png", bytes(cv2.imencode(".png", stored)[1]))
        annotator, down_px = performer.annotators[number % len(performer.annotators)]
        points = {code: _clicked(point, rng, down_px) for code, point in view.corners.items()}
        size = (view.camera.width_px, view.camera.height_px)
        clicks = Corners(place, f"{name}.jpg", *size, points, {}, annotator, "2026-01-31T10:02:11Z")
        write_corners(place / f"{name}.corners.json", clicks)
        own = text.replace('"first"', f'"{name}"')
        for ending in (".jpg", ".depth.png", ".corners.json"):
            own = own.replace(f'"front{ending}"', f'"{name}{ending}"')
        solved = f"solved-{number % len(performer.moved_mm)}.obj"
        own = own.replace(f'"solved-{len(performer.moved_mm) - 1}.obj"', f'"{solved}"')
        write_text(place / f"{name}.bite.toml", own)


def write_small_cast(folder: Path, performers: list[Performer], frames_each: int = 1) -> Path:
    """Write a cast with all its files; give the path of the cast file."""
    folder.mkdir(parents=True, exist_ok=True)
    for device in sorted({performer.device for performer in performers}):
        table = DEVICE_TABLE.format(name=device, bias=BENCH_DEPTH.enamel_bias_mm, bias_sd=0.08)
        write_text(folder / f"{device}.device.toml", table)
    for performer in performers:
        write_performer(folder, performer, frames_each)
    path = folder / "cast.toml"
    write_text(path, CAST.format(device=performers[0].device))
    return path


def clicks_alone(folder: Path) -> None:
    """Take depth and solved model out of all frames: a check of clicks alone takes half the time or less."""
    for frame in folder.rglob("*.bite.toml"):
        write_text(frame, frame.read_text(encoding="utf-8").partition("[depth]")[0])


def _clicked(point: CornerPoint, rng: np.random.Generator, down_px: float) -> CornerPoint:
    if point.x_px is None or point.y_px is None:
        return point
    x, y = rng.normal((point.x_px, point.y_px + down_px), 0.2)
    return replace(point, x_px=round(float(x), 2), y_px=round(float(y), 2))
