"""What one check costs: a 12 megapixel photograph, a 640 x 480 depth map, a mesh of 100,000 faces.

    python -m tests.bench.check [--runs 5]

Times are whole processes, in turn with a process that only imports the same libraries and decodes the same
files; quote the ratios, since machines differ and drift. Processor time (user and system) is told beside wall
time: on a machine with other work it is the steadier of the two. The frame is made once into a temporary
folder. Modules are compiled in the round that is not counted and kept, as they are where a package is
installed, whatever the surroundings say of keeping compiled code.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

IMPORT_AND_DECODE = """
import sys, resource
import numpy, scipy.optimize, scipy.ndimage, cv2, trimesh, pydantic
import matplotlib.figure, matplotlib.backends.backend_agg
photo, depth, solved, rest = sys.argv[1:]
cv2.imread(photo); cv2.imread(depth, cv2.IMREAD_UNCHANGED)
for mesh in (solved, rest):
    trimesh.load(mesh, process=False, maintain_order=True)
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""

CHECK = """
import sys, resource
from bite.cli import main
code = main(["check", sys.argv[1], "--out", sys.argv[2], "--quiet"])
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""

FIT = """
import sys, time
from bite.files.bundle import load_frame
from bite.evidence.model.head import solved_head
from bite.evidence.blocks import offset_evidence
from bite.fit.offset import fit_offset
frame = load_frame(sys.argv[1])
solved = solved_head(frame)
for _ in range(4):
    start, cpu = time.perf_counter(), time.process_time()
    evidence = offset_evidence(frame, solved)
    fit = fit_offset(evidence.blocks, evidence.prior)
    print(time.perf_counter() - start, time.process_time() - cpu, fit.solution.rounds)
"""


def make_frame(folder: Path) -> dict[str, Path]:
    """Write the frame; give its files."""
    from demo_bite.scene import Detail, PictureSettings, Settings, simulate
    from demo_bite.scene.bundle import DIAL
    from demo_bite.scene.write import Export, write_frame

    picture = PictureSettings(width_px=4000, height_px=3000, focal_px=4300.0)
    settings = Settings(t_mm=1.2, picture=picture, detail=Detail.FULL)
    frame = simulate(np.random.default_rng(12), settings)
    path = write_frame(folder, frame, Export("bench", "bench", DIAL, device_file="bench-depth.device.toml"))
    device = Path(__file__).parents[2] / "demo_bite" / "bench-depth.device.toml"
    (folder / device.name).write_text(device.read_text(encoding="utf-8"), encoding="utf-8")
    print(f"photograph 4000 x 3000, depth 640 x 480, {len(frame.faces)} faces", flush=True)
    return {"frame": path, "photo": folder / "front.jpg", "depth": folder / "front.depth.png",
            "solved": folder / "solved.obj", "rest": folder / "rest.obj"}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Took:
    """Time of one whole process, s, and what it printed."""

    wall: float
    cpu: float
    out: str


@cache
def _compiled() -> tempfile.TemporaryDirectory[str]:
    """Make a folder for compiled modules, which goes when this process does."""
    return tempfile.TemporaryDirectory()


def run(code: str, *args: str) -> Took:
    """Run Python code as a whole process."""
    surroundings = dict(os.environ, PYTHONPYCACHEPREFIX=_compiled().name)
    surroundings.pop("PYTHONDONTWRITEBYTECODE", None)
    start, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
    command = [sys.executable, "-c", code, *args]
    done = subprocess.run(command, capture_output=True, text=True, check=False, env=surroundings)
    took, after = time.perf_counter() - start, resource.getrusage(resource.RUSAGE_CHILDREN)
    if done.returncode:
        raise SystemExit(done.stderr)
    cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return Took(took, cpu, done.stdout)


def spread(values: list[float]) -> str:
    """Give the median and the range of some figures."""
    return f"median {statistics.median(values):.2f} ({min(values):.2f} to {max(values):.2f})"


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=5)
    runs = parser.parse_args().runs
    with tempfile.TemporaryDirectory() as name:
        # made in a process of its own: a child's peak memory starts from that of its parent
        with ProcessPoolExecutor(1) as pool:
            files = pool.submit(make_frame, Path(name)).result()
        paths = [str(files[k]) for k in ("photo", "depth", "solved", "rest")]
        base, check, helps, memory = [], [], [], []
        for k in range(runs + 1):
            least = run(IMPORT_AND_DECODE, *paths)
            whole = run(CHECK, str(files["frame"]), str(Path(name) / "out"))
            quick = run("from bite.cli import main\ntry: main(['--help'])\nexcept SystemExit: pass")
            if k:  # the first round warms the disk cache
                base.append(least), check.append(whole), helps.append(quick)
                memory.append(int(whole.out.split()[-1]) / 1024)
        lines = [line.split() for line in run(FIT, str(files["frame"])).out.splitlines()][1:]
        wall, cpu, rounds = (statistics.median(float(line[c]) for line in lines) for c in range(3))
        result = json.loads((Path(name) / "out" / "bench.result.json").read_text(encoding="utf-8"))
    pairs = list(zip(check, base, strict=True))
    print(f"import and decode only, s: wall {spread([b.wall for b in base])}, "
          f"processor {spread([b.cpu for b in base])}")
    print(f"bite check, whole process, s: wall {spread([c.wall for c in check])}, "
          f"processor {spread([c.cpu for c in check])}")
    print(f"check / import and decode: wall {spread([c.wall / b.wall for c, b in pairs])}, "
          f"processor {spread([c.cpu / b.cpu for c, b in pairs])}")
    print(f"peak memory of the check: {max(memory):.0f} MB")
    print(f"fit: median {wall:.2f} s wall, {cpu:.2f} s of processor time, {rounds:.0f} rounds")
    print(f"bite --help, s: {spread([h.wall for h in helps])}")
    print(f"offset found {result['offset']['t_mm']} +- {result['offset']['sd_mm']} mm, planted 1.2 mm")


if __name__ == "__main__":
    main()
