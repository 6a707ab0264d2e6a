"""Two looks at one depth profile: what cancels in their difference, and which looks are no pair."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from bite.errors import InputError
from bite.evidence.clicks.for_fit import corner_block
from bite.evidence.depth.for_fit import depth_block, profile_block
from bite.evidence.model.head import solved_head
from bite.evidence.priors import prior_of
from bite.files.device import Device
from bite.files.profile import DepthProfile
from bite.fit.offset import OffsetFit, fit_offset
from bite.geometry.rigid import frozen
from bite.recheck.difference import AtRest, at_rest, difference_sd
from bite.recheck.profile_looks import difference_on_line, refuse_other_profile
from bite.recheck.steps import achieved_by_fits
from demo_bite.scene import Detail, Sensor, Settings, SolveError, as_bite_frame, simulate
from demo_bite.scene.profile import as_profile_frame

KNOWN = Device("simulated", "simulated", enamel_bias_mm=0.0, enamel_bias_sd_mm=0.02)
PRIOR = prior_of(KNOWN)[0]


@cache
def look(seed: int, t_mm: float, *, profile: bool = True, hole: bool = False) -> OffsetFit:
    """Fit a frame whose teeth are still off by so much; the same seed has the same readings and clicks."""
    small = Sensor(320, 240, 300.0, smoothing_px=1.0, correlation_px=0.75)
    settings = Settings(t_mm=t_mm, sensor=small, solve=SolveError(waves_mm=0.28), detail=Detail.COARSE)
    simulated = simulate(np.random.default_rng(seed), settings)
    frame = as_profile_frame(simulated) if profile else as_bite_frame(simulated)
    if hole:
        assert frame.profile is not None and frame.profile.solved_depth_mm is not None
        solved_mm = frame.profile.solved_depth_mm.copy()
        solved_mm[np.flatnonzero(np.array(frame.profile.region) == "upper")[:3]] = np.nan
        frame = replace(frame, profile=replace(frame.profile, solved_depth_mm=frozen(solved_mm)))
    solved = solved_head(frame)
    assert solved is not None
    depth = profile_block(frame, solved.head) if profile else depth_block(frame, solved.head)
    blocks = (depth, corner_block(frame, solved.head))
    return fit_offset([block for block in blocks if block is not None], PRIOR)


def rest(seed: int, t_mm: float, **how: bool) -> AtRest:
    return at_rest(look(seed, t_mm, **how).solution, PRIOR)


@pytest.mark.slow
def test_a_look_and_itself_differ_by_nothing() -> None:
    here = rest(40, 1.2)
    found = difference_on_line(here, here, PRIOR)
    assert found is not None
    assert found.readings_mm == found.model_mm == 0.0
    # what the difference counts is exactly what is taken back from it
    assert found.apart_mm**2 < difference_sd(here, here, PRIOR).total_mm ** 2
    achieved, _ = achieved_by_fits(look(40, 1.2), look(40, 1.2), PRIOR)
    assert achieved.value == 0.0 and achieved.sd < 0.01


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(41, 45))
def test_what_both_looks_share_cancels_and_the_model_of_a_move_does_not(seed: int) -> None:
    before, after = rest(seed, 1.4), rest(seed, 0.2)
    found = difference_on_line(before, after, PRIOR)
    assert found is not None
    assert 0 < found.readings_mm < 0.2 * found.apart_mm
    # at least the share of the move that nothing shows
    assert found.model_mm > 0.029 * 1.2
    achieved, how = achieved_by_fits(look(seed, 1.4), look(seed, 0.2), PRIOR)
    assert achieved.sd < 0.4 * difference_sd(before, after, PRIOR).total_mm
    assert achieved.sd > np.hypot(found.readings_mm, found.model_mm)
    # 4 sd: none of four may lie far outside
    assert abs(achieved.value - 1.2) < 4 * achieved.sd
    assert f"{achieved.sd:.3f} mm is left" in how and f"{found.model_mm:.3f} mm of it" in how


@pytest.mark.slow
def test_the_order_of_the_looks_changes_nothing() -> None:
    one, two = rest(41, 1.4), rest(41, 0.2)
    there, back = difference_on_line(one, two, PRIOR), difference_on_line(two, one, PRIOR)
    assert there is not None and back is not None
    for name in ("apart_mm", "readings_mm", "model_mm"):
        assert getattr(there, name) == pytest.approx(getattr(back, name), rel=1e-12)


@pytest.mark.slow
def test_readings_that_one_look_alone_uses_do_not_cancel() -> None:
    whole = difference_on_line(rest(42, 1.4), rest(42, 0.2), PRIOR)
    for pair in ((rest(42, 1.4), rest(42, 0.2, hole=True)), (rest(42, 1.4, hole=True), rest(42, 0.2))):
        found = difference_on_line(*pair, PRIOR)
        assert whole is not None and found is not None
        assert found.readings_mm > 1.5 * whole.readings_mm


@pytest.mark.slow
def test_other_readings_and_maps_are_no_pair() -> None:
    assert difference_on_line(rest(41, 1.4), rest(42, 0.2), PRIOR) is None
    assert difference_on_line(rest(41, 1.4), rest(41, 0.2, profile=False), PRIOR) is None
    assert difference_on_line(rest(41, 1.4, profile=False), rest(41, 0.2, profile=False), PRIOR) is None


def test_profiles_may_differ_in_what_was_solved_and_in_nothing_measured() -> None:
    n = 10
    along, depth = frozen(np.arange(n, dtype=float)), frozen([*np.full(n - 1, 300.0), np.nan])
    one = DepthProfile(Path("a.csv"), along, depth, None, ("skin",) * n, frozen(np.full(n, 300.0)))
    refuse_other_profile("x", "y", None, None)
    refuse_other_profile("x", "y", one, replace(one, solved_depth_mm=frozen(np.full(n, 301.0))))
    moved = depth.copy()
    moved[3] += 0.1
    shorter = replace(one, along_mm=along[1:], depth_mm=depth[1:])
    for other in (replace(one, depth_mm=frozen(moved)), replace(one, along_mm=frozen(along + 1)), shorter):
        with pytest.raises(InputError, match=r"a\.csv.*another bite frame"):
            refuse_other_profile("x", "y", one, other)
    with pytest.raises(InputError, match=r"x: .*this look has no depth profile"):
        refuse_other_profile("x", "y", one, None)
    with pytest.raises(InputError, match=r"x: .*y has no depth profile"):
        refuse_other_profile("x", "y", None, one)
