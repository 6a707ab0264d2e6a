"""The program beside what a careful engineer would do instead, on frames of the independent worlds.

    python -m tests.bench.peers --world modelled --frames 8 --keep FOLDER

Needs the extra ``bench`` (small_gicp, open3d); a way whose library is missing is said to be, not left out.
Printed as one table: a row a world and way, with bias, rmse, the share of 95 % intervals that held the truth
where the way states any, failures (errors, and answers beyond 20 mm), and processor time a frame without
reading the files.
"""

from __future__ import annotations

import argparse
import csv
import json
import time
from collections.abc import Sequence
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from bite.files.bundle import load_frame
from tests.bench.peers.given import given
from tests.bench.peers.ways import WAYS
from tests.worlds.study import chosen
from tests.worlds.wheel import wheel
from tests.worlds.write import FRAME, TRUTH, write_frame

Z95 = 1.959964
ABSURD_MM = 20.0


@dataclass(frozen=True, slots=True)
class Row:
    """One answer of one way; NaN for none."""

    world: str
    seed: int
    way: str
    truth_mm: float
    value_mm: float
    sd_mm: float
    seconds: float
    error: str = ""


def run(world_name: str, seed: int, folder: Path) -> list[Row]:
    """Give a row a way for one frame."""
    truth = json.loads((folder / TRUTH).read_text(encoding="utf-8"))["t_mm"]
    frame = load_frame(folder / FRAME)
    rows = []
    for way, ask in WAYS.items():
        start = time.process_time()
        try:
            value, sd = ask(frame, given(frame))
            error = "" if abs(value) < ABSURD_MM else f"{value:.0f} mm"
        except Exception as why:
            value, sd, error = float("nan"), float("nan"), f"{type(why).__name__}: {why}"
        rows.append(Row(world_name, seed, way, truth, value, sd, time.process_time() - start, error))
    return rows


def line(world: str, way: str, rows: Sequence[Row]) -> str:
    """One row of the table."""
    good = [r for r in rows if not r.error]
    off = np.array([r.value_mm - r.truth_mm for r in good])
    sd = np.array([r.sd_mm for r in good])
    if not good:
        return f"| {world} | {way} | {len(rows)} | {len(rows)} | | | | |"
    stated = np.isfinite(sd)
    held = (
        f"{int((np.abs(off) <= Z95 * sd)[stated].sum())} of {int(stated.sum())}"
        if stated.any()
        else "none stated"
    )
    return (
        f"| {world} | {way} | {len(rows)} | {len(rows) - len(good)} | {off.mean():+.3f} |"
        f" {np.sqrt(np.mean(off**2)):.3f} | {held} | {np.median([r.seconds for r in good]):.1f} |"
    )


def main(arguments: Sequence[str] | None = None) -> int:
    """Run all ways and print the table."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench.peers", description=__doc__.partition("\n")[0]
    )
    parser.add_argument("--world", default="modelled")
    parser.add_argument("--frames", type=int, default=8)
    parser.add_argument("--first-seed", type=int, default=1)
    parser.add_argument("--keep", type=Path, help="keep the frames here and use those that are there")
    parser.add_argument("--csv", type=Path, help="write a row for each answer")
    asked = parser.parse_args(arguments)
    print("| world | way | frames | failed | bias, mm | rmse, mm | 95 % intervals that held | s |")
    print("|---|---|---|---|---|---|---|---|")
    every: list[Row] = []
    with TemporaryDirectory() as passing:
        base = asked.keep or Path(passing)
        for world in chosen(asked.world):
            rows: list[Row] = []
            for seed in range(asked.first_seed, asked.first_seed + asked.frames):
                folder = base / world.name.replace(" ", "-") / str(seed)
                if not (folder / TRUTH).exists():
                    write_frame(world, seed, folder, wheel())
                rows += run(world.name, seed, folder)
            for way in WAYS:
                print(line(world.name, way, [r for r in rows if r.way == way]), flush=True)
            every += rows
            for row in rows:
                if row.error:
                    print(f"<!-- {row.world} {row.seed}, {row.way}: {row.error} -->")
    if asked.csv:
        with asked.csv.open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, [f.name for f in fields(Row)])
            writer.writeheader()
            writer.writerows(asdict(r) for r in every)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
