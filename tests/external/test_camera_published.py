"""A camera and a projected point that others published."""

from __future__ import annotations

import numpy as np
import pytest

from bite.geometry.camera import Camera
from bite.geometry.rigid import frozen


@pytest.fixture
def zhang(reference):
    return reference("zhang_2000")


@pytest.fixture
def camera(zhang):
    (fx, fy), (cx, cy), skew = zhang.value("focal"), zhang.value("centre"), zhang.value("skew")
    k1, k2 = zhang.value("radial")
    return Camera(640, 480, frozen([[fx, skew, cx], [0, fy, cy], [0, 0, 1]]), frozen([k1, k2, 0, 0]))


def test_published_pixel(zhang, camera) -> None:
    pixel = camera.project(zhang.array("point_in_camera")[None])[0]
    np.testing.assert_allclose(pixel, zhang.array("pixel"), rtol=0, atol=1e-6)


def test_the_world_point_taken_for_a_camera_point_lands_elsewhere(zhang, camera) -> None:
    # the published view adds 1 to z; without it the point is off by a tenth of a pixel
    pixel = camera.project(np.array([[40.0, 70.0, 800.0]]))[0]
    np.testing.assert_allclose(pixel, zhang.array("pixel_without_shift"), rtol=0, atol=1e-6)
    assert np.linalg.norm(pixel - zhang.array("pixel")) > 0.1


def test_undistorts_back(zhang, camera) -> None:
    x, y, z = zhang.value("point_in_camera")
    slopes = camera.slopes_from_pixels(camera.project(np.array([[x, y, z]])))[0]
    np.testing.assert_allclose(slopes, (x / z, y / z), rtol=0, atol=1e-9)
    assert slopes @ slopes == pytest.approx(zhang.value("radius_squared"), abs=1e-12)
    k1, k2 = zhang.value("radial")
    q = slopes @ slopes
    assert 1 + k1 * q + k2 * q * q == pytest.approx(zhang.value("radial_factor"), abs=1e-12)
