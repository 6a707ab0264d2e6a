"""The program run on frames of the worlds, and counted: is what it states of its answers true?

    python -m tests.worlds.study --world modelled --frames 24 --jobs 1 --keep FOLDER

One line a world: frames, refused (no offset), errors; bias with its standard error; rmse; stated sd (root
mean square); share of 95 % intervals that held the truth, with its Wilson interval; sd of error over stated
sd; share of fits that settled; verdicts; of the answers leave or move, how many are off by more than 0.5 mm;
median processor time of a check. ``--csv`` writes a row a frame. With ``--keep`` frames made before are read
again: delete the folder when the simulator has changed.

This module alone of the folder imports the program.
"""

from __future__ import annotations

import argparse
import csv
import json
import sys
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict, dataclass, fields
from multiprocessing import get_context
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from tests.worlds.description import World
from tests.worlds.every import WORLDS
from tests.worlds.scene import scene_key
from tests.worlds.wheel import wheel
from tests.worlds.write import FRAME, TRUTH, write_frame

Z95 = 1.959964
OFF_MM = 0.5


@dataclass(frozen=True, slots=True)
class Row:
    """One frame: truth and answer, mm; NaN where there is no answer."""

    world: str
    seed: int
    truth_mm: float
    value_mm: float
    sd_mm: float
    sampling_sd_mm: float
    systematic_sd_mm: float
    converged: bool
    rounds: int
    verdict: str
    smoothing_px: float
    smoothing_true_px: float
    findings: str
    seconds: float
    error: str = ""


def run_frame(world: World, number: int, folder: Path, kept: Path | None = None) -> Row:
    """Make a frame unless it is there, check it, and tell; a failure becomes a row that says so."""
    from bite.check.steps import check_frame
    from bite.files.bundle import load_frame

    nan = float("nan")
    if not (folder / TRUTH).exists():
        write_frame(world, number, folder, wheel(), kept)
    truth = json.loads((folder / TRUTH).read_text(encoding="utf-8"))
    blur = nan if truth["smoothing_px"] is None else truth["smoothing_px"]
    start = time.process_time()
    known = (world.name, number, truth["t_mm"])
    try:
        found = check_frame(load_frame(folder / FRAME))
    except Exception as error:
        said = f"{type(error).__name__}: {error}"
        return Row(*known, nan, nan, nan, nan, False, 0, "error", nan, blur, "", nan, said)
    seconds = time.process_time() - start
    codes = " ".join(f"{f.code}:{f.severity}" for f in found.findings if str(f.severity) in ("warn", "fail"))
    fit = found.fit
    verdict = str(found.decision.verdict)
    if fit is None:
        why = found.why_no_offset
        return Row(*known, nan, nan, nan, nan, False, 0, verdict, nan, blur, codes, seconds, why)
    return Row(
        *known,
        fit.offset.value,
        fit.offset.sd,
        fit.sampling_sd_mm,
        fit.systematic_sd_mm,
        fit.solution.converged,
        int(getattr(fit.solution, "rounds", getattr(fit.solution, "iterations", 0))),
        verdict,
        fit.smoothing.value if fit.smoothing else nan,
        blur,
        codes,
        seconds,
    )


def run_alike(jobs: Sequence[tuple[World, int, Path, Path]]) -> list[Row]:
    """Check frames of one scene one after another: what cameras see of it is cast once and kept."""
    return [run_frame(*job) for job in jobs]


def summary(name: str, rows: Sequence[Row]) -> str:
    """One line on the frames of a world."""
    given = [r for r in rows if np.isfinite(r.value_mm)]
    failed = sum(r.verdict == "error" for r in rows)
    refused = len(rows) - len(given) - failed
    line = f"{name:27s} n {len(rows):3d}  refused {refused}  errors {failed}"
    if not given:
        return line
    error = np.array([r.value_mm - r.truth_mm for r in given])
    sd = np.array([r.sd_mm for r in given])
    held = np.abs(error) <= Z95 * sd
    low, high = wilson(int(held.sum()), len(held))
    se = error.std(ddof=1) / np.sqrt(len(error)) if len(error) > 1 else float("nan")
    verdicts = " ".join(f"{k} {n}" for k, n in sorted(Counter(r.verdict for r in rows).items()))
    sure = np.array([r.verdict in ("leave", "move") for r in given])
    off = int((np.abs(error[sure]) > OFF_MM).sum())
    settled = np.mean([r.converged for r in given])
    seconds = np.median([r.seconds for r in given])
    return (
        f"{line}  bias {error.mean():+.3f}+-{se:.3f}  rmse {np.sqrt(np.mean(error**2)):.3f}"
        f"  sd {np.sqrt(np.mean(sd**2)):.3f}"
        f"  held {100 * held.mean():3.0f}% [{100 * low:.0f}, {100 * high:.0f}]"
        f"  error/sd {np.std(error / sd):.2f}  settled {100 * settled:.0f}%  {verdicts}"
        f"  off {off}/{int(sure.sum())}  {seconds:.2f} s"
    )


def wilson(hits: int, count: int) -> tuple[float, float]:
    """95 % interval of a share (Wilson 1927)."""
    share, z2 = hits / count, Z95**2
    middle = (share + z2 / (2 * count)) / (1 + z2 / count)
    half = Z95 * np.sqrt(share * (1 - share) / count + z2 / (4 * count**2)) / (1 + z2 / count)
    return float(middle - half), float(middle + half)


def chosen(names: str) -> list[World]:
    """Worlds by names with commas between them, or modelled, unmodelled, all."""
    if names in ("modelled", "unmodelled", "all"):
        return [w for w in WORLDS.values() if names == "all" or w.modelled == (names == "modelled")]
    missing = [n for n in names.split(",") if n not in WORLDS]
    if missing:
        raise SystemExit(f"no world named {missing[0]!r}; there are: {', '.join(WORLDS)}")
    return [WORLDS[n] for n in names.split(",")]


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the study; give 1 where a frame failed."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.worlds.study", description=__doc__.partition("\n")[0]
    )
    parser.add_argument(
        "--world", default="wide grin", help="names with , between, or modelled, unmodelled, all"
    )
    parser.add_argument("--frames", type=int, default=24)
    parser.add_argument("--first-seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--keep", type=Path, help="keep the frames here and use those that are there")
    parser.add_argument("--csv", type=Path, help="write a row for each frame")
    asked = parser.parse_args(arguments)
    seeds = range(asked.first_seed, asked.first_seed + asked.frames)
    worlds = chosen(asked.world)
    rows: list[Row] = []
    with TemporaryDirectory() as passing, get_context("spawn").Pool(asked.jobs) as pool:
        base = asked.keep or Path(passing)
        for world in worlds:
            # kept only where another world looks at the same scenes
            shared = sum(scene_key(w) == scene_key(world) for w in worlds) > 1
            kept = base / "scenes" if shared else None
            jobs = [(world, n, base / world.name.replace(" ", "-") / str(n), kept) for n in seeds]
            got = pool.starmap(run_frame, jobs, chunksize=1)
            rows += got
            print(summary(world.name, got), flush=True)
            if asked.csv:
                _write_csv(asked.csv, rows)
            for row in got:
                if row.verdict == "error":
                    print(f"  seed {row.seed}: {row.error}", file=sys.stderr)
    return int(any(r.verdict == "error" for r in rows))


def _write_csv(path: Path, rows: Sequence[Row]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, [f.name for f in fields(Row)])
        writer.writeheader()
        writer.writerows(asdict(r) for r in rows)


if __name__ == "__main__":
    raise SystemExit(main())
