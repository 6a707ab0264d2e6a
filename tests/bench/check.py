"""What one check costs: a 12 megapixel photograph, a 640 x 480 depth map, a mesh of 100,000 faces.

    python -m tests.bench.check [--runs 5]

Times are whole processes, in turn with a process that only imports the same libraries and decodes the same
files; quote the ratio, since
machines differ and drift. The frame is made once into a temporary folder.
"""

from __future__ import annotations

import argparse
import json
import statistics
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
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
from bite.evidence.head import solved_head
from bite.evidence.depth import depth_block
from bite.evidence.clicks import corner_block
from bite.evidence.priors import prior_of
from bite.fit.offset import fit_offset
frame = load_frame(sys.argv[1])
solved = solved_head(frame)
for _ in range(4):
    start, cpu = time.perf_counter(), time.process_time()
    blocks = [depth_block(frame, solved.head), corner_block(frame, solved.head)]
    fit = fit_offset(blocks, prior_of(frame.device)[0])
    print(time.perf_counter() - start, time.process_time() - cpu, fit.solution.rounds)
"""


def make_frame(folder: Path) -> dict[str, Path]:
    """Write the frame; give its files."""
    from demo_bite.scene import Detail, PictureSettings, Settings, simulate
    from demo_bite.scene.bundle import DIAL
    from demo_bite.scene.write import Export, write_frame

    picture = PictureSettings(width_px=4000, height_px=3000, focal_px=4300.0)
    settings = Settings(t_mm=1.2, picture=picture, detail=Detail.FINE)
    frame = simulate(np.random.default_rng(12), settings)
    path = write_frame(folder, frame, Export("bench", "bench", DIAL, device_file="bench-depth.device.toml"))
    device = Path(__file__).parents[2] / "demo_bite" / "bench-depth.device.toml"
    (folder / device.name).write_text(device.read_text(encoding="utf-8"), encoding="utf-8")
    print(f"photograph 4000 x 3000, depth 640 x 480, {len(frame.faces)} faces", flush=True)
    return {"frame": path, "photo": folder / "front.jpg", "depth": folder / "front.depth.png",
            "solved": folder / "solved.obj", "rest": folder / "rest.obj"}  # fmt: skip


def run(code: str, *args: str) -> tuple[float, str]:
    """Run Python code as a whole process; give its wall time, s, and what it printed last."""
    start = time.perf_counter()
    done = subprocess.run([sys.executable, "-c", code, *args], capture_output=True, text=True, check=False)
    took = time.perf_counter() - start
    if done.returncode:
        raise SystemExit(done.stderr)
    return took, done.stdout


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
        base, check, ratio, memory, helps = [], [], [], [], []
        for k in range(runs + 1):
            least, _ = run(IMPORT_AND_DECODE, *paths)
            whole, out = run(CHECK, str(files["frame"]), str(Path(name) / "out"))
            quick, _ = run(
                "from bite.cli import main\ntry: main(['--help'])\nexcept SystemExit: pass"
            )
            if k:  # the first round warms the disk cache
                base.append(least), check.append(whole), ratio.append(whole / least), helps.append(quick)
                memory.append(int(out.split()[-1]) / 1024)
        lines = [line.split() for line in run(FIT, str(files["frame"]))[1].splitlines()][1:]
        wall, cpu, rounds = (statistics.median(float(line[c]) for line in lines) for c in range(3))
        result = json.loads((Path(name) / "out" / "bench.result.json").read_text(encoding="utf-8"))
    print(
        f"import and decode only: median {statistics.median(base):.2f} s ({min(base):.2f} to {max(base):.2f})"
    )
    print(
        f"bite check, whole process: median {statistics.median(check):.2f} s "
        f"({min(check):.2f} to {max(check):.2f})"
    )
    print(
        f"ratio check / import and decode: median {statistics.median(ratio):.2f} "
        f"({min(ratio):.2f} to {max(ratio):.2f})"
    )
    print(f"peak memory of the check: {max(memory):.0f} MB")
    print(f"fit: median {wall:.2f} s wall, {cpu:.2f} s of processor time, {rounds:.0f} rounds")
    print(f"bite --help: median {statistics.median(helps):.2f} s")
    print(f"offset found {result['offset']['t_mm']} +- {result['offset']['sd_mm']} mm, planted 1.2 mm")


if __name__ == "__main__":
    main()
