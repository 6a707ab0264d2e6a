"""Rectified pairs: any relative pose, real lenses, and what cannot be rectified."""

from __future__ import annotations

import numpy as np
import pytest

from bite.errors import DegenerateGeometryError
from bite.geometry.camera import Camera
from bite.geometry.rectify import every, rectified_axes, rectify_around, source_pixels
from bite.geometry.rigid import Rigid, frozen, rotation_from_vector

MOUTH = np.array([4.0, 22.0, 300.0])
LENS = np.array([0.05, -0.08, 0.0006, -0.0004, 0.02])


def camera(centre_mm, *, turn=(0.0, 0.0, 0.0), focal=1500.0, lens=LENS) -> Camera:
    rotation = rotation_from_vector(np.array(turn))
    placed = Rigid(frozen(rotation), frozen(-rotation @ np.array(centre_mm, float)))
    matrix = frozen([[focal, 0, 611.0], [0, 1.002 * focal, 493.0], [0, 0, 1]])
    return Camera(1200, 1000, matrix, frozen(lens), placed)


FIRST = camera((0, 0, 0))
SECONDS = {
    "right": camera((60, 0, 0), turn=(0.01, 0.2, -0.02)),
    "left": camera((-60, 5, 3), turn=(0.0, -0.2, 0.01)),
    "below": camera((0, 60, 0), turn=(-0.2, 0.0, 0.0)),
    "askew": camera((40, -35, 10), turn=(0.1, 0.12, 0.3), focal=1300.0),
}


def pair_of(second: Camera, **more):
    asked = {"half_mm": 50.0, "reach_mm": 40.0, "finest_px_per_mm": 7.0, "most_range_px": 256.0}
    return rectify_around(FIRST, second, MOUTH, **(asked | more))


def cloud(count=200):
    rng = np.random.default_rng(11)
    return MOUTH + rng.uniform((-45, -45, -35), (45, 45, 35), (count, 3))


@pytest.mark.parametrize("where", SECONDS)
def test_rows_agree_and_disparities_are_depths(where):
    pair = pair_of(SECONDS[where])
    points = cloud()
    left, right = pair.first.project(points), pair.second.project(points)
    # float error of a projection
    assert np.abs(left[:, 1] - right[:, 1]).max() < 1e-9
    disparity = left[:, 0] - right[:, 0]
    depth = pair.first.camera_from_reference.apply(points)[:, 2]
    assert np.allclose(pair.depth_mm(disparity), depth, atol=1e-9)
    assert np.allclose(pair.disparity_px(depth), disparity, atol=1e-9)
    near = np.abs(pair.first.camera_from_reference.turn(points - MOUTH)[:, 2]) < 40.0
    assert (disparity[near] > 0).all() and (disparity[near] < pair.most_px).all() and near.mean() > 0.8


@pytest.mark.parametrize("where", SECONDS)
def test_pictures_are_read_where_the_lens_put_them(where):
    pair = pair_of(SECONDS[where])
    for rectified, source in ((pair.first, FIRST), (pair.second, SECONDS[where])):
        at = source_pixels(rectified, source)
        rows, columns = np.mgrid[5:430:61, 5:560:61]
        slopes = rectified.slopes_from_pixels(np.column_stack([columns.ravel(), rows.ravel()]).astype(float))
        points = rectified.camera_from_reference.inverse().apply(
            np.column_stack([slopes, np.ones(len(slopes))]) * 310.0
        )
        assert np.abs(at[rows.ravel(), columns.ravel()] - source.project(points)).max() < 1e-6


def test_the_depth_camera_is_the_first_view_turned():
    pair = pair_of(SECONDS["askew"])
    assert np.allclose(pair.first.centre_mm, FIRST.centre_mm, atol=1e-9)
    assert not pair.first.distortion.any()


def test_sd_follows_the_law():
    pair = pair_of(SECONDS["right"])
    near, far = pair.depth_sd_mm(np.array([300.0, 600.0]), np.array([0.1, 0.1]))
    assert near == pytest.approx(300.0**2 / (pair.focal_px * pair.baseline_mm) * 0.1)
    assert far / near == pytest.approx(4.0)


def test_scale_is_bounded_by_detail_and_by_range():
    assert pair_of(SECONDS["right"], finest_px_per_mm=3.0).focal_px == pytest.approx(900.0, rel=0.05)
    narrow = pair_of(SECONDS["right"], most_range_px=40.0)
    assert narrow.most_px == pytest.approx(40.0) and narrow.focal_px < 1000.0
    assert pair_of(SECONDS["right"]).focal_px <= 1503.0  # never larger than the pictures


def test_every_other_pixel_is_a_camera_of_its_own():
    pair = pair_of(SECONDS["right"])
    thinned = every(pair.first, 3, left=20, top=4, columns=100, rows=90)
    points = cloud(20)
    assert np.allclose(thinned.project(points) * 3 + (20, 4), pair.first.project(points), atol=1e-9)


def test_what_cannot_be_rectified():
    with pytest.raises(DegenerateGeometryError, match="stand 0 mm apart"):
        rectified_axes(FIRST, camera((0, 0, 0), turn=(0, 0.1, 0)), MOUTH)
    with pytest.raises(DegenerateGeometryError, match="stands behind the other"):
        rectified_axes(FIRST, camera((2, 5, -80)), MOUTH)
    with pytest.raises(DegenerateGeometryError, match="in front of the pair"):
        rectify_around(
            FIRST, SECONDS["right"], np.array([0, 0, 70.0]),
            half_mm=50.0, reach_mm=40.0, finest_px_per_mm=7.0, most_range_px=256.0,
        )  # fmt: skip


def test_rays_behind_or_beyond_the_fold_have_no_pixel():
    pair = pair_of(SECONDS["right"])
    folded = Camera(1200, 1000, FIRST.matrix, frozen([-6.0, 0, 0, 0]), FIRST.camera_from_reference)
    at = source_pixels(pair.first, folded)
    assert np.isnan(at).any() and np.isfinite(at).any()
