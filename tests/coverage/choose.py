"""Does `bite choose` find the frames that were planted as best, and are carried corners as good as they say?

    python -m tests.coverage.choose --takes 100
    python -m tests.coverage.choose --sd --takes 20

Each take has a new head: lips part, the teeth meet, part and meet again in any order, the head sways and
dashes, a flash clips the enamel. One fair frame is clicked. Printed: in how many takes a planted best frame
is among the first three, with its Wilson interval; what stood first; how far carried corners lay from where
they truly are, in their own sd (the click's own error left out). With --sd: the expected sd held against the
sampling sd of the real fit, on single frames.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections import Counter
from dataclasses import dataclass
from multiprocessing import Pool
from pathlib import Path

import cv2
import numpy as np

from bite.choose.content import Chosen
from bite.choose.expected_sd import DepthQuality, expected_sd_mm
from bite.choose.run import Click, choose
from bite.evidence.clicks.for_fit import corner_block
from bite.evidence.depth.for_fit import depth_block
from bite.evidence.model.head import solved_head
from bite.evidence.priors import prior_of
from bite.files.corners import Corners, CornerState
from bite.files.device import Device
from bite.files.take import open_take
from bite.fit.offset import fit_offset
from bite.geometry.render import Grid, Window, render
from bite.geometry.rigid import Array
from bite.geometry.teeth import LOWER, UPPER, UPPER_CORNERS
from demo_bite.scene import Mouth, Sensor, Settings, Shot, SolveError, as_bite_frame, simulate
from demo_bite.scene.take import Planted, SimulatedTake, TakeSettings, simulate_take

FIRST = 3
SEED = 5000


@dataclass(frozen=True, slots=True)
class TakeOutcome:
    """One take: what the first frames were made to be, and carried errors, one row a coordinate: px, px."""

    seed: int
    first: tuple[Planted, ...]
    carried: Array


def chosen_of(take: SimulatedTake, folder: Path) -> Chosen:
    """Write a take as pictures and choose from it."""
    for frame in take.frames():
        cv2.imwrite(str(folder / f"{frame.number:03d}.png"), frame.image[:, :, ::-1])
    size = (take.settings.width_px, take.settings.height_px)
    corners = Corners(folder / "clicked.json", f"{take.clicked:03d}.png", *size, dict(take.clicks))
    return choose(open_take(folder), Click(take.clicked, corners))


def carried_errors(take: SimulatedTake, chosen: Chosen) -> Array:
    """Give, for each coordinate of each carried upper corner, its error on the way and the sd of the way."""
    clicked = take.frame(take.clicked).corners_px
    rows = []
    for one in chosen.ranked:
        if one.measures.clicked or not one.measures.points:
            continue
        true = take.frame(one.measures.number).corners_px
        for code, point in one.measures.points.items():
            click = take.clicks[code]
            if code not in UPPER_CORNERS or click.state is not CornerState.SEEN:
                continue
            own = np.array([click.x_px, click.y_px]) - clicked[code]
            off = np.array([point.x_px, point.y_px]) - true[code] - own
            rows += [(off[0], point.way_px), (off[1], point.way_px)]
    return np.array(rows).reshape(-1, 2)


def one_take(seed: int) -> TakeOutcome:
    """Simulate a take and choose from it."""
    cv2.setNumThreads(1)
    take = simulate_take(seed, TakeSettings())
    with tempfile.TemporaryDirectory() as folder:
        chosen = chosen_of(take, Path(folder))
    first = tuple(take.planted[one.measures.number] for one in chosen.ranked[:FIRST])
    return TakeOutcome(seed, first, carried_errors(take, chosen))


def wilson(hits: int, count: int) -> tuple[float, float]:
    """Give Wilson's 95 % interval of a share."""
    z, p = 1.96, hits / count
    middle = (p + z * z / (2 * count)) / (1 + z * z / count)
    half = z / (1 + z * z / count) * np.sqrt(p * (1 - p) / count + z * z / (4 * count * count))
    return float(middle - half), float(middle + half)


