"""How good and how honest is the offset from two matched views, against their clicked corners alone?

    python -m tests.coverage.stereo_depth --frames 40

Each frame is a new random head, photographed from two places with a texture that sticks to its surface, and
a planted offset. The same clicks go into both answers. Printed for each kind of teeth: what ``offset.told``
says of either answer, and the share of enamel that was matched. Pictures take most of the time; ``--cache``
keeps them.
"""

from __future__ import annotations

import argparse
import pickle
import sys
from dataclasses import dataclass, replace
from functools import partial
from multiprocessing import Pool
from pathlib import Path

import numpy as np

from bite.errors import BiteError
from bite.evidence.blocks import offset_evidence
from bite.evidence.model.head import solved_head
from bite.evidence.stereo.depth import with_stereo_depth
from bite.files.bundle import BiteFrame
from bite.files.frame import StereoEntry
from bite.fit.offset import fit_offset
from demo_bite.scene import (
    Clicks,
    Detail,
    PictureSettings,
    Sensor,
    Settings,
    Shot,
    SolveError,
    Texture,
    as_bite_frame,
    simulate,
)
from tests.coverage.offset import KNOWN_ENAMEL, WAVE_RMS_MM, Outcome, told

TEETH = {"marked teeth": 0.08, "clean teeth": 0.0}
"""Strength of the texture on enamel; skin has 0.08."""


@dataclass(frozen=True, slots=True)
class Both:
    """One frame's two answers, and how much of the enamel was matched (None: nothing at all)."""

    dense: Outcome
    corners: Outcome
    enamel_share: float | None
    enamel_used: bool


def textured_pair(seed: int, *, enamel: float) -> tuple[BiteFrame, float]:
    """Give a frame of two pictures round the mouth, f 1500 px, 60 mm apart, and its planted offset, mm."""
    rng = np.random.default_rng(seed)
    offset_mm = float(rng.uniform(-2.5, 2.5))
    settings = Settings(
        t_mm=offset_mm,
        sensor=replace(Sensor(), focal_px=1500.0, width_px=540, height_px=620),
        picture=PictureSettings(texture=Texture(0.08, enamel), noise=1.0),
        shot=Shot(views=2, baseline_mm=60.0),
        solve=SolveError(waves_mm=WAVE_RMS_MM),
        clicks=Clicks(mesial_px=0.5, distal_px=0.9, landmark_px=1.5),
        detail=Detail.COARSE,
        depth=False,
    )
    frame = as_bite_frame(simulate(rng, settings), device=KNOWN_ENAMEL)
    return replace(frame, file=replace(frame.file, depth=StereoEntry(("front", "side")))), offset_mm


def _kept(seed: int, *, enamel: float, cache: Path | None) -> tuple[BiteFrame, float]:
    if cache is None:
        return textured_pair(seed, enamel=enamel)
    path = cache / f"pair-{seed}-{enamel:g}.pickle"
    if not path.exists():
        cache.mkdir(parents=True, exist_ok=True)
        path.write_bytes(pickle.dumps(textured_pair(seed, enamel=enamel)))
    return pickle.loads(path.read_bytes())


def attempt(seed: int, *, enamel: float, cache: Path | None) -> Both | None:
    """Answer one frame both ways; a refusal counts as such."""
    frame, offset_mm = _kept(seed, enamel=enamel, cache=cache)
    try:
        solved = solved_head(frame)
        assert solved is not None
        dense = with_stereo_depth(frame, solved.head)
        answers = []
        for one in (dense, frame):
            evidence = offset_evidence(one, solved)
            fit = fit_offset(evidence.blocks, evidence.prior)
            error = fit.offset.value - offset_mm
            answers.append(
                Outcome(seed, error, fit.offset.sd, fit.solution.prior_share, fit.solution.converged)
            )
    except BiteError as error:
        print(f"{seed}: {error}", file=sys.stderr)
        return None
    assert dense.stereo is not None
    return Both(answers[0], answers[1], dense.stereo.enamel_share, dense.stereo.enamel_used)


def main() -> None:
    """Run both kinds of teeth and print two lines each."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--frames", type=int, default=40)
    parser.add_argument("--first-seed", type=int, default=3000)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--cache", type=Path)
    args = parser.parse_args()
    seeds = range(args.first_seed, args.first_seed + args.frames)
    with Pool(args.jobs) as pool:
        for name, enamel in TEETH.items():
            found = pool.map(partial(attempt, enamel=enamel, cache=args.cache), seeds, chunksize=1)
            good = [one for one in found if one is not None]
            share = np.array([one.enamel_share or 0.0 for one in good])
            used = np.mean([one.enamel_used for one in good])
            print(f"{name}: enamel matched {np.median(share):.0%} (median), used in {used:.0%} of frames")
            refused = len(found) - len(good)
            print(told(f"{name}, matched densely", [one.dense for one in good], refused))
            print(told(f"{name}, corners alone", [one.corners for one in good], refused), flush=True)


if __name__ == "__main__":
    main()
