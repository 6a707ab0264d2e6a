"""Projection through a lens, its derivative and its inverse, against OpenCV and central differences."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from bite.errors import DegenerateGeometryError
from bite.geometry.camera import Camera
from bite.geometry.rigid import Rigid, frozen

MATRIX = frozen([[1400.0, 0.0, 639.5], [0.0, 1410.0, 479.5], [0.0, 0.0, 1.0]])
LENSES = {
    "none": [0.0, 0.0, 0.0, 0.0],
    "4": [-0.21, 0.09, 0.0011, -0.0007],
    "5": [-0.21, 0.09, 0.0011, -0.0007, 0.02],
    "8": [0.4, -0.3, 0.0011, -0.0007, 0.05, 0.5, -0.2, 0.03],
    "12": [0.4, -0.3, 0.0011, -0.0007, 0.05, 0.5, -0.2, 0.03, 0.001, -0.002, 0.0015, 0.0005],
    "14": [0.4, -0.3, 0.0011, -0.0007, 0.05, 0.5, -0.2, 0.03, 0.001, -0.002, 0.0015, 0.0005, 0.05, -0.03],
    "tilt": [0.0] * 12 + [-0.08, 0.11],
}
EXACT_PX = 1e-9


def pose() -> Rigid:
    turn = Rotation.from_rotvec([0.1, -0.25, 0.05]).as_matrix()
    return Rigid(frozen(turn), frozen([12.0, -7.0, 20.0]))


def camera(lens: str, placed: bool = True) -> Camera:
    return Camera(1280, 960, MATRIX, frozen(LENSES[lens]), pose() if placed else Rigid())


def points(count: int = 200) -> np.ndarray:
    rng = np.random.default_rng(7)
    local = rng.uniform([-110, -80, 250], [110, 80, 400], (count, 3))
    return pose().inverse().apply(local)


@pytest.mark.parametrize("lens", LENSES)
def test_projects_like_opencv(lens) -> None:
    found, placed = camera(lens).project(points()), pose()
    turn, _ = cv2.Rodrigues(placed.rotation)
    expected, _ = cv2.projectPoints(
        points(), turn, placed.translation_mm, np.array(MATRIX), np.array(LENSES[lens])
    )
    np.testing.assert_allclose(found, expected.reshape(-1, 2), rtol=0, atol=1e-8)  # float noise of 1e3 px


@pytest.mark.parametrize("lens", LENSES)
def test_derivative_against_central_differences(lens) -> None:
    where, cam = points(40), camera(lens)
    pixels, derivative = cam.project_with_derivative(where)
    np.testing.assert_allclose(pixels, cam.project(where), rtol=0, atol=EXACT_PX)
    step = 1e-3
    for axis in range(3):
        move = step * np.eye(3)[axis]
        numeric = (cam.project(where + move) - cam.project(where - move)) / (2 * step)
        error = np.abs(derivative[:, :, axis] - numeric).max() / np.abs(derivative).max()
        assert error < 1e-6


@pytest.mark.parametrize("lens", LENSES)
def test_undistorts_back(lens) -> None:
    rng = np.random.default_rng(3)
    slopes = rng.uniform(-0.4, 0.4, (300, 2))
    cam = camera(lens)
    back = cam.slopes_from_pixels(cam.pixels_from_slopes(slopes))
    np.testing.assert_allclose(back, slopes, rtol=0, atol=1e-9)


@pytest.mark.parametrize("lens", LENSES)
def test_point_at_depth_is_the_point(lens) -> None:
    where, cam = points(50), camera(lens)
    depth = cam.camera_from_reference.apply(where)[:, 2]
    np.testing.assert_allclose(cam.point_at(cam.project(where), depth), where, rtol=0, atol=1e-7)


def test_skew_counts() -> None:
    matrix = frozen([[1400.0, 3.0, 639.5], [0.0, 1410.0, 479.5], [0.0, 0.0, 1.0]])
    cam = Camera(1280, 960, matrix, frozen(LENSES["5"]))
    local = np.array([[10.0, 20.0, 300.0]])
    moved = cam.project(local) - camera("5", placed=False).project(local)
    assert moved[0, 0] > 0.1
    np.testing.assert_allclose(cam.slopes_from_pixels(cam.project(local)), local[:, :2] / 300.0, atol=1e-12)


def test_points_behind_give_nan() -> None:
    cam = camera("5", placed=False)
    pixels = cam.project(np.array([[0.0, 0, 300], [0, 0, -300], [1, 1, 0]]))
    assert np.isfinite(pixels[0]).all()
    assert np.isnan(pixels[1:]).all()
    pixels, derivative = cam.project_with_derivative(np.array([[0.0, 0, -300]]))
    assert np.isnan(pixels).all()
    assert np.isnan(derivative).any()


def test_fold_of_a_barrel_lens() -> None:
    # r (1 + k1 r^2) stops growing where 1 + 3 k1 r^2 = 0
    cam = Camera(1280, 960, MATRIX, frozen([-0.3, 0.0, 0.0, 0.0]))
    assert cam.fold_slope() == pytest.approx(np.sqrt(1 / 0.9), rel=1e-9)
    edge = np.array([cam.fold_slope() * 2 / 3 * 1400.0 + 639.5, 479.5])  # image of the fold itself
    cam.slopes_from_pixels(edge[None] - [1.0, 0.0])
    with pytest.raises(DegenerateGeometryError, match="no ray reaches pixel"):
        cam.slopes_from_pixels(edge[None] + [1.0, 0.0])


def test_fold_of_a_rational_lens_is_where_it_stops_growing() -> None:
    terms = [0.1, -0.4, 0.0, 0.0, 0.01, 0.2, 0.1, 0.02]
    cam = Camera(1280, 960, MATRIX, frozen(terms))
    r = np.linspace(0, 3, 300_001)
    bent = cam.pixels_from_slopes(np.column_stack([r, np.zeros_like(r)]))[:, 0]
    first = r[np.flatnonzero(np.diff(bent) < 0)[0]]
    assert cam.fold_slope() == pytest.approx(first, abs=2e-5)


@pytest.mark.parametrize("terms", [[0.0] * 5, [0.2, 0.1, 0.0, 0.0, 0.05]])
def test_a_lens_that_never_folds(terms) -> None:
    assert Camera(1280, 960, MATRIX, frozen(terms)).fold_slope() == float("inf")


def test_a_solution_beyond_the_fold_is_never_given() -> None:
    cam = Camera(1280, 960, MATRIX, frozen([-0.3, 0.0, 0.0, 0.0]))
    rows, columns = np.mgrid[0:960:60, 0:1280:60]
    slopes = cam.slopes_from_pixels(np.column_stack([columns.ravel(), rows.ravel()]).astype(float))
    assert np.hypot(*slopes.T).max() < cam.fold_slope()


@pytest.mark.parametrize("factor", [0.5, 0.25, 2.0])
def test_scaling_keeps_pixel_centres(factor) -> None:
    # a pixel edge at -0.5 stays at -0.5
    cam = camera("8")
    small = cam.scaled(factor)
    assert (small.width_px, small.height_px) == (1280 * factor, 960 * factor)
    expected = (cam.project(points(20)) + 0.5) * factor - 0.5
    np.testing.assert_allclose(small.project(points(20)), expected, atol=EXACT_PX)


def test_centre_and_focal() -> None:
    cam = camera("none")
    np.testing.assert_allclose(cam.camera_from_reference.apply(cam.centre_mm[None])[0], 0, atol=1e-12)
    assert cam.focal_px == 1405.0


def test_moving_camera_and_scene_together_changes_nothing() -> None:
    reference_from_new = Rigid(
        frozen(Rotation.from_rotvec([1.0, 0.3, -2.0]).as_matrix()), frozen([5.0, 90.0, -30.0])
    )
    cam = camera("14")
    moved = Camera(1280, 960, MATRIX, cam.distortion, cam.camera_from_reference @ reference_from_new)
    there = reference_from_new.inverse().apply(points())
    np.testing.assert_allclose(moved.project(there), cam.project(points()), atol=1e-8)


def test_cameras_are_equal_where_all_their_numbers_are() -> None:
    def one(focal_px: float = 900.0, shift_mm: float = 0.0) -> Camera:
        matrix = frozen([[focal_px, 0, 320], [0, 900.0, 240], [0, 0, 1]])
        return Camera(640, 480, matrix, frozen(np.zeros(5)), Rigid(translation_mm=frozen([shift_mm, 0, 0])))

    assert one() == one() and one() != one(901.0) and one() != one(shift_mm=1.0)
    assert replace(one(), distortion=frozen(np.zeros(4))) != one()
    assert one().camera_from_reference == Rigid() != one(shift_mm=1.0).camera_from_reference
