"""Does a second opinion name the planted cause, and nothing on a clean frame? Simulated frames, random heads.

    OPENBLAS_NUM_THREADS=1 python -m tests.coverage.opinion --clean 1000 --frames 40 --keep FILE

One cause at a time is planted in three sizes. Printed: the confusion matrix (planted against first in rank),
the share in which the planted cause or its declared look-alike comes first and beyond chance, false alarms on
clean frames, and whether the statistics of clean frames follow chi-square (Kolmogorov-Smirnov). A clean frame
is drawn from the null as it is stated: head and enamel bias are off by the sds that it takes for granted.
With --keep a run that was broken off goes on where it stood.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import zip_longest
from multiprocessing import Pool
from pathlib import Path

import numpy as np
from scipy.stats import chi2, kstest

from bite.errors import BiteError
from bite.evidence.blocks import offset_evidence
from bite.evidence.model.head import solved_head
from bite.files.bundle import BiteFrame
from bite.fit.causes import UNKNOWNS, Cause
from bite.geometry.mesh import Mesh
from bite.geometry.rigid import frozen, rotation_from_vector
from bite.geometry.teeth import LOWER, OTHER
from bite.opinion.explain import ranking
from bite.opinion.scores import NEAR_DEG, NEAR_MM, fitted_without, prior_of_none, scores_of
from demo_bite.scene import Clicks, Detail, Sensor, Settings, Shot, SolveError, as_bite_frame, simulate
from demo_bite.scene.profile import as_profile_frame
from tests.coverage.offset import KNOWN_ENAMEL, PHOTO_CLICKS, wilson

SIZES: dict[Cause, tuple[float, float, float]] = {
    Cause.FORWARD: (0.5, 1.0, 2.0),
    Cause.LATERAL: (0.5, 1.0, 2.0),
    Cause.SIZE: (4.0, 8.0, 12.0),
    Cause.TURN: (3.0, 6.0, 10.0),
    Cause.ROWS: (0.7, 1.5, 3.0),
    Cause.LIPS: (1.0, 2.0, 3.0),
    Cause.HEAD: (2.0, 4.0, 6.0),
    Cause.ENAMEL: (0.5, 1.0, 1.5),
    Cause.SCALE: (1.0, 2.0, 3.0),
}
"""In the unit of the cause's unknowns: mm, degrees, per cent."""
LOOK_ALIKES = (
    {Cause.FORWARD, Cause.ENAMEL},
    {Cause.HEAD, Cause.SCALE},
)
"""Pairs declared beforehand: enamel seen too deep is teeth too far back, and a wrong scale is a wrong
distance."""


