"""Tooth numbers, crown widths, exposure bins, enamel: what the program has beside what was published."""

from __future__ import annotations

import numpy as np
import pytest

from bite.evidence.picture.exposure import exposure_of
from bite.evidence.priors import ENAMEL_BIAS_MM, ENAMEL_BIAS_SD_MM
from bite.geometry.teeth import CORNERS, LOWER_CENTRAL, UPPER_CENTRAL, is_upper, mirrored


def test_tooth_numbers(reference) -> None:
    numbers = reference("tooth_numbers")
    assert sorted({int(corner[0]) for corner in CORNERS}) == numbers.value("permanent_quadrants")
    # quadrants 1 and 2 are the upper ones
    assert {int(corner[0]) for corner in CORNERS if is_upper(corner)} == {1, 2}
    for one, other in numbers.value("mirror_pairs"):
        assert mirrored(f"{one}d") == f"{other}d" and mirrored(f"{other}m") == f"{one}m"


def test_crown_widths_keep_the_published_shares(reference) -> None:
    widths = reference("crown_widths")
    share = LOWER_CENTRAL.mean_mm / UPPER_CENTRAL.mean_mm
    # one handbook's means against means of several samples: within 8 %
    assert share == pytest.approx(widths.value("lower_by_upper_central_width"), rel=0.08)
    spread = UPPER_CENTRAL.sd_mm / UPPER_CENTRAL.mean_mm
    assert spread == pytest.approx(widths.value("upper_central_width_spread_share"), rel=0.05)
    # nobody published the lower one: it must not be believed better than the share it was taken from, nor
    # be so wide that rows under each other's names pass for teeth
    assert widths.value("lower_central_width_sd") <= LOWER_CENTRAL.sd_mm < 0.5


def test_exposure_counts_the_published_bins_and_no_level_more(reference) -> None:
    bins = reference("exposure_bins")
    ramp = np.repeat(np.arange(256, dtype=np.uint8)[None, :, None], 3, axis=2)
    found = exposure_of(np.repeat(ramp, 8, axis=0), np.ones((8, 256), bool))
    for share, key in ((found.over, "bright_bin"), (found.under, "dark_bin")):
        low, high = bins.value(key)
        assert share.value == pytest.approx((high - low + 1) / 256, abs=1e-9)


def test_the_usual_belief_reaches_how_deep_light_goes_into_enamel(reference) -> None:
    """No sensor's bias on enamel is published: the belief must not exclude the depth at which light turns."""
    transport_mm = reference("enamel_depth").value("enamel_transport_length")
    assert abs(transport_mm - ENAMEL_BIAS_MM) < 2 * ENAMEL_BIAS_SD_MM
    assert ENAMEL_BIAS_MM - ENAMEL_BIAS_SD_MM >= 0.0  # enamel is seen too deep, never too near
