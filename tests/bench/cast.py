"""What a cast costs: frames a second on one process and on two, a second run, and the parent's memory.

    python -m tests.bench.cast --frames 24

One small frame of the demo (a picture without a solved model) is copied under many names, so these numbers
are of throughput only; a frame with depth and a mesh takes longer.
"""

from __future__ import annotations

import argparse
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SOURCE = ROOT / "demo_bite" / "whimbrel"
CODE = """
import resource, sys
from bite.cli import main
code = main(["cast", *sys.argv[1:]])
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024)
"""


def make_cast(folder: Path, frames: int) -> Path:
    """Copy one frame under many names; its files are shared."""
    shutil.copytree(SOURCE, folder / "whimbrel")
    shutil.copy(ROOT / "demo_bite" / "bench-depth.device.toml", folder)
    first = folder / "whimbrel" / "whimbrel-a02.bite.toml"
    text = first.read_text(encoding="utf-8")
    first.unlink()
    for number in range(frames):
        name = f"frame-{number:05d}"
        own = text.replace('"whimbrel-a02"', f'"{name}"')
        (folder / "whimbrel" / f"{name}.bite.toml").write_text(own, encoding="utf-8")
    path = folder / "cast.toml"
    path.write_text(
        'format = "bite-cast 1"\nname = "bench"\nperformance_device = "bench-depth"\n'
        'frames = ["*/*.bite.toml"]\n',
        encoding="utf-8",
    )
    return path


def run(path: Path, jobs: int) -> tuple[float, int]:
    """Give wall time, s, and the parent's peak memory, MB."""
    start = time.perf_counter()
    command = [sys.executable, "-c", CODE, str(path), "--jobs", str(jobs)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    return time.perf_counter() - start, int(done.stdout.split()[-1])


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--frames", type=int, default=2000)
    frames = parser.parse_args().frames
    took = {}
    for jobs in (1, 2):
        with tempfile.TemporaryDirectory() as name:
            path = make_cast(Path(name), frames)
            took[jobs], memory = run(path, jobs)
            again, _ = run(path, jobs)
            print(
                f"{frames} frames, {jobs} processes: {took[jobs]:.1f} s, {frames / took[jobs]:.2f} frames/s, "
                f"parent {memory} MB; again with nothing changed {again:.2f} s, "
                f"{took[jobs] / again:.0f} times faster",
                flush=True,
            )
    print(f"two processes: {took[1] / took[2]:.2f} times as fast as one")


if __name__ == "__main__":
    main()
