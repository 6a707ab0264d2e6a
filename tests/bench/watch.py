"""How long after a frame's last file `bite watch` prints its verdict.

    python -m tests.bench.watch [--runs 10]

A demo frame with depth and a mesh is copied into a watched folder file by file, its largest file last; the
clock starts when that copy returns. Measured alone, and half a second after another frame landed, while the
pictures of that one are being drawn.
"""

from __future__ import annotations

import argparse
import os
import queue
import shutil
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

from bite.cast.runner.workers import available_cores

ROOT = Path(__file__).resolve().parents[2]
SOURCE = ROOT / "demo_bite" / "tern"
FRAME = "tern-a07"
LIMIT_S = 60.0


def land(folder: Path, name: str) -> float:
    """Copy the frame under another name; give the time at which its last file was whole."""
    place = folder / name
    place.mkdir()
    files = sorted(SOURCE.iterdir(), key=lambda file: (file.suffix == ".png", file.stat().st_size))
    for file in files:
        if file.name.endswith(".bite.toml"):
            text = file.read_text(encoding="utf-8").replace(f'"{FRAME}"', f'"{name}"')
            (place / f"{name}.bite.toml").write_text(text, encoding="utf-8")
        elif ".result." not in file.name and ".before-after." not in file.name:
            shutil.copyfile(file, place / file.name)
    return time.perf_counter()


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=10)
    runs = parser.parse_args().runs
    said: queue.Queue[tuple[str, float]] = queue.Queue()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        shutil.copy(ROOT / "demo_bite" / "bench-depth.device.toml", folder)
        watching = subprocess.Popen(
            [sys.executable, "-m", "bite", "watch", name], stdout=subprocess.PIPE, text=True
        )

        def listen() -> None:
            assert watching.stdout is not None
            for line in watching.stdout:
                said.put((line.partition(":")[0], time.perf_counter()))

        threading.Thread(target=listen, daemon=True).start()
        try:
            time.sleep(5.0)
            alone, after = [], []
            for number in range(runs):
                whole = land(folder, f"alone-{number:02d}")
                alone.append(said.get(timeout=LIMIT_S)[1] - whole)
                time.sleep(2.0)
                whole = {f"first-{number:02d}": land(folder, f"first-{number:02d}")}
                time.sleep(0.5)
                whole[f"second-{number:02d}"] = land(folder, f"second-{number:02d}")
                for _ in whole:
                    frame, at = said.get(timeout=LIMIT_S)
                    after.append(at - whole[frame])
                time.sleep(2.0)
        finally:
            watching.terminate()
            watching.wait()
    load = f"{os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else "not known"
    for what, times in (("alone", alone), ("two frames half a second apart", after)):
        print(
            f"{what}: verdict after median {statistics.median(times):.2f} s "
            f"({min(times):.2f} to {max(times):.2f}, n = {len(times)})"
        )
    print(f"{available_cores()} cores, load average of the last minute {load}")


if __name__ == "__main__":
    main()
