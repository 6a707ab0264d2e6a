"""Rays over a pixel's area against the integral over it."""

from __future__ import annotations

import numpy as np
import pytest

from tests.worlds.camera import WorldCamera
from tests.worlds.rays import Window, cast, first_hit_mm
from tests.worlds.sensor import area_means

CAMERA = WorldCamera(64, 48, 60.0, (31.5, 23.5))
WINDOW = Window(20, 12, 24, 24)


def square(at_z: float, x0: float, x1: float, slope: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
    corners = [(x0, -500.0), (x1, -500.0), (x1, 500.0), (x0, 500.0)]
    points = np.array([[x, y, at_z + slope * y] for x, y in corners])
    return points, np.array([[0, 1, 2], [0, 2, 3]])


def test_the_mean_over_a_slanted_plane_is_its_integral() -> None:
    slope, z0 = 0.8, 300.0
    points, faces = square(z0, -500.0, 500.0, slope)
    rays = cast(CAMERA, WINDOW, points, faces, per_side=4, rng=np.random.default_rng(1))
    found = area_means(rays.depth_mm)
    # z = z0 + slope * y and y = z * (v - cy) / f give z = z0 / (1 - slope (v - cy) / f); its mean over a
    # pixel's height is the difference of -z0 f / slope * log(1 - slope (v - cy) / f)
    edge = (np.arange(WINDOW.top, WINDOW.top + WINDOW.height + 1) - 0.5 - 23.5) / 60.0
    whole = np.diff(-z0 * 60.0 / slope * np.log(1.0 - slope * edge))
    # one ray in each of four rows of cells: the depth over a cell varies by z0 slope / (f n), uniform
    sd = (z0 * slope / 60.0 / 4.0) / np.sqrt(12.0) * 1.6 / 4.0
    assert np.abs(found - whole[:, None]).max() < 5.0 * sd
    assert np.abs((found - whole[:, None]).mean()) < 4.0 * sd / np.sqrt(found.size)
    # the plane's normal is (0, slope, -1) up to length
    v = (np.arange(WINDOW.top, WINDOW.top + WINDOW.height) - 23.5) / 60.0
    u = (np.arange(WINDOW.left, WINDOW.left + WINDOW.width) - 31.5) / 60.0
    length = np.sqrt(1.0 + v[:, None] ** 2 + u[None, :] ** 2)
    cosine = np.abs(slope * v[:, None] - 1.0) / length / np.hypot(slope, 1.0)
    np.testing.assert_allclose(rays.slant.mean(axis=-1), cosine, atol=0.01)


@pytest.mark.parametrize("share", [0.25, 0.4, 0.8])
def test_the_mean_over_a_step_is_shared_by_area(share: float) -> None:
    column = 32
    # the near square ends where it covers this share of one column of pixels
    x = 290.0 * (column - 0.5 + share - 31.5) / 60.0
    near, faces = square(290.0, -400.0, x)
    far, _ = square(310.0, -500.0, 500.0)
    rays = cast(
        CAMERA,
        WINDOW,
        np.concatenate([near, far]),
        np.concatenate([faces, faces + 4]),
        per_side=4,
        rng=np.random.default_rng(2),
    )
    found = area_means(rays.depth_mm)
    inside = column - WINDOW.left
    np.testing.assert_allclose(found[:, :inside], 290.0, atol=1e-3)
    np.testing.assert_allclose(found[:, inside + 1 :], 310.0, atol=1e-3)
    # each row of four rays has one cell that the edge cuts, in halves at worst: sd of a mean of 4 x 24
    sd = 20.0 * 0.5 / 4.0 / np.sqrt(4 * WINDOW.height)
    assert abs(found[:, inside].mean() - (share * 290.0 + (1 - share) * 310.0)) < 4.0 * sd


def test_values_of_vertices_are_interpolated() -> None:
    points, faces = square(300.0, -500.0, 500.0, 0.3)
    rays = cast(CAMERA, WINDOW, points, faces, per_side=2, rng=np.random.default_rng(3))
    place = rays.at(points, faces)
    np.testing.assert_allclose(place[..., 2], rays.depth_mm, atol=2e-3)
    np.testing.assert_allclose(place[..., 2], 300.0 + 0.3 * place[..., 1], atol=2e-3)


def test_what_is_missed_says_so() -> None:
    points, faces = square(300.0, -500.0, -400.0)
    rays = cast(CAMERA, WINDOW, points, faces, per_side=2, rng=np.random.default_rng(4))
    assert np.isnan(rays.depth_mm).all()
    assert (rays.face == -1).all()
    far = first_hit_mm(np.array([[-450.0, 0, 0], [0, 0, 0]]), np.array([0.0, 0, 1.0]), points, faces)
    assert far[0] == pytest.approx(300.0, abs=1e-3)
    assert np.isinf(far[1])
