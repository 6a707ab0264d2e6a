"""The law of stereo depth error: published cases, and by drawing."""

from __future__ import annotations

import numpy as np
import pytest

from bite.geometry.camera import Camera
from bite.geometry.rigid import Rigid, frozen
from bite.geometry.triangulate import (
    known_width_depth_sd_mm,
    rectified_depth_mm,
    rectified_depth_sd_mm,
    triangulate,
)


@pytest.fixture
def law(reference):
    return reference("stereo_law")


def test_published_disparities(law) -> None:
    f, baseline, disparity, depth = law.value("textbook_case")
    assert rectified_depth_mm(f, baseline, disparity) == pytest.approx(depth, abs=1e-9)
    baseline, depth, disparity = law.value("wide_case")
    f = 960.0 / np.tan(np.deg2rad(35.0))
    assert rectified_depth_mm(f, baseline, disparity) == pytest.approx(
        depth, abs=0.06
    )  # 0.005 px of disparity
    assert rectified_depth_sd_mm(f, baseline, depth, 1.0) == pytest.approx(
        law.value("wide_case_sd"), abs=0.005
    )


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
    assert rectified_depth_sd_mm(f, baseline, depth, sd) == pytest.approx(law.value(key), abs=5e-5)


def test_law_by_drawing() -> None:
    # 20 000 draws: the sd of a sample sd is 1 / sqrt(2 n) = 0.5 %; 3 % is six of them
    rng = np.random.default_rng(20261125)
    spread = {}
    for depth in (300.0, 600.0):
        disparity = 1400.0 * 60.0 / depth + rng.normal(0, 0.25, 20_000)
        spread[depth] = np.std([rectified_depth_mm(1400.0, 60.0, d) for d in disparity])
    assert spread[300.0] == pytest.approx(rectified_depth_sd_mm(1400.0, 60.0, 300.0, 0.25), rel=0.03)
    assert spread[600.0] / spread[300.0] == pytest.approx(4.0, rel=0.03)


def test_triangulation_obeys_the_law() -> None:
    # each click has sigma s per axis, so the disparity has s sqrt(2); the point lies on the middle axis
    matrix = frozen([[1400, 0, 960], [0, 1400, 540], [0, 0, 1]])
    pair = [
        Camera(1920, 1080, matrix, frozen(np.zeros(5)), Rigid(frozen(np.eye(3)), frozen([x, 0.0, 0.0])))
        for x in (30.0, -30.0)
    ]
    point = np.array([0.0, 0.0, 300.0])
    found = triangulate(
        pair, np.vstack([c.project(point[None]) for c in pair]), np.full(2, 0.25 / np.sqrt(2))
    )
    expected = rectified_depth_sd_mm(1400.0, 60.0, 300.0, 0.25)
    assert np.sqrt(found.covariance_mm2[2, 2]) == pytest.approx(expected, rel=1e-6)


def test_one_view_of_a_known_width_cannot_fix_an_offset(law) -> None:
    for width, sd in law.value("known_width_sd"):
        found = known_width_depth_sd_mm(1400.0, width, 300.0, corner_sd_px=0.5)
        assert found == pytest.approx(sd, abs=0.006)
        assert found > 1.0
    spread = known_width_depth_sd_mm(1400.0, 8.7, 300.0, corner_sd_px=0.0, width_sd_mm=0.6)
    assert spread == pytest.approx(law.value("width_spread_sd"), abs=0.05)


def test_one_view_by_drawing() -> None:
    rng = np.random.default_rng(8)
    width_px = 1400.0 * 17.0 / 300.0 + rng.normal(0, 0.5, (20_000, 2)) @ [1.0, -1.0]
    found = np.std(1400.0 * 17.0 / width_px)
    assert found == pytest.approx(known_width_depth_sd_mm(1400.0, 17.0, 300.0, corner_sd_px=0.5), rel=0.03)


def test_averaging_correlated_depths(law) -> None:
    for rho, sd in law.value("averaged_sd"):
        covariance = 0.25 * ((1 - rho) * np.eye(25) + rho)
        assert np.sqrt(covariance.mean()) == pytest.approx(sd, abs=5e-4)