Job = tuple[int, Cause | None, float]
"""Seed, planted cause, its size."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """One frame: the job, rank of causes, look-alikes, whether anything is beyond chance, statistics."""

    job: Job
    ranked: tuple[Cause, ...]
    alike: frozenset[Cause]
    alarm: bool
    statistic: dict[Cause, float]

    @property
    def line(self) -> str:
        """One line of JSON."""
        seed, cause, amount = self.job
        row = [seed, cause, amount, self.ranked, sorted(self.alike), self.alarm, self.statistic]
        return json.dumps(row) + "\n"

    @classmethod
    def of_line(cls, line: str) -> Outcome:
        """Read what ``line`` wrote."""
        seed, cause, amount, ranked, alike, alarm, statistic = json.loads(line)
        job = (seed, Cause(cause) if cause else None, amount)
        by_cause = {Cause(name): value for name, value in statistic.items()}
        return cls(job, tuple(map(Cause, ranked)), frozenset(map(Cause, alike)), alarm, by_cause)


def planted_frame(seed: int, cause: Cause | None, amount: float) -> BiteFrame:
    """Simulate one frame with one cause planted, of either sign where both make sense."""
    rng = np.random.default_rng([seed, 3])
    sign = float(rng.choice([-1.0, 1.0]))
    bias = amount if cause is Cause.ENAMEL else float(rng.normal(0.0, 0.02))
    sensor = Sensor(
        smoothing_px=rng.uniform(1.0, 3.5), gross_share=rng.uniform(0.0, 0.05), enamel_bias_mm=bias
    )
    lip = sign * amount if cause is Cause.LIPS else 0.0
    shift_mm, turn_deg = (NEAR_MM, NEAR_DEG) if cause is None else (0.2, 0.15)
    settings = Settings(
        sensor=sensor,
        solve=SolveError(waves_mm=0.28, lip_error_mm=lip, shift_sd_mm=shift_mm, turn_sd_deg=turn_deg),
        clicks=PHOTO_CLICKS,
        detail=Detail.COARSE,
    )
    if cause is Cause.FORWARD:
        settings = replace(settings, t_mm=sign * amount)
    if cause is Cause.LATERAL:
        angle = rng.uniform(0, 2 * np.pi)
        settings = replace(settings, right_mm=amount * np.cos(angle), up_mm=amount * np.sin(angle))
    made = simulate(np.random.default_rng(seed), settings)
    frame = as_bite_frame(made, device=KNOWN_ENAMEL)
    solved, rest = made.solved_mm.copy(), made.rest_mm.copy()
    teeth = np.unique(made.faces[made.face_part > 0])
    pose = made.truth.solved_from_true
    centre = solved[list(made.corner_vertices.values())].mean(0)
    if cause is Cause.SIZE:
        rest_centre = rest[list(made.corner_vertices.values())].mean(0)
        factor = 1.0 - sign * amount / 100.0
        solved[teeth] = centre + factor * (solved[teeth] - centre)
        rest[teeth] = rest_centre + factor * (rest[teeth] - rest_centre)
    if cause is Cause.TURN:
        axis = pose.turn(made.truth.right if rng.random() < 0.5 else made.truth.forward)
        turn = rotation_from_vector(np.deg2rad(sign * amount) * axis)
        solved[teeth] = centre + (solved[teeth] - centre) @ turn.T
    if cause is Cause.ROWS:
        lower = np.unique(made.faces[made.face_part == LOWER])
        solved[lower] += sign * amount * pose.turn(made.truth.forward)
    if cause is Cause.HEAD:
        way = rng.normal(size=3)
        solved += amount * way / np.linalg.norm(way)
    mesh = frame.solved_mesh
    assert mesh is not None and frame.rest_mesh is not None and OTHER > LOWER
    frame = replace(
        frame,
        solved_mesh=Mesh(frozen(solved), mesh.faces, mesh.groups),
        rest_mesh=Mesh(frozen(rest), mesh.faces, mesh.groups),
    )
    if cause is Cause.SCALE and frame.depth_map is not None:
        scaled = frozen(frame.depth_map.depth_mm * (1.0 + sign * amount / 100.0))
        frame = replace(frame, depth_map=replace(frame.depth_map, depth_mm=scaled))
    return frame


def clean_line(seed: int) -> BiteFrame:
    """Simulate a clean frame with a depth profile in place of a map."""
    rng = np.random.default_rng([seed, 3])
    sensor = Sensor(smoothing_px=rng.uniform(1.0, 3.5), gross_share=rng.uniform(0.0, 0.05),
                    enamel_bias_mm=float(rng.normal(0.0, 0.02)))  # fmt: skip
    solve = SolveError(waves_mm=0.28, shift_sd_mm=NEAR_MM, turn_sd_deg=NEAR_DEG)
    settings = Settings(sensor=sensor, solve=solve, clicks=PHOTO_CLICKS, detail=Detail.COARSE)
    made = as_profile_frame(simulate(np.random.default_rng(seed), settings))
    return replace(made, device=KNOWN_ENAMEL)


def clean_views(seed: int) -> BiteFrame:
    """Simulate a clean frame of two calibrated views with clicks, and no depth."""
    sensor = replace(Sensor(), focal_px=1400.0, width_px=1920, height_px=1440)
    settings = Settings(
        sensor=sensor,
        shot=Shot(views=2, baseline_mm=60.0),
        solve=SolveError(waves_mm=0.0, shift_sd_mm=NEAR_MM, turn_sd_deg=NEAR_DEG),
        clicks=Clicks(mesial_px=0.5, distal_px=0.5, landmark_px=1.5),
        detail=Detail.COARSE,
        depth=False,
    )
    return as_bite_frame(simulate(np.random.default_rng(seed), settings), device=KNOWN_ENAMEL)


LIGHT = {"line": clean_line, "views": clean_views}
"""Clean frames without a depth map, by what they have instead."""


def one_light_frame(job: tuple[int, str]) -> Outcome | None:
    """Ask for an opinion on one clean frame without a depth map."""
    return _outcome((job[0], None, 0.0), lambda: LIGHT[job[1]](job[0]))


def one_frame(job: Job) -> Outcome | None:
    """Ask for an opinion on one frame with a depth map."""
    return _outcome(job, lambda: planted_frame(*job))


def _outcome(job: Job, frame_of: Callable[[], BiteFrame]) -> Outcome | None:
    """Ask for the ranking alone, which needs no fit of each cause."""
    try:
        frame = frame_of()
        solved = solved_head(frame)
        assert solved is not None
        evidence = offset_evidence(frame, solved)
        none = prior_of_none(evidence.prior)
        found = ranking(scores_of(fitted_without(evidence.blocks, none), none))
    except BiteError as error:
        print(f"{job}: {error}", flush=True)
        return None
    alike = frozenset(c for c, _ in found.causes[0].alike)
    statistic = {e.cause: e.statistic for e in found.causes}
    return Outcome(job, tuple(e.cause for e in found.causes), alike, bool(found.found), statistic)


def told_clean(done: list[Outcome]) -> None:
    """Print false alarms and how the statistics of clean frames follow chi-square."""
    alarms = sum(o.alarm for o in done)
    low, high = wilson(alarms, len(done))
    print(f"clean: n {len(done)}, false alarms {alarms / len(done):.1%} ({low:.1%} to {high:.1%})")
    for cause, names in UNKNOWNS.items():
        values = np.array([o.statistic[cause] for o in done])
        if not values.any():
            print(f"  {cause:<26} not seen", flush=True)
            continue
        test = kstest(values, chi2(len(names)).cdf)
        print(f"  {cause:<26} mean {values.mean():6.2f} of {len(names)}, over the 95 % point "
              f"{np.mean(values > chi2(len(names)).ppf(0.95)):.1%}, "
              f"KS p {test.pvalue:.3g}", flush=True)  # fmt: skip


def told_planted(cause: Cause, amount: float, done: list[Outcome]) -> None:
    """Print one row of the confusion matrix."""
    first = [o.ranked[0] for o in done]
    pairs = [pair for pair in LOOK_ALIKES if cause in pair]
    good = [o.alarm and (o.ranked[0] is cause or any(o.ranked[0] in pair for pair in pairs)) for o in done]
    counts = {str(c): first.count(c) for c in Cause if c in first}
    low, high = wilson(sum(good), len(done))
    print(f"{cause} {amount:g}: n {len(done)}, alarm {np.mean([o.alarm for o in done]):.0%}, first {counts}, "
          f"right or its look-alike {np.mean(good):.0%} ({low:.0%} to {high:.0%})", flush=True)  # fmt: skip


def jobs_of(first_seed: int, clean: int, frames: int, sizes: int) -> Iterator[Job]:
    """List all frames: the middle size of every cause first, then clean ones and the other sizes in turn."""
    quiet: list[Job] = [(first_seed + k, None, 0.0) for k in range(clean)]
    by_size: list[list[Job]] = [
        [(first_seed + 500_000 + k, c, amounts[which]) for k in range(frames) for c, amounts in SIZES.items()]
        for which in range(3)
    ]
    yield from by_size[1]
    others = [job for both in zip(by_size[0], by_size[2], strict=True) for job in both] if sizes > 1 else []
    for pair in zip_longest(quiet, others):
        yield from (job for job in pair if job is not None)


def kept_of(path: Path | None) -> list[Outcome]:
    """Read what an earlier run left; nothing where there was none."""
    if path is None or not path.exists():
        return []
    return [Outcome.of_line(line) for line in path.read_text(encoding="utf-8").splitlines()]


def told(outcomes: Sequence[Outcome]) -> None:
    """Print everything that was found."""
    clean = [o for o in outcomes if o.job[1] is None]
    if clean:
        told_clean(clean)
    for cause, sizes in SIZES.items():
        for amount in sizes:
            done = [o for o in outcomes if o.job[1:] == (cause, amount)]
            if done:
                told_planted(cause, amount, done)


def main() -> None:
    """Run clean and planted frames."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--clean", type=int, default=100)
    parser.add_argument("--frames", type=int, default=40)
    parser.add_argument("--sizes", type=int, default=3, help="1: the middle size only")
    parser.add_argument("--first-seed", type=int, default=7000)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--evidence", choices=("map", *LIGHT), default="map", help="clean frames of what")
    parser.add_argument("--keep", type=Path, help="file of outcomes, to go on from and to add to")
    args = parser.parse_args()
    start = time.monotonic()
    if args.evidence != "map":
        with Pool(args.jobs) as pool:
            light = [(args.first_seed + k, args.evidence) for k in range(args.clean)]
            told_clean([o for o in pool.imap(one_light_frame, light, chunksize=2) if o is not None])
        return
    outcomes = kept_of(args.keep)
    known = {o.job for o in outcomes}
    jobs = [j for j in jobs_of(args.first_seed, args.clean, args.frames, args.sizes) if j not in known]
    with Pool(args.jobs) as pool:
        for outcome in pool.imap(one_frame, jobs, chunksize=2):
            if outcome is None:
                continue
            outcomes.append(outcome)
            if args.keep is not None:
                with args.keep.open("a", encoding="utf-8") as file:
                    file.write(outcome.line)
    told(outcomes)
    print(f"{time.monotonic() - start:.0f} s")


if __name__ == "__main__":
    main()
