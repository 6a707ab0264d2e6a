"""What `bite choose` costs: 300 frames of 1080p, clicked in the middle, time and peak memory.

    python -m tests.bench.choose [--frames 300]

The take is made once into a temporary folder: a simulated mouth with crowns of about 45 px in a picture of
1920 x 1080, as Motion JPEG. The aim is 60 s on two cores; the load of the machine is printed beside it.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import cv2
import numpy as np

from bite.files.corners import CornerPoint, Corners, write_corners
from demo_bite.scene.take import SimulatedTake, TakeSettings, simulate_take

SIZE = (1920, 1080)
CHOOSE = """
import resource, sys, time
from bite.cli import main
start, cpu = time.perf_counter(), time.process_time()
code = main(["choose", *sys.argv[1:], "--quiet"])
print(code, time.perf_counter() - start, time.process_time() - cpu)
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""


def make_take(folder: Path, frames: int) -> tuple[Path, Path, int]:
    """Write video and corner file; give both and the number of the clicked frame."""
    take = simulate_take(7, TakeSettings(width_px=480, height_px=360, focal_px=1600.0))
    count = len(take.planted)
    order = [k if (n // count) % 2 == 0 else count - 1 - k for n in range(frames) for k in (n % count,)]
    clicked = max((n for n in range(frames // 2) if order[n] == take.clicked), default=take.clicked)
    rng = np.random.default_rng(0)
    wall = cv2.GaussianBlur(rng.integers(60, 120, (SIZE[1], SIZE[0], 3)).astype(np.uint8), (0, 0), 3)
    writer = cv2.VideoWriter(str(folder / "bench.avi"), cv2.VideoWriter_fourcc(*"MJPG"), 25, SIZE)
    corner = (SIZE[0] - 480) // 2, (SIZE[1] - 360) // 2
    made: dict[int, np.ndarray] = {}
    for number in order:
        if number not in made:
            made[number] = take.frame(number).image[:, :, ::-1]
        picture = wall.copy()
        picture[corner[1] : corner[1] + 360, corner[0] : corner[0] + 480] = made[number]
        writer.write(picture)
    writer.release()
    path = folder / "bench.corners.json"
    write_corners(path, Corners(path, "bench.png", *SIZE, _shifted(take, corner)))
    return folder / "bench.avi", path, clicked


def _shifted(take: SimulatedTake, corner: tuple[int, int]) -> dict[str, CornerPoint]:
    return {
        code: CornerPoint(p.state, p.x_px + corner[0], p.y_px + corner[1], p.sigma_px)
        for code, p in take.clicks.items()
        if p.x_px is not None and p.y_px is not None
    }


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--frames", type=int, default=300)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        video, corners, clicked = make_take(Path(name), args.frames)
        start = time.perf_counter()
        command = [
            sys.executable,
            "-c",
            CHOOSE,
            str(video),
            "--corners",
            str(corners),
            "--frame",
            str(clicked),
        ]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        wall = time.perf_counter() - start
    if done.returncode:
        sys.exit(done.stderr)
    line, figures, memory = done.stdout.splitlines()[-3:]
    _, _, cpu = figures.split()
    print(line)
    print(
        f"{args.frames} frames of {SIZE[0]} x {SIZE[1]}, clicked in frame {clicked}: {wall:.1f} s, "
        f"{float(cpu):.1f} s of processor time, peak memory {int(memory) / 1024:.0f} MB; "
        f"load of the machine {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores"
    )


if __name__ == "__main__":
    main()