def expected_beside_fit(seed: int, size_px: tuple[int, int] = (640, 480)) -> tuple[float, float]:
    """Give the sampling sd that the real fit states for a random frame, and the expected one, mm.

    The depth map has ``size_px`` pixels, whatever its size of one scale, with the mouth in the middle.
    """
    rng = np.random.default_rng(seed)
    open_ = rng.uniform(0.25, 1.1)
    mouth = Mouth(9 * open_, 6.5 * open_, 24 + 6 * open_, 3 * open_)
    sensor = Sensor(
        *size_px,
        smoothing_px=rng.uniform(1, 3.5),
        noise_mm=rng.uniform(0.25, 0.7),
        correlation_px=rng.uniform(1, 2),
        gross_share=0.02,
    )
    settings = Settings(
        picture=None,
        t_mm=rng.uniform(-2, 2),
        mouth=mouth,
        sensor=sensor,
        shot=Shot(distance_mm=rng.uniform(240, 360)),
        solve=SolveError(waves_mm=0.4 / np.sqrt(2)),
    )
    frame = simulate(rng, settings)
    device = Device("simulated", "simulated", enamel_bias_mm=0.0, enamel_bias_sd_mm=0.02)
    bundle = as_bite_frame(frame, device=device)
    solved = solved_head(bundle)
    assert solved is not None
    blocks = [depth_block(bundle, solved.head), corner_block(bundle, solved.head)]
    fit = fit_offset([block for block in blocks if block is not None], prior_of(bundle.device)[0])
    camera = frame.depth_camera
    grid = Grid.of(camera, Window(0, 0, camera.width_px, camera.height_px))
    seen = render(grid, camera.camera_from_reference.apply(frame.true_mm), frame.faces)
    part = np.where(seen.face >= 0, frame.face_part[seen.face], -1)
    enamel = (part == UPPER) | (part == LOWER)
    mm = float(np.median(seen.depth_mm[enamel])) / camera.focal_px
    quality = DepthQuality(mm, sensor.noise_mm, sensor.correlation_px, sensor.smoothing_px)
    expected = expected_sd_mm(enamel, None, quality, mm_per_px=mm)
    assert expected is not None
    return fit.sampling_sd_mm, expected


def main() -> None:
    """Run the study and print it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--takes", type=int, default=100, help="takes, or frames with --sd")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--seed", type=int, default=SEED, help="first seed")
    parser.add_argument("--sd", action="store_true", help="the expected sd against that of the real fit")
    args = parser.parse_args()
    seeds = range(args.seed, args.seed + args.takes)
    with Pool(args.jobs) as pool:
        if args.sd:
            _print_sd(np.array(pool.map(expected_beside_fit, seeds, chunksize=1)))
        else:
            outcomes = []
            for outcome in pool.imap(one_take, seeds, chunksize=1):
                outcomes.append(outcome)
                first = ", ".join(outcome.first)
                print(f"seed {outcome.seed}: {first}", file=sys.stderr, flush=True)
            _print_takes(outcomes)


def _print_sd(pairs: Array) -> None:
    from scipy.stats import spearmanr

    ratio = pairs[:, 1] / pairs[:, 0]
    low, high = pairs[:, 0].min(), pairs[:, 0].max()
    print(f"{len(pairs)} frames, sampling sd of the fit {low:.3f} to {high:.3f} mm")
    print(f"rank correlation of expected with stated sd: {spearmanr(pairs[:, 0], pairs[:, 1])[0]:.3f}")
    low, middle, high = np.quantile(ratio, [0.05, 0.5, 0.95])
    print(f"expected over stated: median {middle:.2f}, nine tenths of frames {low:.2f} to {high:.2f}")


def _print_takes(outcomes: list[TakeOutcome]) -> None:
    count = len(outcomes)
    hits = sum(Planted.BEST in outcome.first for outcome in outcomes)
    low, high = wilson(hits, count)
    print(
        f"a planted best frame among the first {FIRST} in {hits} of {count} takes: "
        f"{100 * hits / count:.1f} % (95 %: {100 * low:.1f} to {100 * high:.1f} %)"
    )
    first = Counter(outcome.first[0] for outcome in outcomes)
    print("first were: " + ", ".join(f"{what} {n}" for what, n in first.most_common()))
    missed = [outcome.seed for outcome in outcomes if Planted.BEST not in outcome.first]
    if missed:
        print(f"missed: seeds {', '.join(map(str, missed))}")
    carried = np.concatenate([outcome.carried for outcome in outcomes])
    score = np.abs(carried[:, 0]) / carried[:, 1]
    print(
        f"carried corners: {len(carried)} coordinates, error rms {_rms(carried[:, 0]):.2f} px, "
        f"stated sd {_rms(carried[:, 1]):.2f} px, within 2 sd {100 * (score <= 2).mean():.1f} %"
    )


def _rms(values: Array) -> float:
    return float(np.sqrt((values**2).mean()))


if __name__ == "__main__":
    main()
