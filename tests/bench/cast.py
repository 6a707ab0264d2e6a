"""What a cast costs: frames a second on one process and on two, a second run, and the parent's memory.

    python -m tests.bench.cast --frames 2000

The frames are small but whole: a 320 x 240 picture, an 80 x 60 depth map, a mesh of 19,000 faces; one
simulated performer for each hundred of them, noise of its own in each (tests/cast/small_cast.py). They are
checked, fitted, drawn and saved as any others.

One and two processes take turns on the first ``--turn`` frames, since a machine's speed drifts, and its cores
may be busy elsewhere: processor time a frame is printed beside wall time. Then the whole cast is run on
``--jobs`` processes, and run again with nothing changed.
"""

from __future__ import annotations

import argparse
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

FRAMES_A_PERFORMER = 100
CODE = """
import resource, sys
from bite.cli import main
code = main(["cast", *sys.argv[1:]])
if code > 1:
    sys.exit(f"exit code {code}")
own, workers = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
print(own.ru_maxrss // 1024, own.ru_utime + own.ru_stime, workers.ru_utime + workers.ru_stime)
"""
MAKE = """
import sys
from pathlib import Path
from tests.cast.small_cast import Performer, write_performer, write_small_cast
folder, frames, each = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])
performers = [
    Performer(f"p{k:03d}", 100 + k, t_mm=0.3 * (k % 5 - 2), moved_mm=(0.0, 0.5, -0.5, 1.0))
    for k in range(-(-frames // each))
]
write_small_cast(folder, performers[:1], 0)
for k, performer in enumerate(performers):
    write_performer(folder, performer, min(each, frames - k * each))
"""


@dataclass(frozen=True, slots=True)
class Cost:
    """Seconds, and the parent's peak memory in MB."""

    wall: float
    parent: float
    workers: float
    memory: int


def run(path: Path, jobs: int, *more: str) -> Cost:
    """Run a cast as a whole process."""
    start = time.perf_counter()
    command = [sys.executable, "-c", CODE, str(path), "--jobs", str(jobs), *more]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    wall = time.perf_counter() - start
    if done.returncode:
        raise SystemExit(done.stderr)
    memory, parent, workers = done.stdout.split()[-3:]
    return Cost(wall, float(parent), float(workers), int(memory))


@contextmanager
def folder_of(frames: int, keep: Path | None) -> Iterator[Path]:
    """Make the cast, or take one that was made before."""
    root = Path(__file__).resolve().parents[2]
    with tempfile.TemporaryDirectory() as name:
        folder = keep or Path(name)
        if not (folder / "cast.toml").is_file():
            start = time.perf_counter()
            command = [sys.executable, "-c", MAKE, str(folder), str(frames), str(FRAMES_A_PERFORMER)]
            subprocess.run(command, check=True, cwd=root)
            print(f"{frames} frames made in {time.perf_counter() - start:.0f} s", flush=True)
        yield folder


def take_turns(folder: Path, frames: int, turns: int) -> None:
    """Print what one and two processes cost on the first frames, in a copy that holds no results."""
    names = sorted(path.relative_to(folder).as_posix() for path in folder.glob("*/*.bite.toml"))[:frames]
    with tempfile.TemporaryDirectory() as name:
        copy = Path(name)
        made = shutil.ignore_patterns("*.result.json", "*.before-after.png")
        for performer in sorted({name.partition("/")[0] for name in names}):
            shutil.copytree(folder / performer, copy / performer, ignore=made)
        for table in folder.glob("*.device.toml"):
            shutil.copy(table, copy)
        text = (folder / "cast.toml").read_text(encoding="utf-8")
        cast = copy / "cast.toml"
        patterns = ", ".join(f'"{name}"' for name in names)
        cast.write_text(text.replace('"*/*.bite.toml"', patterns), encoding="utf-8")
        _compare(cast, frames, turns)


def _compare(cast: Path, frames: int, turns: int) -> None:
    costs: dict[int, list[Cost]] = {1: [], 2: []}
    for _ in range(turns):
        for jobs in (1, 2):
            out = cast.parent / "out"
            shutil.rmtree(out, ignore_errors=True)
            costs[jobs].append(run(cast, jobs, "--out", str(out)))
            load = os.getloadavg()[0]
            print(f"  {jobs} processes: {costs[jobs][-1].wall:.1f} s, load average {load:.1f}", flush=True)
    for jobs, own in costs.items():
        best = min(own, key=lambda cost: cost.wall)
        used = statistics.median(cost.workers / frames for cost in own)
        print(
            f"{frames} frames on {jobs} processes, best of {turns}: {best.wall:.1f} s, "
            f"{frames / best.wall:.2f} frames/s; processor time of the workers {used:.3f} s a frame "
            f"(median), of the parent {best.parent:.2f} s in all"
        )
    walls = {jobs: min(cost.wall for cost in own) for jobs, own in costs.items()}
    pairs = [one.wall / two.wall for one, two in zip(costs[1], costs[2], strict=True)]
    print(
        f"two processes against one: {walls[1] / walls[2]:.2f} times by the best runs; by turns "
        + ", ".join(f"{pair:.2f}" for pair in pairs)
    )


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--frames", type=int, default=2000)
    parser.add_argument("--turn", type=int, default=40, help="frames for one against two processes")
    parser.add_argument("--turns", type=int, default=3, help="0 leaves that comparison out")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--keep", type=Path, help="make the cast in this folder, or take it from there")
    args = parser.parse_args()
    frames: int = args.frames
    with folder_of(frames, args.keep) as folder:
        if args.turns:
            take_turns(folder, min(frames, args.turn), args.turns)
        path = folder / "cast.toml"
        first = run(path, args.jobs)
        page = (folder / "cast.html").stat().st_size
        print(
            f"{frames} frames, {args.jobs} processes: {first.wall:.0f} s, "
            f"{frames / first.wall:.2f} frames/s, workers {first.workers:.0f} s and parent "
            f"{first.parent:.1f} s of processor time, parent's peak memory {first.memory} MB, "
            f"page {page / frames / 1e3:.0f} kB a frame",
            flush=True,
        )
        again = run(path, args.jobs)
        cpu = (first.workers + first.parent) / (again.workers + again.parent)
        print(
            f"again with nothing changed: {again.wall:.2f} s, {first.wall / again.wall:.0f} times faster "
            f"({cpu:.0f} times less processor time), parent's peak memory {again.memory} MB"
        )


if __name__ == "__main__":
    main()
