"""The worlds' own camera against OpenCV's formulas."""

from __future__ import annotations

import cv2
import numpy as np

from tests.worlds.camera import WorldCamera
from tests.worlds.skin_error import rotation

CAMERA = WorldCamera(
    640,
    480,
    600.0,
    (321.0, 238.0),
    (0.08, -0.12, 0.002, -0.003),
    rotation(np.array([0.05, -0.2, 0.03])),
    np.array([12.0, -3.0, 5.0]),
)
POINTS = np.random.default_rng(1).uniform([-80, -60, 250], [80, 60, 450], (200, 3))


def test_projects_as_opencv_does() -> None:
    matrix = np.array([[600.0, 0, 321.0], [0, 600.0, 238.0], [0, 0, 1]])
    turn = cv2.Rodrigues(CAMERA.rotation)[0]
    theirs = cv2.projectPoints(POINTS, turn, CAMERA.translation_mm, matrix, np.array(CAMERA.distortion))[0]
    np.testing.assert_allclose(CAMERA.project(POINTS), theirs[:, 0], atol=1e-8)


def test_rays_go_back_through_their_points() -> None:
    own = CAMERA.own(POINTS)
    rays = CAMERA.rays(CAMERA.project(POINTS))
    # the iteration stops at 1e-10 of the plane z = 1: 5e-8 mm at 450 mm
    np.testing.assert_allclose(rays * own[:, 2:], own, atol=1e-6)
