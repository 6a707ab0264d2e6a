"""What is believed before anything is measured: each default is part of the stated sd."""

from __future__ import annotations

import numpy as np
import pytest

from bite.fit.parameters import COUNT, GEOMETRIC, P, make_prior


def test_every_belief_is_as_wide_as_it_is_said_to_be() -> None:
    """Head 1 mm, 1 degree; teeth 2 mm aside, blur 1.5 px, enamel 0.2 mm, size 6.9 %, forward not at all."""
    prior = make_prior()
    degree = np.pi / 180.0
    believed = {
        P.HEAD_X_MM: 1.0, P.HEAD_Y_MM: 1.0, P.HEAD_Z_MM: 1.0,
        P.HEAD_TURN_X_RAD: degree, P.HEAD_TURN_Y_RAD: degree, P.HEAD_TURN_Z_RAD: degree,
        P.FORWARD_MM: np.inf, P.RIGHT_MM: 2.0, P.UP_MM: 2.0, P.SMOOTHING_PX: 1.5, P.ENAMEL_BIAS_MM: 0.2,
        P.LOG_SIZE: 0.069, P.PROFILE_OFFSET_MM: 20.0, P.PROFILE_SLOPE: 10.0 * degree,
    }  # fmt: skip
    assert len(believed) == COUNT
    for index, sd in believed.items():
        assert prior.sd[index] == pytest.approx(sd), index.name
        assert prior.precision[index] == pytest.approx(sd**-2), index.name


def test_only_blur_and_enamel_have_means_and_only_blur_and_offset_have_bounds() -> None:
    prior = make_prior()
    means = np.zeros(COUNT)
    means[[P.SMOOTHING_PX, P.ENAMEL_BIAS_MM]] = 2.0, 0.2
    assert prior.mean.tolist() == means.tolist()
    bound = [P.FORWARD_MM, P.SMOOTHING_PX]
    assert np.flatnonzero(np.isfinite(prior.low)).tolist() == bound == [6, 9]
    assert prior.low[bound].tolist() == [-25.0, 0.3] and prior.high[bound].tolist() == [25.0, 10.0]
    assert np.flatnonzero(np.isfinite(prior.high)).tolist() == bound


def test_a_device_that_is_known_better_is_believed_more() -> None:
    prior = make_prior(
        smoothing_px=3.0, smoothing_sd_px=0.1, enamel_bias_mm=0.4, enamel_bias_sd_mm=0.05,
        head_shift_sd_mm=0.5, head_turn_sd_deg=2.0, lateral_sd_mm=1.0, log_size_sd=0.01,
    )  # fmt: skip
    assert (prior.mean[P.SMOOTHING_PX], prior.sd[P.SMOOTHING_PX]) == (3.0, 0.1)
    assert (prior.mean[P.ENAMEL_BIAS_MM], prior.sd[P.ENAMEL_BIAS_MM]) == (0.4, 0.05)
    assert prior.sd[:3].tolist() == [0.5] * 3 and prior.sd[3:6] == pytest.approx(np.full(3, np.pi / 90.0))
    assert (prior.sd[P.RIGHT_MM], prior.sd[P.UP_MM], prior.sd[P.LOG_SIZE]) == (1.0, 1.0, 0.01)


def test_unknowns_that_move_surfaces_come_first() -> None:
    assert tuple(range(P.SMOOTHING_PX)) == GEOMETRIC


def test_priors_are_equal_where_all_beliefs_are() -> None:
    assert make_prior() == make_prior() != make_prior(smoothing_px=2.1)
    assert make_prior() != "a prior"
