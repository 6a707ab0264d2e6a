"""Overjet and overbite: signs, frames, spread and labels."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from bite.errors import DegenerateGeometryError
from bite.geometry.bite import (
    BiteBand,
    BiteMeasure,
    OverbiteLabel,
    OverjetLabel,
    bite_axes,
    bite_labels,
    covered_share,
    overjet_overbite,
    overjet_overbite_with_sd,
)

FORWARD, UP = np.array([0.0, 0.0, 1.0]), np.array([0.0, 1.0, 0.0])  # y up, z out of the mouth
UPPER = np.array([[-8.0, 0.0, 10.0], [-0.2, 0.3, 10.4], [8.2, 0.1, 9.8]])
LOWER = np.array([[-5.0, 2.0, 7.5], [5.4, 2.4, 7.1]])
FLOAT_MM = 1e-9


def test_signs_in_a_frame_with_y_up() -> None:
    overjet, overbite = overjet_overbite(UPPER, LOWER, forward=FORWARD, up=UP)
    assert overjet == pytest.approx(UPPER[:, 2].mean() - LOWER[:, 2].mean(), abs=FLOAT_MM)
    assert overbite == pytest.approx(LOWER[:, 1].mean() - UPPER[:, 1].mean(), abs=FLOAT_MM)
    assert overjet > 0
    assert overbite > 0


def test_swapped_rows_change_both_signs() -> None:
    there = overjet_overbite(UPPER, LOWER, forward=FORWARD, up=UP)
    back = overjet_overbite(LOWER, UPPER, forward=FORWARD, up=UP)
    np.testing.assert_allclose(back, np.negative(there), atol=FLOAT_MM)


def test_moving_the_scene_and_its_axes_changes_nothing() -> None:
    rng = np.random.default_rng(1)
    expected = overjet_overbite(UPPER, LOWER, forward=FORWARD, up=UP)
    for _ in range(20):
        turn, shift = Rotation.random(random_state=rng).as_matrix(), rng.normal(0, 200, 3)
        moved = overjet_overbite(
            UPPER @ turn.T + shift, LOWER @ turn.T + shift, forward=turn @ FORWARD, up=turn @ UP
        )
        np.testing.assert_allclose(moved, expected, atol=1e-8)  # 1e-16 of a few hundred mm, with room


def test_lengths_of_axes_and_a_leaning_up_do_not_matter() -> None:
    expected = overjet_overbite(UPPER, LOWER, forward=FORWARD, up=UP)
    leaning = overjet_overbite(UPPER, LOWER, forward=7.0 * FORWARD, up=0.3 * UP + 0.1 * FORWARD)
    np.testing.assert_allclose(leaning, expected, atol=FLOAT_MM)


def test_sideways_shift_does_not_matter() -> None:
    expected = overjet_overbite(UPPER, LOWER, forward=FORWARD, up=UP)
    shifted = overjet_overbite(UPPER, LOWER + np.array([2.0, 0.0, 0.0]), forward=FORWARD, up=UP)
    np.testing.assert_allclose(shifted, expected, atol=FLOAT_MM)


def test_axes_are_orthonormal_and_right_handed() -> None:
    axes = bite_axes(np.array([0.1, 0.2, -2.0]), np.array([0.3, -1.0, 0.4]))
    np.testing.assert_allclose(axes @ axes.T, np.eye(3), atol=1e-15)
    assert np.linalg.det(axes) == pytest.approx(1.0)
    assert axes[0] @ [0.1, 0.2, -2.0] == pytest.approx(np.sqrt(0.01 + 0.04 + 4.0))


@pytest.mark.parametrize(
    ("forward", "up"),
    [
        (FORWARD, FORWARD),
        (FORWARD, -3 * FORWARD),
        (0 * FORWARD, UP),
        (FORWARD, 0 * UP),
        (FORWARD * np.nan, UP),
        (FORWARD, np.array([0.0, np.inf, 0.0])),
    ],
)
def test_axes_that_fix_nothing_are_refused(forward, up) -> None:
    with pytest.raises(DegenerateGeometryError, match="bite axes"):
        overjet_overbite(UPPER, LOWER, forward=forward, up=up)


@pytest.mark.parametrize("points", [np.zeros((0, 3)), np.zeros((2, 2)), np.zeros(3), np.full((2, 3), np.nan)])
def test_rows_that_are_no_rows_are_refused(points) -> None:
    with pytest.raises(DegenerateGeometryError, match="upper"):
        overjet_overbite(points, LOWER, forward=FORWARD, up=UP)
    with pytest.raises(DegenerateGeometryError, match="lower"):
        overjet_overbite(UPPER, points, forward=FORWARD, up=UP)


def spread(axis_sd_rad: float, scale: float = 1.0) -> tuple[np.ndarray, np.ndarray, BiteMeasure]:
    rng = np.random.default_rng(3)
    roots = [scale * rng.normal(0, 0.2, (n, 3, 3)) for n in (3, 2)]
    upper, lower = (root @ root.transpose(0, 2, 1) for root in roots)
    measure = overjet_overbite_with_sd(
        UPPER,
        LOWER,
        forward=FORWARD,
        up=UP,
        upper_covariance_mm2=upper,
        lower_covariance_mm2=lower,
        axis_sd_rad=axis_sd_rad,
    )
    return upper, lower, measure


@pytest.mark.slow
@pytest.mark.parametrize("axis_sd_rad", [0.0, 0.05])
def test_sd_by_drawing(axis_sd_rad) -> None:
    upper, lower, measure = spread(axis_sd_rad)
    rng = np.random.default_rng(4)
    drawn = np.empty((10_000, 2))
    upper_root, lower_root = np.linalg.cholesky(upper), np.linalg.cholesky(lower)
    for i in range(len(drawn)):
        turn = Rotation.from_rotvec(rng.normal(0, axis_sd_rad, 3)).as_matrix()
        drawn[i] = overjet_overbite(
            UPPER + np.einsum("nij,nj->ni", upper_root, rng.normal(size=(3, 3))),
            LOWER + np.einsum("nij,nj->ni", lower_root, rng.normal(size=(2, 3))),
            forward=turn @ FORWARD,
            up=turn @ UP,
        )
    # a sample sd of 10 000 draws is good to 0.7 %; four of them, and 0.05 rad squared for the linear turn
    np.testing.assert_allclose(drawn.std(0), (measure.overjet_sd_mm, measure.overbite_sd_mm), rtol=0.03)
    assert np.corrcoef(drawn.T)[0, 1] == pytest.approx(measure.correlation, abs=0.04)
    assert (measure.overjet_mm, measure.overbite_mm) == pytest.approx(
        overjet_overbite(UPPER, LOWER, forward=FORWARD, up=UP), abs=FLOAT_MM
    )


def test_doubling_every_sigma_doubles_the_sd() -> None:
    once, twice = spread(0.02)[2], spread(0.04, scale=2.0)[2]
    assert twice.overjet_sd_mm == pytest.approx(2 * once.overjet_sd_mm, rel=1e-12)
    assert twice.overbite_sd_mm == pytest.approx(2 * once.overbite_sd_mm, rel=1e-12)
    assert twice.correlation == pytest.approx(once.correlation, rel=1e-9)


def test_a_pitch_error_costs_the_other_measure() -> None:
    # one radian of pitch turns overbite into overjet and back
    exact = np.zeros((1, 3, 3))
    measure = overjet_overbite_with_sd(
        np.array([[0.0, 0.0, 3.0]]),
        np.array([[0.0, 4.0, 0.0]]),
        forward=FORWARD,
        up=UP,
        upper_covariance_mm2=exact,
        lower_covariance_mm2=exact,
        axis_sd_rad=0.01,
    )
    assert (measure.overjet_mm, measure.overbite_mm) == (3.0, 4.0)
    assert measure.overjet_sd_mm == pytest.approx(0.04)
    assert measure.overbite_sd_mm == pytest.approx(0.03)


def test_covariances_must_fit_their_points() -> None:
    with pytest.raises(DegenerateGeometryError, match="covariance"):
        overjet_overbite_with_sd(
            UPPER,
            LOWER,
            forward=FORWARD,
            up=UP,
            upper_covariance_mm2=np.zeros((2, 3, 3)),
            lower_covariance_mm2=np.zeros((2, 3, 3)),
        )


@pytest.mark.parametrize(
    ("overjet", "overbite", "names"),
    [
        (-0.6, 2.0, ("reverse", "usual")),
        (-0.4, 0.4, ("edge-to-edge", "edge-to-edge")),
        (0.5, -0.5, ("edge-to-edge", "edge-to-edge")),
        (-0.4, 2.0, ("reverse", "usual")),
        (0.0, 0.9, ("small", "shallow")),
        (0.51, 0.0, ("small", "shallow")),
        (1.0, 1.0, ("usual", "usual")),
        (4.0, 4.0, ("usual", "usual")),
        (4.1, 4.1, ("increased", "increased")),
        (6.0, 6.0, ("large overjet", "deep")),
        (2.0, -0.1, ("usual", "open")),
    ],
)
def test_labels(overjet, overbite, names) -> None:
    assert tuple(str(label) for label in bite_labels(overjet, overbite)) == names


def test_a_short_lower_crown_makes_the_same_overbite_deep() -> None:
    assert bite_labels(2.0, 3.9)[1] is OverbiteLabel.USUAL
    assert bite_labels(2.0, 3.9, lower_crown_mm=9.0)[1] is OverbiteLabel.USUAL
    assert bite_labels(2.0, 3.9, lower_crown_mm=7.0)[1] is OverbiteLabel.DEEP


def test_the_band_is_a_setting() -> None:
    narrow = BiteBand(usual_overjet_mm=(2.0, 3.0), source="house rule")
    assert bite_labels(3.5, 2.0)[0] is OverjetLabel.USUAL
    assert bite_labels(3.5, 2.0, band=narrow)[0] is OverjetLabel.INCREASED


@pytest.mark.parametrize(
    "settings",
    [{"usual_overjet_mm": (4.0, 1.0)}, {"deep_overbite_mm": 3.0}, {"edge_mm": -0.1}, {"deep_share": 0.0}],
)
def test_a_band_out_of_order_is_refused(settings) -> None:
    with pytest.raises(ValueError, match="needed"):
        BiteBand(**settings)


def test_labels_refuse_what_is_no_number() -> None:
    with pytest.raises(ValueError, match="finite"):
        bite_labels(float("nan"), 1.0)
    with pytest.raises(ValueError, match="crown"):
        covered_share(1.0, 0.0)


def test_covered_share_stays_a_share() -> None:
    assert covered_share(-2.0, 9.0) == 0.0
    assert covered_share(12.0, 9.0) == 1.0
