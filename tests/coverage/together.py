"""How honest are offsets from corners, and from several frames together? Planted offsets, counted hits.

    python -m tests.coverage.together --frames 1000
    python -m tests.coverage.together --frames 60 --maps

Nothing is rendered but with --maps, so that a thousand frames take minutes. Heads, poses, clicks, head
alignment, sideways and upward errors and the size of the digital teeth are drawn from the very priors that
the fit believes: an interval can only be calibrated on what it was made for. Printed for each case: n, bias,
rmse, the sd stated, the share of 95 % intervals that held the truth with its Wilson interval, and rmse over
the Cramer-Rao bound of the same scenes, whose slopes are central differences of a geometry written apart from
the fit's.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from bite.evidence.clicks.for_fit import corner_block
from bite.evidence.depth.for_fit import depth_block
from bite.evidence.model.head import solved_head
from bite.evidence.priors import prior_of
from bite.files.device import Device
from bite.fit.offset import fit_offset
from bite.fit.parameters import make_prior
from bite.stats.estimate import Z95
from bite.stats.pooling import pool
from bite.stats.spread import ASIDE_SCALE_MM, SCALE_MM, TAIL
from bite.together.frame_information import FrameInformation, information_of_fit
from bite.together.joint import Joint, JointFrame, fit_joint
from demo_bite.scene import (
    Bite,
    Detail,
    Sensor,
    Settings,
    SolveError,
    as_bite_frame,
    draw_anatomy,
    simulate,
)
from tests.coverage.corner_scene import (
    HEADS,
    PRIOR,
    Planted,
    bound_sd_mm,
    corner_frame,
    draw_planted,
    performer,
)
from tests.coverage.offset import PHOTO_CLICKS, wilson

BIAS_SD_MM = 0.08
"""How well the enamel bias of the simulated depth sensor is known: common to all frames of a performer."""
TURNS_DEG = (0.0, 20.0, -20.0)


@dataclass(frozen=True, slots=True)
class Outcome:
    """One offset: its error and sd, the bound of its scene, mm, and what was found of the spread."""

    error_mm: float
    sd_mm: float
    bound_mm: float | None = None
    spread_mm: float | None = None
    spread_held: bool | None = None
    paule_mandel_mm: float | None = None
    named: tuple[bool, ...] = ()


def stereo(seed: int) -> Outcome:
    """Fit one frame of two views, 60 mm apart, clicks and landmarks of 0.5 px."""
    rng = np.random.default_rng(seed)
    planted = draw_planted(rng)
    frame = corner_frame(rng, performer(seed % HEADS), planted, views=2)
    fit = fit_offset([frame.block], PRIOR)
    return Outcome(fit.offset.value - planted.teeth_mm[0], fit.offset.sd, bound_sd_mm([frame]))


def stereo_near(seed: int) -> Outcome:
    """Fit the same where heads are solved twice as well as believed, with no sideways and no size error."""
    rng = np.random.default_rng(seed)
    planted = Planted(np.array([rng.uniform(-2.5, 2.5), 0.0, 0.0]), 0.0)
    sd = PRIOR.sd.copy()
    sd[:6] *= 0.5
    frame = corner_frame(rng, performer(seed % HEADS), planted, views=2, solved_within=sd, landmark_px=1.5)
    fit = fit_offset([frame.block], PRIOR)
    return Outcome(fit.offset.value - planted.teeth_mm[0], fit.offset.sd)


def turned(seed: int, *, spread: bool) -> Outcome:
    """Fit three frames of one view each, the head turned by 0, +20 and -20 degrees."""
    rng = np.random.default_rng(seed)
    planted = draw_planted(rng)
    drawn = np.abs(rng.standard_t(TAIL, 2)) * (SCALE_MM, ASIDE_SCALE_MM) * spread
    sd = drawn[[0, 1, 1]]
    frames = [
        corner_frame(rng, performer(seed % HEADS), planted, turn_deg=turn, bite_mm=sd * rng.normal(size=3))
        for turn in TURNS_DEG
    ]
    found = fit_joint(
        [JointFrame(str(k), "simulated", PRIOR, None, frame.block) for k, frame in enumerate(frames)],
        leave_one_out=False,
    )
    return Outcome(found.offset.value - planted.teeth_mm[0], found.offset.sd, bound_sd_mm(frames, sd))


def several_stereo(seed: int, *, count: int, spread_mm: float) -> Outcome:
    """Fit several stereo frames of one performer whose bites differ by a known spread along forward."""
    rng = np.random.default_rng(seed)
    planted = draw_planted(rng)
    sd = np.array([spread_mm, 0.0, 0.0])
    frames = [
        corner_frame(rng, performer(seed % HEADS), planted, views=2, bite_mm=sd * rng.normal(size=3))
        for _ in range(count)
    ]
    fitted = [information_of_fit(fit_offset([frame.block], PRIOR), PRIOR) for frame in frames]
    found = fit_joint(
        [JointFrame(str(k), "simulated", PRIOR, one, None) for k, one in enumerate(fitted)],
        leave_one_out=False,
    )
    return Outcome(
        found.offset.value - planted.teeth_mm[0],
        found.offset.sd,
        bound_sd_mm(frames, sd),
        *_spread(found, spread_mm),
    )


def several_depth(seed: int, *, count: int, spread_mm: float, odd_mm: float = 0.0) -> Outcome:
    """Add up information as of depth maps: own sds of 0.08 to 0.2 mm, an enamel bias common to all.

    With ``odd_mm`` the first frame is off by that much.
    """
    rng = np.random.default_rng(seed)
    prior = make_prior(enamel_bias_mm=0.15, enamel_bias_sd_mm=BIAS_SD_MM)
    truth, bias = rng.uniform(-2.0, 2.0), rng.normal(0.15, BIAS_SD_MM)
    sds = rng.uniform(0.08, 0.2, count)
    seen = truth + spread_mm * rng.normal(size=count) + sds * rng.normal(size=count) - bias
    seen[0] += odd_mm
    each = []
    for value, sd in zip(seen, sds, strict=True):
        along = np.array([1.0, 0.0, 0.0, 0.0, -1.0])
        information = np.outer(along, along) / sd**2 + np.diag([0.0, 100.0, 100.0, 1.0, 0.0])
        each.append(FrameInformation(information, along * value / sd**2))
    found = fit_joint(
        [JointFrame(str(k), "simulated", prior, one, None) for k, one in enumerate(each)],
        leave_one_out=bool(odd_mm),
    )
    outcome = Outcome(found.offset.value - truth, found.offset.sd, None, *_spread(found, spread_mm))
    named = tuple(held.chance < 0.05 / count for held in found.without)
    return replace(outcome, paule_mandel_mm=pool(seen, sds).tau, named=named)


def several_maps(seed: int, *, count: int, spread_mm: float) -> Outcome:
    """Render depth maps of one performer, fit each, and take the frames together; seconds a frame.

    One enamel bias for all, waves of the solved skin drawn for each frame, blur unknown to the tool.
    """
    rng = np.random.default_rng(seed)
    anatomy, truth, bias = draw_anatomy(rng, Bite()), rng.uniform(-2.0, 2.0), rng.normal(0.15, BIAS_SD_MM)
    device = Device("simulated", "simulated", enamel_bias_mm=0.15, enamel_bias_sd_mm=BIAS_SD_MM)
    prior = prior_of(device)[0]
    frames = []
    for k in range(count):
        settings = Settings(
            t_mm=truth + spread_mm * rng.normal(),
            sensor=Sensor(smoothing_px=rng.uniform(1.0, 3.5), gross_share=0.02, enamel_bias_mm=bias),
            solve=SolveError(waves_mm=0.28),
            clicks=PHOTO_CLICKS,
            detail=Detail.COARSE,
        )
        frame = as_bite_frame(simulate(rng, settings, anatomy=anatomy))
        solved = solved_head(frame)
        assert solved is not None
        blocks = [depth_block(frame, solved.head), corner_block(frame, solved.head)]
        fit = fit_offset([block for block in blocks if block is not None], prior)
        frames.append(JointFrame(str(k), "simulated", prior, information_of_fit(fit, prior), None))
    found = fit_joint(frames, leave_one_out=False)
    return Outcome(found.offset.value - truth, found.offset.sd, None, *_spread(found, spread_mm))


def _spread(found: Joint, planted_mm: float) -> tuple[float, bool]:
    low, high = found.spread.interval_mm
    return found.spread.median_mm, low <= planted_mm <= high


Case = Callable[[int], Outcome]
CASES: dict[str, Case] = {
    "one frame, two views": stereo,
    "one frame, two views, solved heads nearer than believed": stereo_near,
    "three turned frames, spread as believed": partial(turned, spread=True),
    "three turned frames, no spread": partial(turned, spread=False),
}
for _count in (2, 3, 5, 10):
    for _spread_mm in (0.0, 0.15, 0.3, 0.5):
        CASES[f"{_count} depth frames, spread {_spread_mm:g} mm"] = partial(
            several_depth, count=_count, spread_mm=_spread_mm
        )
for _count in (3, 5, 10):
    CASES[f"{_count} stereo frames, spread 0.3 mm"] = partial(several_stereo, count=_count, spread_mm=0.3)
CASES["5 depth frames, spread 0.15 mm, one off by 1.5 mm"] = partial(
    several_depth, count=5, spread_mm=0.15, odd_mm=1.5
)
SLOW_CASES: dict[str, Case] = {
    "3 rendered depth maps, spread 0.3 mm": partial(several_maps, count=3, spread_mm=0.3)
}


def told(name: str, outcomes: Sequence[Outcome]) -> str:
    """Sum one case up in a line."""
    error, sd = (np.array([getattr(o, key) for o in outcomes]) for key in ("error_mm", "sd_mm"))
    n, hits = len(error), int((np.abs(error) <= Z95 * sd).sum())
    low, high = wilson(hits, n)
    rmse = float(np.sqrt(np.mean(error**2)))
    line = (
        f"{name}: n {n}, bias {error.mean():+.3f} +- {error.std() / np.sqrt(n):.3f} mm, rmse {rmse:.3f} mm, "
        f"stated sd {np.sqrt(np.mean(sd**2)):.3f} mm, "
        f"95 % intervals held {hits / n:.1%} ({low:.1%} to {high:.1%}), error/sd {np.std(error / sd):.2f}"
    )
    bounds = [o.bound_mm for o in outcomes if o.bound_mm is not None]
    if bounds:
        bound = float(np.sqrt(np.mean(np.square(bounds))))
        line += f", Cramer-Rao bound {bound:.3f} mm, rmse over it {rmse / bound:.3f}"
    spreads = [o.spread_mm for o in outcomes if o.spread_mm is not None]
    if spreads:
        held = np.mean([bool(o.spread_held) for o in outcomes])
        line += f", spread found {np.mean(spreads):.3f} mm (held {held:.0%})"
    moments = [o.paule_mandel_mm for o in outcomes if o.paule_mandel_mm is not None]
    if moments:
        line += f", Paule-Mandel {np.mean(moments):.3f} mm"
    if outcomes[0].named:
        first = np.mean([o.named[0] for o in outcomes])
        others = np.mean([any(o.named[1:]) for o in outcomes])
        line += f", odd frame named {first:.1%}, another one {others:.1%}"
    return line


def run(name: str, frames: int, first_seed: int) -> list[Outcome]:
    """Run one case."""
    case = {**CASES, **SLOW_CASES}[name]
    return [case(first_seed + k) for k in range(frames)]


def main() -> None:
    """Run the cases and print a line each."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--frames", type=int, default=1000)
    parser.add_argument("--first-seed", type=int, default=1000)
    parser.add_argument("--case", help="only cases with this text in their name")
    parser.add_argument("--maps", action="store_true", help="the case that renders, seconds a frame, alone")
    args = parser.parse_args()
    for name in SLOW_CASES if args.maps else CASES:
        if not args.case or args.case in name:
            print(told(name, run(name, args.frames, args.first_seed)), flush=True)


if __name__ == "__main__":
    main()
