"""What a device's table says of its filter, from the table to the end of a fit."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import ndimage

from bite.evidence.depth.for_fit import MEDIAN_PX, depth_block
from bite.evidence.model.head import solved_head
from bite.evidence.priors import prior_of
from bite.files.bundle import BiteFrame
from bite.files.depth import Matching
from bite.files.device import Device
from bite.fit import depth_block as module
from bite.fit import which_filter
from bite.fit.depth_block import DepthBlock
from bite.fit.head import Head
from bite.fit.offset import OffsetFit, fit_offset
from bite.fit.parameters import P
from bite.fit.smoothing import GAUSS, Kind, SensorFilter, smooth
from demo_bite.scene import Bite, Detail, Sensor, Settings, Shot, SolveError, as_bite_frame, simulate

T_MM = 0.7
TABLE = Device("card-depth", "card.toml", smoothing_px=1.2, smoothing_sd_px=0.5, enamel_bias_mm=0.0,
               enamel_bias_sd_mm=0.02, noise_mm=0.3, correlation_px=1.0)  # fmt: skip
SHARP = Sensor(smoothing_px=0.3, noise_mm=0.4, correlation_px=0.5, highlight_hole_share=0.0,
               edge_hole_share=0.0, blob_hole_share=0.0, unit_mm=0.0)  # fmt: skip


@pytest.fixture(scope="module")
def sharp() -> BiteFrame:
    """A frame whose depth is as it fell on the sensor, noise and wild pixels too, before any filter."""
    settings = Settings(
        t_mm=T_MM, bite=Bite(2.9, 2.4), sensor=SHARP, detail=Detail.COARSE,
        solve=SolveError(waves_mm=0.0, shift_sd_mm=0.3, turn_sd_deg=0.3),
        shot=Shot(distance_mm=320.0, turn_deg=4.0, nod_deg=6.0, tilt_deg=2.0),
    )  # fmt: skip
    return as_bite_frame(simulate(np.random.default_rng(5), settings), device=TABLE)


FILTERS = {
    "median": lambda depth: ndimage.median_filter(depth, 5),
    "box": lambda depth: ndimage.uniform_filter(depth, 5),
    "gauss": lambda depth: ndimage.gaussian_filter(depth, 1.4),
}


def made(sharp: BiteFrame, how: str, told: str | None) -> tuple[BiteFrame, Head]:
    """The frame after a filter, and what its table calls it."""
    assert sharp.depth_map is not None
    depth = np.asarray(sharp.depth_map.depth_mm, float)
    near = np.nanmin(depth)
    # nothing behind the head: as far as its silhouette's own, so that no filter sees gaps
    filtered = FILTERS[how](np.where(np.isfinite(depth), depth, near + 150.0))
    filtered[~np.isfinite(depth)] = np.nan
    device = replace(TABLE, filter=told)
    frame = replace(sharp, depth_map=replace(sharp.depth_map, depth_mm=filtered), device=device)
    solved = solved_head(frame)
    assert solved is not None
    return frame, solved.head


def fitted(frame: BiteFrame, head: Head) -> tuple[OffsetFit, DepthBlock]:
    block = depth_block(frame, head)
    assert block is not None
    fit = fit_offset([block], prior_of(frame.device)[0])
    (after,) = fit.solution.blocks
    assert isinstance(after, DepthBlock)
    return fit, after


@pytest.fixture
def used(monkeypatch: pytest.MonkeyPatch) -> set[SensorFilter]:
    """Every filter that the fit passes a map through."""
    seen: set[SensorFilter] = set()

    def noted(maps, mask, smoothing_px, sensor=GAUSS, **wanted):
        seen.add(sensor)
        return smooth(maps, mask, smoothing_px, sensor, **wanted)

    for place in (module, which_filter):
        monkeypatch.setattr(place, "smooth", noted)
    return seen


def check(fit: OffsetFit) -> None:
    assert fit.solution.converged
    # three sds: a fit that is as good as its word misses that once in 370
    assert abs(fit.offset.value - T_MM) < 3.0 * fit.offset.sd and fit.offset.sd < 0.1


@pytest.mark.slow
def test_a_table_that_names_a_median_starts_with_one_and_never_tries_means(
    sharp: BiteFrame, used: set[SensorFilter]
) -> None:
    frame, head = made(sharp, "median", "median")
    start = depth_block(frame, head)
    assert start is not None and start.told
    assert start.sensor == SensorFilter(Kind.MEDIAN, MEDIAN_PX)
    fit, after = fitted(frame, head)
    assert {sensor.kind for sensor in used} == {Kind.MEDIAN}
    assert {sensor.window_px for sensor in used} == {3, 5, 7}  # but which median it was is looked for
    assert after.sensor == SensorFilter(Kind.MEDIAN, 5)
    check(fit)


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["box", "gauss"])
def test_a_table_that_names_a_mean_keeps_to_it(sharp: BiteFrame, used: set[SensorFilter], kind: str) -> None:
    frame, head = made(sharp, kind, kind)
    start = depth_block(frame, head)
    assert start is not None and start.told and start.sensor == SensorFilter(Kind(kind))
    # 0.05 either way: as boxy as it says
    assert start.extra_precision[-1] == pytest.approx(400.0)
    fit, after = fitted(frame, head)
    assert not any(sensor.kind is Kind.MEDIAN for sensor in used)
    assert after.sensor == SensorFilter(Kind(kind))
    if kind == "box":
        assert {sensor.kind for sensor in used} == {Kind.BOX}
    check(fit)


@pytest.mark.slow
def test_a_median_that_no_table_names_is_found(sharp: BiteFrame) -> None:
    frame, head = made(sharp, "median", None)
    start = depth_block(frame, head)
    assert start is not None and not start.told and start.sensor == GAUSS
    assert start.extra_precision[-1] == pytest.approx(0.7**-2)
    fit, after = fitted(frame, head)
    assert after.sensor == SensorFilter(Kind.MEDIAN, 5)
    check(fit)


@pytest.mark.slow
def test_a_map_matched_from_two_views_has_no_sensor_of_its_own(sharp: BiteFrame) -> None:
    """What a table says of its device's filter was not said of a matcher."""
    frame, head = made(sharp, "gauss", "median")
    matched = depth_block(replace(frame, stereo=Matching(("a", "b"), blur_px=2.0)), head)
    assert matched is not None and not matched.told and matched.sensor == GAUSS


