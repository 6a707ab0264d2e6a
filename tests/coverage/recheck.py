"""Does a recheck tell the truth of a move, and do two moves suffice? Simulated rigs whose real gain is not
the stated one.

    OPENBLAS_NUM_THREADS=1 python -m tests.coverage.recheck --frames 50 --keep FILE

Each frame has a new random head, bite, pose, sensor and clicks. Its rig says 3.2 mm a unit; the real gain is
that times 0.7, 1.3, or a number drawn between. The dial is moved as `bite check` and then `bite recheck` say,
until the recheck says to stop. Printed: the share of rigs that stopped after at most two moves with the teeth
truly within tolerance, and how far the achieved move was from the true one beside its stated sd. With --keep
a run that was broken off goes on where it stood. With --profile the frames have one line of depth, solved
corners and no mesh.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import astuple, dataclass, replace
from functools import partial
from multiprocessing import Pool
from pathlib import Path

import numpy as np

from bite.check.decision import TOLERANCE_MM, propose
from bite.errors import BiteError
from bite.evidence.clicks.for_fit import corner_block
from bite.evidence.depth.for_fit import depth_block, profile_block
from bite.evidence.model.head import solved_head
from bite.evidence.priors import prior_of
from bite.fit.offset import OffsetFit, fit_offset
from bite.recheck.steps import Advice, Side, achieved_by_fits, recheck
from bite.stats.estimate import Z95
from demo_bite.scene import DIAL, Detail, Sensor, Settings, SolveError, as_bite_frame, simulate
from demo_bite.scene.profile import as_profile_frame
from tests.coverage.offset import KNOWN_ENAMEL, PHOTO_CLICKS, wilson

MOST_MOVES = 4
STATED = DIAL.mm_per_unit or 0.0


@dataclass(frozen=True, slots=True)
class Outcome:
    """One rig: how it ended, and (true move, achieved, stated sd) of each recheck, mm."""

    gain: float
    moves: int
    advice: str
    left_mm: float
    rechecks: tuple[tuple[float, float, float], ...]


def look(seed: int, settings: Settings, t_mm: float, *, profile: bool) -> OffsetFit:
    """Fit the frame of a seed with the teeth still off by ``t_mm``: the same readings each time."""
    simulated = simulate(np.random.default_rng(seed), replace(settings, t_mm=t_mm))
    frame = as_profile_frame(simulated) if profile else as_bite_frame(simulated)
    solved = solved_head(frame)
    assert solved is not None
    depth = profile_block(frame, solved.head) if profile else depth_block(frame, solved.head)
    found = (depth, corner_block(frame, solved.head))
    return fit_offset([block for block in found if block is not None], prior_of(KNOWN_ENAMEL)[0])


def one_rig(job: tuple[int, float], *, profile: bool) -> Outcome | None:
    """Move the dial of one rig until the recheck says to stop."""
    seed, share = job
    rng = np.random.default_rng([seed, 9])
    share = rng.uniform(0.7, 1.3) if share == 0 else share
    t_mm = float(rng.choice([-1, 1]) * rng.uniform(0.8, 2.0))
    settings = Settings(
        sensor=Sensor(smoothing_px=rng.uniform(1.0, 3.5), gross_share=rng.uniform(0.0, 0.05)),
        solve=SolveError(waves_mm=0.28),
        clicks=PHOTO_CLICKS,
        detail=Detail.COARSE,
    )
    prior = prior_of(KNOWN_ENAMEL)[0]
    try:
        before, dial, true_mm = look(seed, settings, t_mm, profile=profile), 0.0, t_mm
        first = propose(before.offset, DIAL, dial)
        assert first is not None
        rechecks, following = [], first.after
        for _ in range(MOST_MOVES):
            came_mm = -(following - dial) * STATED * share
            after = look(seed, settings, true_mm - came_mm, profile=profile)
            sides = [
                Side("f", "p", value, fit.offset, fit.sampling_sd_mm)
                for value, fit in ((dial, before), (following, after))
            ]
            achieved = achieved_by_fits(before, after, prior)
            found = recheck(sides[0], sides[1], achieved, dial=DIAL)
            rechecks.append((came_mm, found.achieved.value, found.achieved.sd))
            before, dial, true_mm = after, following, true_mm - came_mm
            if found.advice is not Advice.AGAIN:
                break
            assert found.next is not None
            following = found.next.after
        return Outcome(share, len(rechecks), str(found.advice), true_mm, tuple(rechecks))
    except BiteError as error:
        print(f"{job}: {error}")
        return None


def told_achieved(every: list[Outcome]) -> None:
    """Print how far the achieved moves of all rigs so far were from the true ones."""
    rows = np.array([row for outcome in every for row in outcome.rechecks])
    error, sd = rows[:, 1] - rows[:, 0], rows[:, 2]
    held = int((np.abs(error) <= Z95 * sd).sum())
    low, high = wilson(held, len(error))
    print(f"achieved move: n {len(error)}, bias {error.mean():+.4f}, "
          f"rmse {np.sqrt((error**2).mean()):.4f} mm, stated sd "
          f"{np.sqrt((sd**2).mean()):.4f} mm, 95 % intervals held {held / len(error):.1%} "
          f"({low:.1%} to {high:.1%}), "
          f"error/sd {np.std(error / sd):.2f}")  # fmt: skip
    small = np.abs(rows[:, 0]) < 0.5
    for word, part in (("moves under 0.5 mm", small), ("longer moves", ~small)):
        if part.any():
            print(f"  {word}: n {part.sum()}, rmse {np.sqrt((error[part] ** 2).mean()):.4f} mm, "
                  f"mean |error| / move {np.mean(np.abs(error[part] / rows[part, 0])):.3f}")  # fmt: skip


def told_closed(name: str, done: list[Outcome]) -> None:
    """Print how many rigs stopped after at most two moves with their teeth truly within tolerance."""
    good = sum(o.moves <= 2 and o.advice == "stop" and abs(o.left_mm) <= TOLERANCE_MM for o in done)
    low, high = wilson(good, len(done))
    moves = {k: sum(o.moves == k for o in done) for k in range(1, MOST_MOVES + 1)}
    advice = {word: sum(o.advice == word for o in done) for word in sorted({o.advice for o in done})}
    print(f"{name}: n {len(done)}, closed within two moves {good / len(done):.1%} "
          f"({low:.1%} to {high:.1%}), moves {moves}, ended with {advice}", flush=True)  # fmt: skip


def kept_of(path: Path | None) -> dict[tuple[int, float], Outcome]:
    """Read what an earlier run left; nothing where there was none."""
    if path is None or not path.exists():
        return {}
    out = {}
    for line in path.read_text(encoding="utf-8").splitlines():
        (seed, share), row = json.loads(line)
        out[seed, share] = Outcome(*row[:4], tuple(map(tuple, row[4])))
    return out


def main() -> None:
    """Run the rigs and print what came of them."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--frames", type=int, default=60)
    parser.add_argument("--first-seed", type=int, default=5000)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--profile", action="store_true", help="one line of depth instead of a map")
    parser.add_argument("--keep", type=Path, help="file of outcomes, to go on from and to add to")
    args = parser.parse_args()
    cases = {0.7: "gain 0.7 of stated", 1.3: "1.3 of stated", 0.0: "0.7 to 1.3"}
    done = kept_of(args.keep)
    every = [(args.first_seed + k, share) for k in range(args.frames) for share in cases]
    jobs = [job for job in every if job not in done]
    with Pool(args.jobs) as pool:
        for job, outcome in zip(jobs, pool.imap(partial(one_rig, profile=args.profile), jobs), strict=True):
            if outcome is None:
                continue
            done[job] = outcome
            if args.keep is not None:
                with args.keep.open("a", encoding="utf-8") as file:
                    file.write(json.dumps([job, astuple(outcome)]) + "\n")
    for share, name in cases.items():
        if group := [outcome for job, outcome in done.items() if job[1] == share]:
            told_closed(name, group)
    told_closed("all", list(done.values()))
    told_achieved(list(done.values()))


if __name__ == "__main__":
    main()
