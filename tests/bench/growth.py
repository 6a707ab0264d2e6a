"""How cost grows with work: a check by faces and by pixels of picture and map; a cast by frames.

    python -m tests.bench.growth [--runs 3] [--frames 25,50,100] [--axes faces,picture,map,cast]

Whole processes, processor time (user and system) and peak memory; each size of one axis takes turns with the
others, and the middle of the runs counts. The slope is that of the logarithm of cost, without what importing
the libraries takes, over the logarithm of size: 1 means twice the work costs twice as much, 0 that it costs
the same. Beside each check stands its ratio to a process that only imports the libraries and decodes the same
files.
"""

from __future__ import annotations

import argparse
import json
import shutil
import statistics
import sys
import tempfile
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from tests.bench.cast import CODE as CAST_CODE
from tests.bench.cast import MAKE as MAKE_CAST
from tests.bench.check import CHECK, IMPORT_AND_DECODE, run

IMPORTS = IMPORT_AND_DECODE.split("photo,")[0]
DETAILS = ("COARSE", "MEDIUM", "FULL", "FINE")
PICTURES_PX = (1000, 2000, 4000, 6000)
MAPS_PX = (320, 640, 1280)
AXES = ("faces", "picture", "map", "cast")


@dataclass(frozen=True, slots=True)
class Size:
    """One frame of an axis: how much work, and its files."""

    amount: float
    frame: Path
    files: tuple[Path, ...]


