"""How honest is the interval of the offset? Simulated frames, planted offsets, counted hits.

    python -m tests.coverage.offset --frames 300 --jobs 2

Each frame has a new random head, bite, pose, sensor blur, noise, holes and clicks. Printed for each case:
bias and rmse of the offset, the
mean sd it stated, the share of 95 % intervals that held the truth with its Wilson interval, the sd of the
standardised error (1 when
sds are right), and how much of the answer came from priors.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from multiprocessing import Pool
from typing import NotRequired, TypedDict

import numpy as np

from bite.errors import BiteError
from bite.evidence.clicks.for_fit import corner_block
from bite.evidence.depth.for_fit import depth_block, profile_block
from bite.evidence.lips.line import lip_block
from bite.evidence.model.head import solved_head
from bite.evidence.priors import prior_of
from bite.files.device import Device
from bite.fit.block import Block
from bite.fit.offset import fit_offset
from bite.fit.parameters import Prior
from bite.stats.estimate import Z95
from demo_bite.scene import (
    EMBRASURE,
    THIN_STRIP,
    WIDE_GRIN,
    Clicks,
    Detail,
    Mouth,
    PictureSettings,
    Sensor,
    Settings,
    Shot,
    SolveError,
    as_bite_frame,
    simulate,
)

KNOWN_ENAMEL = Device("simulated", "simulated", enamel_bias_mm=0.0, enamel_bias_sd_mm=0.02)
NOTHING_KNOWN = Device("simulated", "nothing stated")
PHOTO_CLICKS = Clicks(mesial_px=0.2, distal_px=0.4, landmark_px=0.6)
"""Clicks of 0.5, 0.9 and 1.5 px in a photograph of f 1400 px, in pixels of the simulated camera of f 600
px."""
PICTURE = PictureSettings(width_px=480, height_px=420, focal_px=1400.0)
"""The middle of such a photograph, with the mouth; its lip line is read."""
WAVE_RMS_MM = 0.4 / np.sqrt(2.0)
"""Root mean square of waves of 0.4 mm amplitude."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """One frame: error and sd of the offset, mm, the sensor's blur, and what else is told of it."""

    seed: int
    error_mm: float
    sd_mm: float
    prior_share: float
    converged: bool
    blur_px: float = float("nan")


@dataclass(frozen=True, slots=True)
class Evidence:
    """What the fit is given of one simulated frame, and the planted offset, mm."""

    blocks: tuple[Block, ...]
    prior: Prior
    offset_mm: float
    blur_px: float


def depth_evidence(
    seed: int,
    *,
    mouth: Mouth,
    waves_mm: float,
    device: Device,
    random_bias: bool,
    length_mm: float = 50.0,
    picture: bool = False,
    slide_mm: float = 0.0,
) -> Evidence:
    """Simulate one frame with a depth map and clicked corners, and the lip line where there is a picture."""
    rng = np.random.default_rng(seed)
    offset_mm = rng.uniform(-2.5, 2.5)
    bias_mm = rng.normal(0.2, 0.2) if random_bias else 0.0
    sensor = Sensor(
        smoothing_px=rng.uniform(1.0, 3.5),
        noise_mm=0.4,
        correlation_px=1.5,
        gross_share=rng.uniform(0.0, 0.05),
        enamel_bias_mm=bias_mm,
    )
    settings = Settings(
        t_mm=offset_mm,
        mouth=mouth,
        sensor=sensor,
        solve=SolveError(waves_mm=waves_mm, wave_length_mm=length_mm, lip_slide_mm=slide_mm),
        clicks=Clicks() if picture else PHOTO_CLICKS,
        picture=PICTURE if picture else None,
        detail=Detail.COARSE,
    )
    frame = as_bite_frame(simulate(rng, settings))
    solved = solved_head(frame)
    assert solved is not None
    depth = depth_block(frame, solved.head)
    lips = lip_block(frame.views[0], solved.head, depth) if picture and depth is not None else None
    blocks = [b for b in (depth, corner_block(frame, solved.head), lips) if b is not None]
    return Evidence(tuple(blocks), prior_of(device)[0], offset_mm, sensor.smoothing_px)


def depth_frame(seed: int, case: DepthCase) -> Outcome:
    """Fit one simulated frame with a depth map and clicked corners."""
    given = depth_evidence(seed, **case)
    return replace(_outcome(seed, given.offset_mm, given.blocks, case["device"]), blur_px=given.blur_px)


