"""The law of stereo depth error: published cases, held against the triangulation of clicks."""

from __future__ import annotations

import re

import numpy as np
import pytest

from bite.evidence.blocks import ONE_VIEW
from bite.fit.linear import Linear
from bite.fit.parameters import COUNT, P, Prior
from bite.fit.solver import solve
from bite.geometry.camera import Camera
from bite.geometry.rigid import Rigid, frozen
from bite.geometry.triangulate import Triangulated, triangulate


@pytest.fixture
def law(reference):
    return reference("stereo_law")


def seen_by_two(focal_px: float, baseline_mm: float, disparity_px: float, sd_px: float) -> Triangulated:
    """Triangulate a point midway between two level cameras from its disparity and the sd of that."""
    matrix = frozen([[focal_px, 0, 960], [0, focal_px, 540], [0, 0, 1]])
    half = 0.5 * baseline_mm
    pair = [
        Camera(1920, 1080, matrix, frozen(np.zeros(5)), Rigid(frozen(np.eye(3)), frozen([x, 0.0, 0.0])))
        for x in (half, -half)
    ]
    pixels = np.array([[960.0 + 0.5 * disparity_px, 540.0], [960.0 - 0.5 * disparity_px, 540.0]])
    # each click has sigma s per axis, so the disparity has s sqrt(2)
    return triangulate(pair, pixels, np.full(2, sd_px / np.sqrt(2)))


def depth_sd_mm(found: Triangulated) -> float:
    return float(np.sqrt(found.covariance_mm2[2, 2]))


def test_published_disparities(law) -> None:
    f, baseline, disparity, depth = law.value("textbook_case")
    assert seen_by_two(f, baseline, disparity, 1.0).point_mm[2] == pytest.approx(depth, abs=1e-6)
    baseline, depth, disparity = law.value("wide_case")
    found = seen_by_two(960.0 / np.tan(np.deg2rad(35.0)), baseline, disparity, 1.0)
    assert found.point_mm[2] == pytest.approx(depth, abs=0.06)  # 0.005 px of disparity
    assert depth_sd_mm(found) == pytest.approx(law.value("wide_case_sd"), abs=0.006)


@pytest.mark.parametrize(
    ("key", "f", "baseline", "depth", "sd"),
    [
        ("near_case_250", 1400, 60, 250, 0.25),
        ("near_case_300", 1400, 60, 300, 0.25),
        ("near_case_400", 1400, 60, 400, 0.25),
        ("short_case", 800, 25, 300, 0.1),
    ],
)
def test_worked_cases(law, key, f, baseline, depth, sd) -> None:
    found = seen_by_two(f, baseline, f * baseline / depth, sd)
    assert depth_sd_mm(found) == pytest.approx(law.value(key), abs=5.1e-5)


def test_error_grows_with_the_square_of_distance() -> None:
    near, far = (seen_by_two(1400.0, 60.0, 84_000.0 / depth, 0.25) for depth in (300.0, 600.0))
    assert depth_sd_mm(far) / depth_sd_mm(near) == pytest.approx(4.0, rel=1e-6)


def test_what_is_said_of_one_view_is_what_the_law_gives(law) -> None:
    """Two crowns of 8.5 mm that are known, and crowns that are known to the population's spread."""
    told = [float(number) for number in re.findall(r"by ([\d.]+) mm", ONE_VIEW)]
    (two_crowns,) = (sd for width, sd in law.value("known_width_sd") if width == 17.0)
    assert len(told) == 2
    assert told[0] == pytest.approx(two_crowns, abs=0.05)
    assert told[1] == pytest.approx(law.value("width_spread_sd"), abs=1.0)  # said in round figures


class Readings:
    """25 readings of one depth that share an error: forward plus an unknown of known spread."""

    name = "depth"
    extra_precision = np.zeros(0)
    shares_with = ""

    def __init__(self, own_sd_mm: float) -> None:
        self.own_sd_mm = own_sd_mm

    def predict(self, parameters: np.ndarray, /) -> np.ndarray:
        return np.full(25, parameters[P.FORWARD_MM] + parameters[P.ENAMEL_BIAS_MM])

    def linear_of(self, seen: np.ndarray, /) -> Linear:
        slope = np.zeros((25, COUNT))
        slope[:, [P.FORWARD_MM, P.ENAMEL_BIAS_MM]] = 1.0 / self.own_sd_mm
        return Linear((2.0 - seen) / self.own_sd_mm, slope, np.ones(25))

    def with_noise_from(self, seen, parameters, covariance, /):
        return self

    def scatter(self, seen: np.ndarray, directions: np.ndarray, /, *, whole: bool = False) -> np.ndarray:
        linear = self.linear_of(seen)
        weighted = linear.slope * linear.robust_weight[:, None]
        return directions @ (weighted.T @ weighted) @ directions.T


def test_averaging_does_not_shrink_what_all_readings_share(law) -> None:
    """Readings of sd 0.5 whose errors correlate by rho: the solver's sd of their mean."""
    for rho, sd in law.value("averaged_sd"):
        spread = np.full(COUNT, np.inf)
        spread[P.ENAMEL_BIAS_MM] = max(0.5 * np.sqrt(rho), 1e-9)
        prior = Prior(np.zeros(COUNT), spread, np.full(COUNT, -np.inf), np.full(COUNT, np.inf))
        found = solve([Readings(0.5 * np.sqrt(1 - rho))], prior, np.zeros(COUNT))
        assert found.parameters[P.FORWARD_MM] == pytest.approx(2.0, abs=1e-9)
        assert found.sd(P.FORWARD_MM) == pytest.approx(sd, abs=5e-4)
