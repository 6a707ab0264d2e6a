"""How well could any estimator do? The bound of the simulated depth frames beside what the fit states.

    python -m tests.coverage.bound --case "thin strip, skin waves 0.4 mm amplitude" --frames 40

In a simulation the covariance of the sensor's noise is known exactly. With it the best linear unbiased
estimate (generalised least squares) has the smallest sd that the same readings, clicks and priors allow: the
inverse of J' C^-1 J. The fit does not use C^-1, because a whitened fit amplifies whatever the model gets
wrong between one pixel and the next; the ratio printed is what that costs. Pixels within 14 mm of the teeth
are whitened, farther ones count as in the fit.
"""

from __future__ import annotations

import argparse
from multiprocessing import Pool

import numpy as np

from bite.fit.depth_block import DepthBlock
from bite.fit.offset import OffsetFit, fit_offset
from bite.fit.parameters import P
from tests.coverage.offset import CASES, DEPTH_CASES, depth_evidence

NEAR_MM = 14.0
NOISE_MM, CORRELATION_PX = 0.4, 1.5
FLOOR_MM = 0.035
"""White part of the simulated noise: storage steps of 0.1 mm, and what is left of wild pixels."""


def bound_mm(fit: OffsetFit, prior_precision: np.ndarray) -> float:
    """Give the sd of the best linear unbiased offset at the point where the fit stands, mm."""
    from scipy.linalg import cho_factor, cho_solve
    from scipy.ndimage import distance_transform_edt

    pairs = list(zip(fit.solution.blocks, fit.solution.seen, strict=True))
    block, seen = next((b, s) for b, s in pairs if isinstance(b, DepthBlock))
    maps = seen.all_slopes()
    away_mm = distance_transform_edt(~(np.nan_to_num(seen.teeth_share) > 0.3)) * block.mm_per_px
    near = seen.used & (away_mm < NEAR_MM)
    row, column = np.nonzero(near)
    squared = (row[:, None] - row) ** 2.0 + (column[:, None] - column) ** 2.0
    noise = NOISE_MM**2 * np.exp(-squared / (4 * CORRELATION_PX**2)) + FLOOR_MM**2 * np.eye(len(row))
    slopes = maps[:, near].T
    known_here = slopes.T @ cho_solve(cho_factor(noise, lower=True, overwrite_a=True), slopes)

    far = seen.used & ~near
    weight = np.zeros(seen.used.shape)
    weight[seen.used] = block.linear_of(seen).robust_weight
    weight /= block.sigma_mm(seen.teeth_share) ** 2
    known_here += (maps[:, far] * weight[far]) @ maps[:, far].T
    solution = fit.solution
    information = np.diag(np.concatenate([prior_precision, *(b.extra_precision for b in solution.blocks)]))
    for (other, view), columns in zip(pairs, solution.columns, strict=True):
        own = known_here if other is block else other.linear_of(view).information
        information[np.ix_(columns, columns)] += own
    known = np.diag(information) > 0
    scale = np.sqrt(np.diag(information)[known])
    covariance = np.linalg.inv(information[np.ix_(known, known)] / np.outer(scale, scale))
    place = int(np.flatnonzero(np.flatnonzero(known) == P.FORWARD_MM)[0])
    return float(np.sqrt(covariance[place, place]) / scale[place])


def one(job: tuple[str, int]) -> tuple[float, float, float]:
    """Give error, stated sd and bound of one frame, mm."""
    evidence = depth_evidence(job[1], **DEPTH_CASES[job[0]])
    fit = fit_offset(evidence.blocks, evidence.prior)
    return fit.offset.value - evidence.offset_mm, fit.offset.sd, bound_mm(fit, evidence.prior.precision)


def main() -> None:
    """Print a line a case."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--case", default="thin strip, skin waves 0.4 mm amplitude")
    parser.add_argument("--frames", type=int, default=40)
    parser.add_argument("--first-seed", type=int, default=1000)
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args()
    with Pool(args.jobs) as pool:
        for name in CASES:
            if args.case in name and name in DEPTH_CASES:
                jobs = [(name, args.first_seed + k) for k in range(args.frames)]
                error, sd, bound = np.array(pool.map(one, jobs, chunksize=2)).T
                rms = [float(np.sqrt(np.mean(values**2))) for values in (error, sd, bound)]
                print(
                    f"{name}: n {len(error)}, rmse {rms[0]:.3f} mm, stated sd {rms[1]:.3f} mm, "
                    f"bound {rms[2]:.3f} mm (rms over the frames), stated sd / bound "
                    f"median {np.median(sd / bound):.2f}"
                )


if __name__ == "__main__":
    main()