def stereo_frame(seed: int, *, head_shift_mm: float) -> Outcome:
    """Fit one simulated frame with two calibrated views, clicked corners and landmarks, and no depth."""
    rng = np.random.default_rng(seed)
    offset_mm = rng.uniform(-2.5, 2.5)
    settings = Settings(
        t_mm=offset_mm,
        sensor=replace(Sensor(), focal_px=1400.0, width_px=1920, height_px=1440),
        shot=Shot(views=2, baseline_mm=60.0),
        solve=SolveError(waves_mm=0.0, shift_sd_mm=head_shift_mm, turn_sd_deg=head_shift_mm),
        clicks=Clicks(mesial_px=0.5, distal_px=0.5, landmark_px=1.5),
        detail=Detail.COARSE,
        depth=False,
    )
    frame = as_bite_frame(simulate(rng, settings))
    solved = solved_head(frame)
    assert solved is not None
    block = corner_block(frame, solved.head)
    assert block is not None
    return _outcome(seed, offset_mm, [block], KNOWN_ENAMEL)


def profile_frame(seed: int, *, mouth: Mouth, waves_mm: float) -> Outcome:
    """Fit one simulated frame that has a depth profile and clicked corners, and no mesh."""
    from demo_bite.scene.profile import as_profile_frame

    rng = np.random.default_rng(seed)
    offset_mm = rng.uniform(-2.5, 2.5)
    settings = Settings(
        t_mm=offset_mm,
        mouth=mouth,
        sensor=Sensor(smoothing_px=rng.uniform(1.0, 3.5), gross_share=rng.uniform(0.0, 0.05)),
        solve=SolveError(waves_mm=waves_mm),
        clicks=PHOTO_CLICKS,
        detail=Detail.COARSE,
    )
    frame = as_profile_frame(simulate(rng, settings))
    solved = solved_head(frame)
    assert solved is not None
    blocks = [
        b for b in (profile_block(frame, solved.head), corner_block(frame, solved.head)) if b is not None
    ]
    return _outcome(seed, offset_mm, blocks, KNOWN_ENAMEL)


def _outcome(seed: int, offset_mm: float, blocks: Sequence[Block], device: Device) -> Outcome:
    fit = fit_offset(blocks, prior_of(device)[0])
    return Outcome(
        seed, fit.offset.value - offset_mm, fit.offset.sd, fit.solution.prior_share, fit.solution.converged
    )


class DepthCase(TypedDict):
    """Settings of a case with a depth map."""

    mouth: Mouth
    waves_mm: float
    device: Device
    random_bias: bool
    length_mm: NotRequired[float]
    picture: NotRequired[bool]
    slide_mm: NotRequired[float]


DEPTH_CASES: dict[str, DepthCase] = {
    f"{name}, {label}": {
        "mouth": mouth, "waves_mm": waves, "device": KNOWN_ENAMEL, "random_bias": False, "picture": picture
    }
    # the lips of a wide grin end over gum: there is no line to read
    for name, mouth, picture in (
        ("wide grin", WIDE_GRIN, False), ("half open", EMBRASURE, True), ("thin strip", THIN_STRIP, True)
    )
    for label, waves in (
        ("skin exact", 0.0),
        ("skin waves 0.4 mm amplitude", WAVE_RMS_MM),
        ("skin waves 0.4 mm rms", 0.4),
    )
}  # fmt: skip
DEPTH_CASES["thin strip, skin waves 0.4 mm amplitude, picture not used"] = {
    "mouth": THIN_STRIP, "waves_mm": WAVE_RMS_MM, "device": KNOWN_ENAMEL, "random_bias": False
}  # fmt: skip
DEPTH_CASES["wide grin, waves 0.4 mm amplitude, enamel bias N(0.2, 0.2) unknown"] = {
    "mouth": WIDE_GRIN, "waves_mm": WAVE_RMS_MM, "device": NOTHING_KNOWN, "random_bias": True
}  # fmt: skip
for short_name, short_mouth, shown in (("wide grin", WIDE_GRIN, False), ("thin strip", THIN_STRIP, True)):
    DEPTH_CASES[f"{short_name}, skin waves 0.4 mm amplitude, 25 mm long"] = {
        "mouth": short_mouth, "waves_mm": WAVE_RMS_MM, "device": KNOWN_ENAMEL, "random_bias": False,
        "length_mm": 25.0, "picture": shown,
    }  # fmt: skip