def make(folder: Path, detail: str, picture_px: int, map_px: int) -> tuple[int, tuple[Path, ...]]:
    """Write a frame; give its faces and its files, photograph, depth, solved, rest."""
    from demo_bite.scene import Detail, PictureSettings, Sensor, Settings, simulate
    from demo_bite.scene.bundle import DIAL
    from demo_bite.scene.write import Export, write_frame

    picture = PictureSettings(width_px=picture_px, height_px=picture_px * 3 // 4, focal_px=picture_px * 1.075)
    plain = Sensor()
    scale = map_px / plain.width_px
    sensor = replace(
        plain,
        width_px=map_px,
        height_px=round(plain.height_px * scale),
        focal_px=plain.focal_px * scale,
        smoothing_px=plain.smoothing_px * scale,
        correlation_px=plain.correlation_px * scale,
    )
    frame = simulate(
        np.random.default_rng(12),
        Settings(t_mm=1.2, picture=picture, sensor=sensor, detail=Detail[detail]),
    )
    write_frame(folder, frame, Export("bench", "bench", DIAL, device_file="bench-depth.device.toml"))
    device = Path(__file__).parents[2] / "demo_bite" / "bench-depth.device.toml"
    (folder / device.name).write_text(device.read_text(encoding="utf-8"), encoding="utf-8")
    names = ("front.jpg", "front.depth.png", "solved.obj", "rest.obj")
    return len(frame.faces), tuple(folder / n for n in names)


def resampled(source: Path, folder: Path, width_px: int) -> tuple[Path, ...]:
    """Write a frame again with its photograph at another size; give photograph, depth, solved, rest.

    A photograph is resampled and not drawn anew: what a check does with it hangs on its pixels alone.
    """
    import cv2

    shutil.copytree(source, folder)
    image = cv2.imread(str(source / "front.jpg"))
    height_px = width_px * image.shape[0] // image.shape[1]
    scale = np.array([width_px / image.shape[1], height_px / image.shape[0]])
    cv2.imwrite(str(folder / "front.jpg"), cv2.resize(image, (width_px, height_px)))
    camera = cv2.FileStorage(str(source / "front.camera.yaml"), cv2.FILE_STORAGE_READ)
    matrix = camera.getNode("camera_matrix").mat()
    lens = camera.getNode("distortion_coefficients").mat()
    # the middle of the first pixel is 0: places scale about the picture's own corner, half a pixel before it
    matrix[:2, 2] = (matrix[:2, 2] + 0.5) * scale - 0.5
    matrix[[0, 1], [0, 1]] *= scale
    written = cv2.FileStorage(str(folder / "front.camera.yaml"), cv2.FILE_STORAGE_WRITE)
    for key, value in (("image_width", width_px), ("image_height", height_px), ("camera_matrix", matrix),
                       ("distortion_coefficients", lens)):  # fmt: skip
        written.write(key, value)
    written.release()
    clicks = json.loads((source / "front.corners.json").read_text(encoding="utf-8"))
    clicks["image"].update(width=width_px, height=height_px)
    for point in clicks["points"].values():
        for key, factor in zip(("x", "y"), scale, strict=True):
            if key in point:
                point[key] = (point[key] + 0.5) * factor - 0.5
        if "sigma_px" in point:
            point["sigma_px"] *= float(scale.mean())
    (folder / "front.corners.json").write_text(json.dumps(clicks), encoding="utf-8")
    return tuple(folder / n for n in ("front.jpg", "front.depth.png", "solved.obj", "rest.obj"))


def slope(amounts: Sequence[float], costs: Sequence[float]) -> float:
    """Give the slope of log cost over log amount."""
    return float(np.polyfit(np.log(amounts), np.log(np.maximum(costs, 1e-3)), 1)[0])


def axis(name: str, unit: str, sizes: Sequence[Size], runs: int, out: Path) -> None:
    """Measure one axis and print a line a size."""
    cpu: dict[float, list[float]] = {s.amount: [] for s in sizes}
    least: dict[float, list[float]] = {s.amount: [] for s in sizes}
    memory: dict[float, list[float]] = {s.amount: [] for s in sizes}
    floor = []
    for k in range(runs + 1):
        floor.append(run(IMPORTS).cpu)
        for size in sizes:
            bare = run(IMPORT_AND_DECODE, *map(str, size.files))
            whole = run(CHECK, str(size.frame), str(out))
            if k:  # the first round warms the disk cache
                cpu[size.amount].append(whole.cpu)
                least[size.amount].append(bare.cpu)
                memory[size.amount].append(int(whole.out.split()[-1]) / 1024)
    base = statistics.median(floor)
    costs = [statistics.median(cpu[s.amount]) for s in sizes]
    for size, cost in zip(sizes, costs, strict=True):
        bare = statistics.median(least[size.amount])
        print(
            f"{name:8s} {size.amount:11,.0f} {unit:6s}  check {cost:5.2f} s, {cost / bare:4.2f} x import and "
            f"decode  peak {max(memory[size.amount]):4.0f} MB",
            flush=True,
        )
    amounts = [s.amount for s in sizes]
    peaks = [max(memory[a]) for a in amounts]
    growth = slope(amounts, np.array(costs) - base)
    print(
        f"{name:8s} slope of processor time beyond imports ({base:.2f} s) {growth:.2f},"
        f" of peak memory {slope(amounts, peaks):.2f}",
        flush=True,
    )


def cast(frames: Sequence[int]) -> None:
    """Measure casts of growing length on one process."""
    costs, peaks = [], []
    with tempfile.TemporaryDirectory() as name:
        for count in frames:
            folder = Path(name) / str(count)
            run(MAKE_CAST, str(folder), str(count), "25")
            done = run(CAST_CODE, str(folder / "cast.toml"), "--out", str(folder / "out"), "--jobs", "1")
            costs.append(done.cpu)
            peaks.append(float(done.out.split()[-3]))
            print(
                f"cast     {count:11,d} frames  {costs[-1]:6.1f} s, {costs[-1] / count:.2f} s a frame  "
                f"peak of the parent {peaks[-1]:.0f} MB",
                flush=True,
            )
    growth = slope(frames, costs)
    print(f"cast     slope of processor time {growth:.2f}, of peak memory {slope(frames, peaks):.2f}")


def main(arguments: Sequence[str] | None = None) -> int:
    """Measure all axes."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench.growth", description=__doc__.partition("\n")[0]
    )
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--frames", default="25,50,100", help="lengths of casts, with commas between")
    parser.add_argument("--axes", default=",".join(AXES), help="which of them, with commas between")
    asked = parser.parse_args(arguments)
    axes = asked.axes.split(",")
    if unknown := set(axes) - set(AXES):
        parser.error(f"no axis named {sorted(unknown)[0]!r}; there are: {', '.join(AXES)}")
    with tempfile.TemporaryDirectory() as name, ProcessPoolExecutor(1) as pool:
        base = Path(name)

        def size(detail: str, picture_px: int, map_px: int, amount: float | None = None) -> Size:
            folder = base / f"{detail}-{picture_px}-{map_px}"
            faces, files = pool.submit(make, folder, detail, picture_px, map_px).result()
            return Size(float(faces) if amount is None else amount, folder / "bench.bite.toml", files)

        if "faces" in axes:
            axis("faces", "faces", [size(d, 2000, 640) for d in DETAILS], asked.runs, base / "out")
        if "picture" in axes:
            drawn = size("MEDIUM", 2000, 640).frame.parent
            sizes = [
                Size(0.75 * w * w, base / str(w) / "bench.bite.toml", resampled(drawn, base / str(w), w))
                for w in PICTURES_PX
            ]
            axis("picture", "px", sizes, asked.runs, base / "out")
        if "map" in axes:
            sizes = [size("MEDIUM", 2000, w, 0.75 * w * w) for w in MAPS_PX]
            axis("map", "px", sizes, asked.runs, base / "out")
    if "cast" in axes:
        cast([int(n) for n in asked.frames.split(",")])
    return 0


if __name__ == "__main__":
    sys.exit(main())
