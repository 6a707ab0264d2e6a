"""How well is a device told from its cards? Simulated cards with planted filters.

    python -m tests.coverage.device --cards 12

For each filter and size: how often it was named, how often it was called something else, how often it could
not be told; and of those named, the error of the smoothing, its stated sd (rms) and the rms of error over
sd. The simulator (tests/device/simulated.py) shares no code with bite. Edges at 3 to 14 degrees, card at
400 mm, wall at 520 mm, noise as named, before the filter or after it, storage step 0.1 mm, 2 % holes, 1 %
flying pixels.
"""

from __future__ import annotations

import argparse
import tempfile
from multiprocessing import Pool
from pathlib import Path

import numpy as np

from tests.device.cards import measured, window_sd
from tests.device.simulated import Scene

FILTERS = (
    *(("gauss", size) for size in (1.0, 2.0, 3.5)),
    *((kind, float(size)) for kind in ("box", "median") for size in (3, 5, 7)),
    *(("bilateral", size) for size in (1.5, 2.5)),
    ("none", 0.0),
)
NOISES = {
    "1 mm white, before": (1.0, 0.0, False),
    "1 mm over 1 px, before": (1.0, 1.0, False),
    "1 mm white, after": (1.0, 0.0, True),
    "1 mm over 1.5 px, after": (1.0, 1.5, True),
    "5 mm over 1.5 px, after": (5.0, 1.5, True),
}
NAMES = {"bilateral": "edge-preserving", "none": None}
Job = tuple[str, float, str, int]


def told(job: Job) -> tuple[str | None, float, float]:
    """Give the name told for one card, the error of its smoothing and the stated sd, px."""
    kind, size, noise, seed = job
    rng = np.random.default_rng([27, seed])
    noise_mm, correlation_px, after = NOISES[noise]
    scene = Scene(
        kind=kind,
        size=size,
        noise_mm=noise_mm,
        correlation_px=correlation_px,
        noise_after=after,
        angle_deg=float(rng.uniform(3, 14)),
        holes=0.02,
        flying=0.01,
        range_mm=float(rng.uniform(10, 40)),
    )
    with tempfile.TemporaryDirectory() as folder:
        found = measured(Path(folder), [scene], seed)
    return found.verdict.filter, found.smoothing_px - window_sd(scene), found.smoothing_sd_px


def main() -> None:
    """Print a row a filter, size and noise."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cards", type=int, default=12)
    parser.add_argument("--first-seed", type=int, default=1000)
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args()
    print("filter      size  noise                      named  wrong  untold  error px   sd px  error/sd")
    seeds = range(args.first_seed, args.first_seed + args.cards)
    with Pool(args.jobs) as pool:
        for noise in NOISES:
            for kind, size in FILTERS:
                found = pool.map(told, [(kind, size, noise, seed) for seed in seeds], chunksize=1)
                name = NAMES.get(kind, kind)
                named = [f for f in found if f[0] is not None and f[0] == name]
                wrong = [f for f in found if f[0] is not None and f[0] != name]
                line = f"{kind:11} {size:4g}  {noise:26} {len(named):5} {len(wrong):6}"
                line += f"{len(found) - len(named) - len(wrong):8}"
                if named:
                    error, sd = np.array([f[1] for f in named]), np.array([f[2] for f in named])
                    rms = [float(np.sqrt(np.mean(np.square(v)))) for v in (error, sd, error / sd)]
                    line += f"{rms[0]:10.3f}{rms[1]:8.3f}{rms[2]:10.2f}"
                print(line, flush=True)


if __name__ == "__main__":
    main()