for told_picture, shown in (("", True), (", picture not used", False)):
    DEPTH_CASES[f"thin strip, upper lip solved 0.5 mm too high{told_picture}"] = {
        "mouth": THIN_STRIP, "waves_mm": WAVE_RMS_MM, "device": KNOWN_ENAMEL, "random_bias": False,
        "slide_mm": 0.5, "picture": shown,
    }  # fmt: skip
CASES: dict[str, Callable[[int], Outcome]] = {
    name: partial(depth_frame, case=case) for name, case in DEPTH_CASES.items()
}
CASES["two views and landmarks, no depth"] = partial(stereo_frame, head_shift_mm=0.5)
CASES["profile, wide grin, skin exact"] = partial(profile_frame, mouth=WIDE_GRIN, waves_mm=0.0)
CASES["profile, wide grin, waves 0.4 mm amplitude"] = partial(
    profile_frame, mouth=WIDE_GRIN, waves_mm=WAVE_RMS_MM
)


def wilson(hits: int, count: int) -> tuple[float, float]:
    """95 % interval of a share (Wilson; reference/proportion_intervals.toml)."""
    share, z2 = hits / count, Z95**2
    middle = (share + z2 / (2 * count)) / (1 + z2 / count)
    half = Z95 * np.sqrt(share * (1 - share) / count + z2 / (4 * count**2)) / (1 + z2 / count)
    return middle - half, middle + half


def told(name: str, outcomes: list[Outcome], failed: int) -> str:
    """Sum one case up in a line."""
    error = np.array([o.error_mm for o in outcomes])
    sd = np.array([o.sd_mm for o in outcomes])
    hits = int((np.abs(error) <= Z95 * sd).sum())
    low, high = wilson(hits, len(error))
    return (
        f"{name}: n {len(error)} (refused {failed}), "
        f"bias {error.mean():+.3f} +- {error.std() / np.sqrt(len(error)):.3f} mm, "
        f"rmse {np.sqrt(np.mean(error**2)):.3f} mm, median |error| {np.median(np.abs(error)):.3f} mm, "
        f"stated sd {np.sqrt(np.mean(sd**2)):.3f} mm, "
        f"95 % intervals held {hits / len(error):.1%} ({low:.1%} to {high:.1%}), "
        f"error/sd {np.std(error / sd):.2f}, prior share {np.mean([o.prior_share for o in outcomes]):.1%}, "
        f"converged {np.mean([o.converged for o in outcomes]):.0%}" + by_blur(outcomes)
    )


def by_blur(outcomes: list[Outcome]) -> str:
    """Give rmse and stated sd in three bands of the sensor's blur, where it varies."""
    parts = []
    for low, high in ((1.0, 1.8), (1.8, 2.6), (2.6, 3.5)):
        band = [o for o in outcomes if low <= o.blur_px < high]
        if band:
            rmse = np.sqrt(np.mean([o.error_mm**2 for o in band]))
            sd = np.sqrt(np.mean([o.sd_mm**2 for o in band]))
            parts.append(f"blur {low:g} to {high:g} px: n {len(band)}, rmse {rmse:.3f}, sd {sd:.3f} mm")
    return "".join(f"; {part}" for part in parts)


def attempt(job: tuple[str, int]) -> Outcome | None:
    """Run one frame; a refusal counts as such."""
    try:
        return CASES[job[0]](job[1])
    except BiteError as error:
        print(f"{job}: {error}", file=sys.stderr)
        return None


def main() -> None:
    """Run the cases and print a line each."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--frames", type=int, default=300)
    parser.add_argument("--first-seed", type=int, default=1000)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--case", help="only cases with this text in their name")
    args = parser.parse_args()
    with Pool(args.jobs) as pool:
        for name in CASES:
            if args.case and args.case not in name:
                continue
            jobs = [(name, args.first_seed + k) for k in range(args.frames)]
            results = pool.map(attempt, jobs, chunksize=4)
            good = [r for r in results if r is not None]
            print(told(name, good, len(results) - len(good)), flush=True)


if __name__ == "__main__":
    main()