def smoothing(device: Device) -> tuple[float, float]:
    prior = prior_of(device)[0]
    return float(prior.mean[P.SMOOTHING_PX]), float(prior.sd[P.SMOOTHING_PX])


def test_a_filter_that_keeps_edges_is_believed_to_leave_half_a_pixel() -> None:
    bare = Device("bare", "bare.toml")
    assert smoothing(bare) == smoothing(replace(bare, filter="gauss")) == (2.0, 1.5)
    assert smoothing(replace(bare, filter="edge-preserving")) == (0.5, 0.3)
    stated = replace(bare, filter="edge-preserving", smoothing_px=0.9, smoothing_sd_px=0.1)
    assert smoothing(stated) == (0.9, 0.1)
    told = prior_of(replace(bare, filter="edge-preserving"))[1]
    assert told[0] == "sensor smoothing 0.5 px: built-in default, bare states none"
    assert prior_of(stated)[1][0] == "sensor smoothing 0.9 px: bare.toml"


def test_a_filter_that_keeps_edges_is_no_belief_about_a_matcher() -> None:
    device = Device("bare", "bare.toml", filter="edge-preserving")
    prior = prior_of(device, matched=Matching(("a", "b"), blur_px=2.5))[0]
    assert prior.mean[P.SMOOTHING_PX] == pytest.approx(0.8 * 2.5)
