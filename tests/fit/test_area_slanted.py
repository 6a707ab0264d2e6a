"""A pixel is the mean over its area, slanted edges too: against polygons cut out of it and fine rasters."""

from __future__ import annotations

import numpy as np
import pytest

from bite.fit.area_view import ENAMEL, OTHER_SHARE, AreaView, area_view
from bite.fit.head import Head
from bite.fit.parameters import COUNT
from bite.fit.seen_model import RAYS_PX, seen_model
from bite.geometry.camera import Camera
from bite.geometry.render import Grid
from bite.geometry.rigid import frozen
from bite.geometry.teeth import OTHER, SKIN, UPPER

FOCAL_PX, SIZE, MIDDLE = 300.0, 41, 20.0
NEAR_MM, FAR_MM = 292.0, 300.0
AXES = (np.array([0.0, 0, -1]), np.array([1.0, 0, 0]), np.array([0.0, -1, 0]))
SQUARE = np.array([[-0.5, -0.5], [0.5, -0.5], [0.5, 0.5], [-0.5, 0.5]])


def viewed(points: np.ndarray, part: int, behind_mm: float | None = FAR_MM) -> AreaView:
    """Look at one quadrilateral of a part before a wall of skin, or before nothing."""
    wall = np.array([[-500.0, -500], [500, -500], [500, 500], [-500, 500]])
    walls = [] if behind_mm is None else [np.column_stack([wall, np.full(4, behind_mm)])]
    corners = np.concatenate([*walls, points])
    faces = np.concatenate([np.array([[0, 1, 2], [0, 2, 3]]) + 4 * k for k in range(len(walls) + 1)])
    parts = np.array([SKIN] * 2 * len(walls) + [part] * 2, np.int8)
    moving = np.arange(len(corners)) >= 4 * len(walls)
    head = Head(corners, faces.astype(np.int32), parts, moving, *AXES, np.array([0.0, 0, 300]), {}, {})
    matrix = [[FOCAL_PX, 0, MIDDLE], [0, FOCAL_PX, MIDDLE], [0, 0, 1]]
    grid = Grid.of(Camera(SIZE, SIZE, frozen(matrix), frozen(np.zeros(5))))
    return area_view(seen_model(grid, head, np.zeros(COUNT), 1.0), head, np.zeros(COUNT))


def half_plane(angle: float, through_px: float) -> np.ndarray:
    """A large square at NEAR_MM: all beyond an edge at an angle and a distance from the middle, px."""
    normal = np.array([np.cos(angle), np.sin(angle)])
    along = np.array([-normal[1], normal[0]])
    corners = through_px * normal + np.array([-300.0 * along, -300.0 * along + 300.0 * normal,
                                              300.0 * along + 300.0 * normal, 300.0 * along])  # fmt: skip
    return np.column_stack([corners / FOCAL_PX, np.ones(4)]) * NEAR_MM


def area_beyond(centre: np.ndarray, angle: float, through_px: float) -> float:
    """Cut a pixel along an edge and take the area of what lies beyond: corners kept, crossings added."""
    corners = SQUARE + centre
    beyond = corners @ [np.cos(angle), np.sin(angle)] - through_px
    kept = []
    for k in range(4):
        here, there = beyond[k], beyond[(k + 1) % 4]
        if here >= 0:
            kept.append(corners[k])
        if (here >= 0) != (there >= 0):
            kept.append(corners[k] + here / (here - there) * (corners[(k + 1) % 4] - corners[k]))
    if len(kept) < 3:
        return 0.0
    x, y = np.array(kept).T
    return 0.5 * abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1)))


