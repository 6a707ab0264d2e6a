"""Does the interval of a cast's common shift hold the truth, and is a planted outlier named?

    python -m tests.coverage.cast --casts 500

Offsets of 14 performers are drawn directly: a common shift of 0.8 mm, 0.5 mm between performers, sampling sds
of 0.08 to 0.25 mm. Then one performer is moved by 3 mm. Printed with Wilson intervals.
"""

from __future__ import annotations

import argparse

import numpy as np

from bite.fit.shared_shift import Reading, shared_shift
from tests.coverage.offset import wilson

SHIFT_MM, BETWEEN_MM, PERFORMERS, OUTLIER_MM = 0.8, 0.5, 14, 3.0


def readings(values: np.ndarray, sds: np.ndarray) -> list[Reading]:
    """Make one reading a performer."""
    pairs = enumerate(zip(values, sds, strict=True))
    return [Reading(f"p{k:02d}", float(v), float(s), 0.1) for k, (v, s) in pairs]


def main() -> None:
    """Draw, pool, count, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--casts", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
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
