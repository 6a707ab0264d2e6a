"""Triangulation from two and more views, with lenses; its covariance."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from bite.errors import DegenerateGeometryError
from bite.geometry.camera import Camera
from bite.geometry.rigid import Rigid, frozen
from bite.geometry.triangulate import (
    midpoint,
    triangulate,
)

POINT = np.array([4.0, -6.0, 310.0])
LENS = frozen([-0.2, 0.1, 0.001, -0.002, 0.03])


def ring(count: int, lens=LENS) -> list[Camera]:
    """Cameras that all look at about the same place, the first in the reference pose."""
    cameras = []
    for i in range(count):
        turn = Rotation.from_euler("yx", [-8.0 * i, 3.0 * (i % 2)], degrees=True).as_matrix()
        centre = np.array([45.0 * i, -12.0 * (i % 2), 5.0 * i])
        pose = Rigid(frozen(turn), frozen(-turn @ centre))
        matrix = frozen([[1400.0 - 10 * i, 0, 640], [0, 1405.0, 480], [0, 0, 1]])
        cameras.append(Camera(1280, 960, matrix, lens, pose))
    return cameras


def clicks(cameras: list[Camera], point=POINT) -> np.ndarray:
    return np.vstack([camera.project(point[None]) for camera in cameras])


@pytest.mark.parametrize("count", [2, 3, 5])
def test_exact_clicks_give_the_point(count) -> None:
    cameras = ring(count)
    found = triangulate(cameras, clicks(cameras), np.full(count, 0.5))
    np.testing.assert_allclose(found.point_mm, POINT, atol=1e-9)
    assert found.chi2 < 1e-18
    assert found.dof == 2 * count - 3
    np.testing.assert_allclose(found.residuals_px, 0, atol=1e-9)


@pytest.mark.parametrize("count", [2, 4])
def test_noisy_clicks_give_the_least_squares_point(count) -> None:
    rng = np.random.default_rng(count)
    cameras, sigma = ring(count), rng.uniform(0.3, 2.0, count)
    pixels = clicks(cameras) + sigma[:, None] * rng.normal(size=(count, 2))
    found = triangulate(cameras, pixels, sigma)

    def residuals(point):
        return ((pixels - clicks(cameras, point)) / sigma[:, None]).ravel()

    oracle = least_squares(residuals, POINT, xtol=1e-15, ftol=1e-15, gtol=1e-15, x_scale=[1, 1, 10])
    np.testing.assert_allclose(found.point_mm, oracle.x, atol=2e-5)  # the oracle's derivative is numeric
    assert found.chi2 <= 2 * oracle.cost * (1 + 1e-9)
    covariance = np.linalg.inv(oracle.jac.T @ oracle.jac)
    np.testing.assert_allclose(found.covariance_mm2, covariance, rtol=1e-4, atol=1e-6 * covariance.max())


@pytest.mark.slow
def test_covariance_by_drawing() -> None:
    rng = np.random.default_rng(12)
    cameras, sigma, truth = ring(3), np.array([0.5, 0.8, 0.5]), clicks(ring(3))
    exact = triangulate(cameras, truth, sigma)
    drawn = [
        triangulate(cameras, truth + sigma[:, None] * rng.normal(size=(3, 2)), sigma) for _ in range(1500)
    ]
    offsets = np.array([found.point_mm for found in drawn]) - POINT
    # white by the reported covariance: 1500 draws leave 3.7 % on a variance, four of them
    white = np.linalg.solve(np.linalg.cholesky(exact.covariance_mm2), offsets.T)
    np.testing.assert_allclose(np.cov(white), np.eye(3), atol=0.15)
    np.testing.assert_allclose(white.mean(1), 0, atol=4 / np.sqrt(1500))
    chi2 = np.array([found.chi2 for found in drawn])
    assert chi2.mean() == pytest.approx(exact.dof, abs=4 * np.sqrt(2 * exact.dof / 1500))


def test_doubling_sigma_doubles_the_sd() -> None:
    cameras = ring(2)
    once = triangulate(cameras, clicks(cameras), np.full(2, 0.5))
    twice = triangulate(cameras, clicks(cameras), np.full(2, 1.0))
    np.testing.assert_allclose(twice.covariance_mm2, 4 * once.covariance_mm2, rtol=1e-9)


def test_order_of_views_does_not_matter() -> None:
    rng = np.random.default_rng(5)
    cameras, sigma = ring(3), np.array([0.5, 1.0, 0.7])
    pixels = clicks(cameras) + rng.normal(0, 0.5, (3, 2))
    there = triangulate(cameras, pixels, sigma)
    back = triangulate(cameras[::-1], pixels[::-1], sigma[::-1])
    np.testing.assert_allclose(back.point_mm, there.point_mm, atol=1e-8)


def test_two_different_points_show_in_chi2() -> None:
    cameras = ring(2)
    pixels = clicks(cameras)
    pixels[1, 1] += 20.0  # off the epipolar line: no point fits
    assert triangulate(cameras, pixels, np.full(2, 0.5)).chi2 > 100.0


def test_parallel_rays_are_refused() -> None:
    matrix = frozen([[1400, 0, 640], [0, 1400, 480], [0, 0, 1]])
    pair = [
        Camera(1280, 960, matrix, frozen(np.zeros(4)), Rigid(frozen(np.eye(3)), frozen([x, 0, 0])))
        for x in (0.0, -60.0)
    ]
    with pytest.raises(DegenerateGeometryError, match="cross"):
        triangulate(pair, np.full((2, 2), 500.0), np.ones(2))


def test_rays_that_meet_behind_are_refused() -> None:
    cameras = ring(2, frozen(np.zeros(4)))
    pixels = clicks(cameras)
    with pytest.raises(DegenerateGeometryError, match="behind"):
        triangulate(
            cameras,
            np.array([[pixels[0, 0] - 900, pixels[0, 1]], [pixels[1, 0] + 900, pixels[1, 1]]]),
            np.ones(2),
        )


@pytest.mark.parametrize("sigma", [[0.5, 0.0], [0.5, -1.0], [0.5, np.nan]])
def test_sigma_must_be_positive(sigma) -> None:
    cameras = ring(2)
    with pytest.raises(DegenerateGeometryError, match="sigma"):
        triangulate(cameras, clicks(cameras), np.array(sigma))


def test_one_view_is_refused() -> None:
    with pytest.raises(DegenerateGeometryError, match="two rays"):
        triangulate(ring(1), clicks(ring(1)), np.ones(1))
    with pytest.raises(DegenerateGeometryError, match="one pixel and one sigma"):
        triangulate(ring(2), clicks(ring(3)), np.ones(2))


def test_midpoint_of_many_rays_against_least_squares() -> None:
    rng = np.random.default_rng(2)
    centres, rays = rng.normal(0, 100, (6, 3)), rng.normal(0, 1, (6, 3))
    point, rms = midpoint(centres, rays)

    def gaps(x):
        unit = rays / np.linalg.norm(rays, axis=1, keepdims=True)
        return np.cross(x - centres, unit).ravel()

    oracle = least_squares(gaps, np.zeros(3), xtol=1e-15, ftol=1e-15, gtol=1e-15)
    np.testing.assert_allclose(point, oracle.x, atol=1e-6)
    assert rms == pytest.approx(np.sqrt(2 * oracle.cost / 6), rel=1e-9)


def test_midpoint_far_from_the_origin_keeps_its_digits() -> None:
    far = np.array([1e6, -2e6, 3e6])
    centres, aim = np.array([[0.0, 0, 0], [60, 0, 0]]), np.array([10.0, 5, 300])
    point, _ = midpoint(centres + far, aim - centres)
    np.testing.assert_allclose(point - far, aim, atol=1e-8)