def test_a_slanted_edge_takes_its_share_of_each_pixel() -> None:
    """Shares of enamel along edges at 24 angles against the exact areas.

    Eight rays know a share to a sixteenth at best. Over all edges through a pixel (15,276 drawn) the eight
    are off by 0.22 at most and by 0.059 rms (Hammersley's by 0.24 and 0.066); eight random rays would be by
    0.128 rms.
    """
    y, x = np.mgrid[:SIZE, :SIZE] - MIDDLE
    off, mixed = [], 0
    for k in range(24):
        angle, through = 2 * np.pi * (k + 0.37) / 24, 0.31 + 0.01 * k
        view = viewed(half_plane(angle, through), UPPER)
        beyond = x * np.cos(angle) + y * np.sin(angle) - through
        expected = (beyond > 0).astype(float)
        near = np.abs(beyond) < 0.75  # half a pixel's diagonal is 0.71
        centres = np.column_stack([x[near], y[near]])
        expected[near] = [area_beyond(centre, angle, through) for centre in centres]
        edge = (expected > 0) & (expected < 1)
        off.append((view.maps[ENAMEL] - expected)[edge])
        mixed += edge.sum()
        np.testing.assert_array_equal(view.maps[ENAMEL][~edge], expected[~edge])
        # both surfaces are even: the mean depth is the share's own
        even = FAR_MM - (FAR_MM - NEAR_MM) * view.maps[ENAMEL]
        np.testing.assert_allclose(view.depth_mm, even, rtol=0, atol=1e-6)
    error = np.concatenate(off)
    assert mixed > 1000
    assert np.abs(error).max() < 0.22
    assert np.sqrt(np.mean(error**2)) < 0.066
    # and along a whole edge it adds up: no side is favoured
    assert abs(error.mean()) < 3 * 0.059 / np.sqrt(mixed)


def test_corners_of_no_orientation_are_taken_for_larger_than_they_are() -> None:
    """Quadrants whose corner falls anywhere in a pixel: mean share met, less their mean area, a quarter."""
    steps = (np.arange(400) + 0.5) / 400 - 0.5
    for right in (1.0, -1.0):
        for down in (1.0, -1.0):
            beyond = [
                (steps < way * RAYS_PX[:, axis, None]).astype(float) for axis, way in ((0, right), (1, down))
            ]
            share = np.einsum("ki,kj->ij", beyond[0], beyond[1]) / len(RAYS_PX)
            assert abs(share.mean() - 0.25) < 1e-6


@pytest.mark.parametrize("tilt", [(0.8, 0.0), (0.0, -0.8), (0.6, 0.6)])
def test_the_mean_over_a_tilted_surface_is_that_of_a_fine_raster(tilt: tuple[float, float]) -> None:
    """Rays off their pixel's middle by a tenth of a pixel would be off by 0.08 mm here."""
    wide = np.array([[-100.0, -100], [100, -100], [100, 100], [-100, 100]])
    view = viewed(np.column_stack([wide, NEAR_MM + wide @ tilt]), UPPER, behind_mm=None)
    fine = (np.arange(64) + 0.5) / 64 - 0.5
    places = (np.arange(SIZE)[:, None] - MIDDLE + fine).ravel() / FOCAL_PX
    # the plane z = 292 + a X + b Y meets the ray (x, y, 1) z at z = 292 / (1 - a x - b y)
    depth = NEAR_MM / (1.0 - tilt[0] * places[None, :] - tilt[1] * places[:, None])
    expected = depth.reshape(SIZE, 64, SIZE, 64).mean((1, 3))
    # depth bends by 0.004 mm a pixel squared: eight rays leave a part of that
    np.testing.assert_allclose(view.depth_mm, expected, rtol=0, atol=1e-3)


def test_beside_nothing_a_pixel_is_the_mean_of_what_it_sees() -> None:
    view = viewed(half_plane(0.3, 0.2), UPPER, behind_mm=None)
    seen = np.isfinite(view.depth_mm)
    np.testing.assert_array_equal(seen, view.part == UPPER)
    np.testing.assert_allclose(view.depth_mm[seen], NEAR_MM, rtol=0, atol=1e-9)
    np.testing.assert_allclose(view.maps[ENAMEL][seen], 1.0, rtol=0, atol=1e-12)
    assert not view.maps[ENAMEL][~seen].any()


def test_other_parts_take_their_share_and_none_of_enamel() -> None:
    view = viewed(half_plane(0.3, 0.2), OTHER)
    # without any tooth in view nothing is looked at but by pixels' centres
    np.testing.assert_array_equal(view.maps[OTHER_SHARE], view.part == OTHER)
    assert not view.maps[ENAMEL].any()
