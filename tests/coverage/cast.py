"""Does the interval of a cast's common shift hold the truth, and is a planted outlier named?

    python -m tests.coverage.cast --casts 500

Offsets of 14 performers are drawn directly: a common shift of 0.8 mm, 0.5 mm between performers, sampling sds
of 0.08 to 0.25 mm. Then one performer is moved by 3 mm. Printed with Wilson intervals.

    OPENBLAS_NUM_THREADS=1 python -m tests.coverage.cast --through-frames --minutes 10

Each offset now comes out of a simulated frame that is checked and fitted: 14 performers a cast, an 80 x 60
depth map and a coarse mesh each, offsets N(0, 0.15 mm), a sensor that sees enamel 0.4 to 1.2 mm too deep,
drawn once for the cast, and a table that says 0.15 mm. How often does the enamel bias that the cast proposes
hold the planted one? No pictures are computed, so the checks of pictures have no say; frames whose fit did
not settle are left out, as a cast leaves them out.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import replace

import numpy as np

from bite.cast.compared.together import proposed_bias
from bite.check.steps import check_frame
from bite.stats.estimate import Z95
from bite.stats.shared_shift import Reading, Sharing, shared_shift
from demo_bite.scene import Clicks, Detail, Settings, as_bite_frame, simulate
from demo_bite.scene.bundle import BENCH_DEPTH
from tests.cast.small_cast import SENSOR, SOLVE
from tests.coverage.offset import wilson

SHIFT_MM, BETWEEN_MM, PERFORMERS, OUTLIER_MM = 0.8, 0.5, 14, 3.0

BETWEEN_FRAMES_MM = 0.15


def readings(values: np.ndarray, sds: np.ndarray) -> list[Reading]:
    """Make one reading a performer."""
    pairs = enumerate(zip(values, sds, strict=True))
    return [Reading(f"p{k:02d}", float(v), float(s), 0.1) for k, (v, s) in pairs]


def through_frames(minutes: float, seed: int) -> None:
    """Simulate, check, pool; print how often the enamel bias was held."""
    device = replace(BENCH_DEPTH, smoothing_px=0.8, smoothing_sd_px=0.4, correlation_px=0.8)
    until = time.monotonic() + 60.0 * minutes
    error, sd, frames, unsettled, shared, number = [], [], 0, 0, 0, 0
    while time.monotonic() < until:
        rng = np.random.default_rng([seed, number])
        number += 1
        planted = float(rng.uniform(0.4, 1.2))
        found, slopes = [], []
        for k in range(PERFORMERS):
            settings = Settings(
                t_mm=float(rng.normal(0.0, BETWEEN_FRAMES_MM)),
                sensor=replace(SENSOR, enamel_bias_mm=planted),
                solve=SOLVE,
                detail=Detail.COARSE,
                clicks=Clicks(0.15, 0.3, 0.5),
            )
            fit = check_frame(as_bite_frame(simulate(rng, settings), device=device)).fit
            frames += 1
            if fit is None or not fit.solution.converged:
                unsettled += 1
                continue
            found.append(
                Reading(f"p{k:02d}", fit.offset.value, fit.sampling_sd_mm, fit.systematic_sd_mm)
            )
            slopes.append(fit.forward_per_enamel)
        shift = shared_shift(found, tolerance_mm=0.5)
        shared += shift.sharing is Sharing.COMMON
        bias = proposed_bias(shift.shift, BENCH_DEPTH.enamel_bias_mm, float(np.median(slopes)))
        error.append(bias.value_mm - planted)
        sd.append(bias.sd_mm)
    errors, sds = np.array(error), np.array(sd)
    low, high = wilson(int((abs(errors) <= Z95 * sds).sum()), number)
    print(f"{number} casts of {PERFORMERS} performers, {frames} frames, {unsettled} of them did not settle")
    print(f"one shift of all was told in {shared} of {number} casts")
    print(
        f"enamel bias proposed minus planted: mean {errors.mean():+.3f} mm "
        f"(+- {errors.std(ddof=1) / np.sqrt(number):.3f}), rmse {np.sqrt((errors**2).mean()):.3f} mm, "
        f"stated sd {np.sqrt((sds**2).mean()):.3f} mm"
    )
    held = float((abs(errors) <= Z95 * sds).mean())
    print(f"95 % intervals that held the planted bias: {held:.1%} ({low:.1%} to {high:.1%}) of {number}")


def main() -> None:
    """Draw, pool, count, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--casts", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--through-frames", action="store_true")
    parser.add_argument("--minutes", type=float, default=10.0)
    args = parser.parse_args()
    if args.through_frames:
        return through_frames(args.minutes, args.seed)
    rng = np.random.default_rng(args.seed)
    held = named = wrongly = 0
    for _ in range(args.casts):
        sds = rng.uniform(0.08, 0.25, PERFORMERS)
        values = SHIFT_MM + rng.normal(0, BETWEEN_MM, PERFORMERS) + rng.normal(0, sds)
        found = shared_shift(readings(values, sds), tolerance_mm=0.5)
        low, high = found.shift.interval
        held += low <= SHIFT_MM <= high
        wrongly += bool(found.outliers)
        odd = int(rng.integers(PERFORMERS))
        values[odd] += OUTLIER_MM
        after = shared_shift(readings(values, sds), tolerance_mm=0.5)
        named += any(outlier.performer == f"p{odd:02d}" for outlier in after.outliers)
    for what, count in (
        ("95 % intervals of the common shift held the truth", held),
        ("planted outlier named", named),
        ("somebody named in a cast without outliers", wrongly),
    ):
        low, high = wilson(count, args.casts)
        print(f"{what}: {count / args.casts:.1%} ({low:.1%} to {high:.1%}) of {args.casts}")


if __name__ == "__main__":
    main()
