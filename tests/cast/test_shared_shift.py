"""What a cast's offsets share: pooled once a performer, outliers, the enamel bias learned."""

from dataclasses import replace

import numpy as np
import pytest

from bite.check.steps import check_frame
from bite.stats.shared_shift import (
    Reading,
    Sharing,
    find_outliers,
    learned_bias,
    performer_means,
    shared_shift,
)
from demo_bite.scene import BENCH_DEPTH, Clicks, Detail, Settings, as_bite_frame, simulate
from tests.cast.small_cast import SENSOR, SOLVE


def cast(values, sd=0.1, systematic=0.2):
    return [Reading(f"p{k:02d}", float(v), sd, systematic) for k, v in enumerate(values)]


def test_one_performer_with_many_frames_counts_once():
    lone = cast([0.0, 0.1, 0.2, 0.5])
    crowd = lone[:3] + [replace(lone[3])] * 20
    assert shared_shift(crowd, tolerance_mm=0.5).shift.k == 4
    means = performer_means(crowd)
    assert [mean.frames for mean in means] == [1, 1, 1, 20] and means[3].value_mm == pytest.approx(0.5)


def test_the_systematic_part_is_added_once_and_does_not_shrink():
    few, many = (shared_shift(cast(np.linspace(-0.1, 0.1, n)), tolerance_mm=0.5) for n in (4, 60))
    assert many.shift.se < few.shift.se
    assert 0.2 < many.mean_sd_mm < few.mean_sd_mm
    # the systematic sd plays no part in the shift itself
    other = shared_shift(cast(np.linspace(-0.1, 0.1, 60), systematic=5.0), tolerance_mm=0.5)
    assert other.shift.interval == many.shift.interval


@pytest.mark.parametrize(
    ("values", "sharing"),
    [
        ([-0.8, -0.7, -0.9, -0.8], Sharing.COMMON),
        ([0.2, 0.9, 1.6, 2.2, 1.0, 0.4], Sharing.MIXED),
        ([0.1, 0.12, 0.08, 0.11, 0.1], Sharing.SMALL),
        ([-1.0, 1.0, -0.5, 0.6], Sharing.NONE),
        ([-0.8, -0.8], Sharing.UNKNOWN),
    ],
)
def test_what_is_shared_is_named(values, sharing):
    assert shared_shift(cast(values, sd=0.05), tolerance_mm=0.5).sharing is sharing


def test_nobody_means_nothing_is_known():
    found = shared_shift([], tolerance_mm=0.5)
    assert found.shift is None and found.mean_sd_mm is None


def test_a_planted_outlier_is_named_and_left_out():
    rng = np.random.default_rng(3)
    values = 0.8 + rng.normal(0, 0.3, 14)
    values[5] += 4.0
    found = shared_shift(cast(values), tolerance_mm=0.5)
    assert [o.performer for o in found.outliers] == ["p05"] and found.outliers[0].left_out
    assert found.shift.k == 13 and found.with_outliers.k == 14
    assert abs(found.shift.mean - 0.8) < abs(found.with_outliers.mean - 0.8)


def test_a_far_outlier_does_not_hide_a_nearer_one():
    values = [0.0, 0.1, -0.1, 0.05, -0.05, 0.02, 0.08, -0.06, 4.0, 12.0]
    assert {o.performer for o in find_outliers(performer_means(cast(values)))} == {"p08", "p09"}


@pytest.mark.slow
def test_a_learned_enamel_bias_makes_the_next_cast_right():
    """A sensor that sees enamel 0.9 mm too deep, with a table that says 0.15 mm."""
    made = Settings(
        sensor=replace(SENSOR, enamel_bias_mm=0.9),
        solve=SOLVE,
        clicks=Clicks(0.15, 0.3, 0.5),  # px of the small depth map, 1.6 mm each
        detail=Detail.COARSE,
    )

    bench = replace(BENCH_DEPTH, smoothing_px=0.8, smoothing_sd_px=0.4, correlation_px=0.8)

    def offsets(seeds, device):
        frames = [as_bite_frame(simulate(np.random.default_rng(s), made), device=device) for s in seeds]
        return [check_frame(frame).fit for frame in frames]

    fits = offsets(range(4), bench)
    readings = [
        Reading(f"p{k}", f.offset.value, f.sampling_sd_mm, f.systematic_sd_mm) for k, f in enumerate(fits)
    ]
    found = shared_shift(readings, tolerance_mm=0.5)
    assert found.sharing is Sharing.COMMON
    assert found.shift.mean < -0.4  # too deep in the map asks for teeth too far back
    slope = float(np.median([fit.forward_per_enamel for fit in fits]))
    assert 0.5 < slope < 1.2
    learned = learned_bias(found.shift, assumed_mm=bench.enamel_bias_mm, per_enamel_mm=slope)
    # four performers: 4 sd of the learned value, and it must be of use
    assert abs(learned.value_mm - 0.9) < max(4 * learned.sd_mm, 0.15) < 0.6
    better = replace(bench, enamel_bias_mm=learned.value_mm, enamel_bias_sd_mm=learned.sd_mm)
    before, after = (
        np.mean([abs(f.offset.value) for f in offsets((7, 8), device)]) for device in (bench, better)
    )
    assert after < before / 2
