"""How well is the lip line read? Computed pictures whose true lips are known.

    python -m tests.coverage.lip_line --heads 16

The true head stands where the solved model would, so that every edge should be found on its rim. Printed for
each lip: how far it was read off as a whole (mean, sd and largest over the heads), and from place to place.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from multiprocessing import Pool

import numpy as np

from bite.evidence.depth.for_fit import depth_block
from bite.evidence.lips.line import lip_block
from bite.evidence.model.head import solved_head
from demo_bite.scene import EMBRASURE, THIN_STRIP, Detail, Settings, as_bite_frame, simulate
from tests.coverage.offset import PICTURE

MOUTHS = {"thin strip": THIN_STRIP, "half open": EMBRASURE}
Read = list[tuple[bool, float, float]]


def read(job: tuple[str, int]) -> Read:
    """Give for each lip of one head: upper or not, how far off as a whole, and rms about that, mm."""
    made = simulate(
        np.random.default_rng(job[1]),
        Settings(mouth=MOUTHS[job[0]], picture=PICTURE, detail=Detail.COARSE),
    )
    frame = as_bite_frame(made)
    solved = solved_head(frame)
    assert solved is not None
    corners = {code: made.true_mm[k] for code, k in made.corner_vertices.items()}
    head = replace(solved.head, points_mm=made.true_mm, corners=corners)
    depth = depth_block(frame, head)
    block = None if depth is None else lip_block(frame.views[0], head, depth)
    if block is None:
        return []
    off_mm = block.off_px * block.mm_per_px
    lips = [(upper, off_mm[block.upper == upper]) for upper in (True, False)]
    return [(upper, float(np.median(o)), float(np.std(o))) for upper, o in lips if len(o)]


def main() -> None:
    """Print a line a mouth and lip."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--heads", type=int, default=16)
    parser.add_argument("--first-seed", type=int, default=1000)
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args()
    with Pool(args.jobs) as pool:
        for mouth in MOUTHS:
            jobs = [(mouth, args.first_seed + k) for k in range(args.heads)]
            lips = [lip for found in pool.map(read, jobs, chunksize=1) for lip in found]
            for upper in (True, False):
                own = np.array([(off, apart) for is_upper, off, apart in lips if is_upper == upper])
                if not len(own):
                    continue
                off, apart = own.T
                name = f"{mouth}, {'upper' if upper else 'lower'} lip"
                print(
                    f"{name}: read in {len(own)} of {args.heads} heads, off as a whole {off.mean():+.3f} mm, "
                    f"sd {off.std():.3f}, at most {np.abs(off).max():.3f}; "
                    f"from place to place {np.sqrt(np.mean(apart**2)):.3f} mm rms",
                    flush=True,
                )


if __name__ == "__main__":
    main()
