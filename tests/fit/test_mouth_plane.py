"""Where skin lies about the opening of the lips, against distances from openings cut by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from bite.fit.head import Head
from bite.fit.mouth_plane import BEYOND_MM, STEP_MM, mouth_plane
from bite.geometry.camera import Camera
from bite.geometry.render import Grid
from bite.geometry.rigid import Rigid, frozen, rotation_from_vector
from bite.geometry.teeth import LOWER, SKIN, UPPER

AXES = (np.array([0.0, 0, -1]), np.array([1.0, 0, 0]), np.array([0.0, -1, 0]))
CENTRE = np.array([2.0, -1.0, 300.0])
LIP_MM, TEETH_MM = 292.0, 300.0
OPENING = (-14.0, 17.0, -5.0, 6.0)
"""Left, right, top and bottom of the opening at the lips, mm in camera axes (y down)."""
SEEN = tuple(side * TEETH_MM / LIP_MM for side in OPENING)
"""How far one sees through it on teeth farther back."""
WITHIN_MM = 0.5 * 300.0 / 420.0 + 0.5 * STEP_MM * np.sqrt(2.0) + 0.05
"""Half a pixel of the camera, and half a cell's diagonal."""


def box(part: int, x0: float, x1: float, y0: float, y1: float, z_mm: float) -> tuple[np.ndarray, int]:
    return np.array([[x0, y0, z_mm], [x1, y0, z_mm], [x1, y1, z_mm], [x0, y1, z_mm]]), part


def head_of(*boxes: tuple[np.ndarray, int]) -> Head:
    faces = np.concatenate([np.array([[0, 1, 2], [0, 2, 3]]) + 4 * k for k in range(len(boxes))])
    part = np.repeat([part for _, part in boxes], 2).astype(np.int8)
    moving = np.repeat([part != SKIN for _, part in boxes], 4)
    points = np.concatenate([points for points, _ in boxes])
    return Head(points, faces.astype(np.int32), part, moving, *AXES, CENTRE, {}, {})


def lips(opening: tuple[float, float, float, float] = OPENING) -> list[tuple[np.ndarray, int]]:
    left, right, top, bottom = opening
    return [
        box(SKIN, -90, 90, -80, top, LIP_MM),
        box(SKIN, -90, 90, bottom, 80, LIP_MM),
        box(SKIN, -90, left, top, bottom, LIP_MM),
        box(SKIN, right, 90, top, bottom, LIP_MM),
    ]


def teeth(gap_mm: float = 0.0) -> list[tuple[np.ndarray, int]]:
    return [
        box(UPPER, -40, -0.5 * gap_mm, -40, 2, TEETH_MM),
        box(UPPER, 0.5 * gap_mm, 40, -40, 2, TEETH_MM),
        box(LOWER, -40, 40, 2, 40, TEETH_MM),
    ]


def grid_of(placed: Rigid | None = None) -> Grid:
    matrix = [[420.0, 0, 100.0], [0, 420.0, 90.0], [0, 0, 1]]
    return Grid.of(Camera(201, 181, frozen(matrix), frozen(np.zeros(5)), placed or Rigid()))


def face_points(count: int = 800) -> np.ndarray:
    """Places all over the face, mm in camera axes; how far in front or behind does not matter."""
    rng = np.random.default_rng(0)
    return np.column_stack([rng.uniform(-45, 45, (count, 2)), rng.uniform(270, 310, count)])


def from_opening(points: np.ndarray) -> np.ndarray:
    """Distance across the face to the rectangle through which teeth are seen, mm."""
    left, right, top, bottom = SEEN
    across = np.maximum(np.maximum(left - points[:, 0], points[:, 0] - right), 0)
    along = np.maximum(np.maximum(top - points[:, 1], points[:, 1] - bottom), 0)
    return np.asarray(np.hypot(across, along))


@pytest.mark.parametrize("gap_mm", [0.0, 1.8])
def test_distances_are_those_from_the_teeth_that_one_sees(gap_mm: float) -> None:
    """A gap between teeth is no skin: the opening is closed over it."""
    head = head_of(*lips(), *teeth(gap_mm))
    plane = mouth_plane(head, grid_of())
    assert plane is not None
    points = face_points()
    away, _ = plane.at(head, points)
    expected = from_opening(points)
    assert np.abs(away - expected).max() < WITHIN_MM
    left, right, top, bottom = SEEN
    x, y, _ = points.T
    inside = (x > left + 1) & (x < right - 1) & (y > top + 1) & (y < bottom - 1)
    assert (away[inside] == 0).all() and inside.sum() >= 10


def test_above_is_above_the_opening_and_blends_over_four_millimetres() -> None:
    head = head_of(*lips(), *teeth())
    plane = mouth_plane(head, grid_of())
    assert plane is not None
    points = face_points()
    _, above = plane.at(head, points)
    height = 0.5 * (SEEN[2] + SEEN[3]) - points[:, 1]  # y runs down
    np.testing.assert_allclose(above, np.clip(0.5 + height / 4.0, 0, 1), rtol=0, atol=WITHIN_MM / 4.0)
    assert above[height > 3.0].min() == pytest.approx(1.0) and (above[height < -3.0] == 0.0).all()


def test_above_follows_a_mouth_that_slants() -> None:
    """A narrow opening seen by a head tilted to a shoulder: its right end lies 15 mm higher than its left."""
    narrow = (-25.0, 25.0, -3.0, 3.0)
    tilt = 0.3
    head = replace(
        head_of(*lips(narrow), *teeth()),
        right=np.array([np.cos(tilt), np.sin(tilt), 0.0]),
        up=np.array([np.sin(tilt), -np.cos(tilt), 0.0]),
    )
    plane = mouth_plane(head, grid_of())
    assert plane is not None
    points = face_points()
    away, _ = plane.at(head, points)
    left, right, top, bottom = (side * TEETH_MM / LIP_MM for side in narrow)
    across = np.maximum(np.maximum(left - points[:, 0], points[:, 0] - right), 0)
    along = np.maximum(np.maximum(top - points[:, 1], points[:, 1] - bottom), 0)
    assert np.abs(away - np.hypot(across, along)).max() < WITHIN_MM
    for x in (left + 6.0, right - 6.0):
        for y, above in ((top - 1.0, 1.0), (bottom + 1.0, 0.0)):
            assert plane.at(head, np.array([[x, y, 295.0]]))[1][0] == pytest.approx(above)


def test_it_moves_with_the_head_whatever_camera_looks() -> None:
    """Head, axes and camera turned and shifted together: nothing changes."""
    head = head_of(*lips(), *teeth())
    turn, shift = rotation_from_vector(np.array([0.3, -0.5, 0.2])), np.array([30.0, -20.0, 50.0])
    moved = replace(
        head,
        points_mm=head.points_mm @ turn.T + shift,
        centre_mm=turn @ head.centre_mm + shift,
        forward=turn @ head.forward,
        right=turn @ head.right,
        up=turn @ head.up,
    )
    plane, turned = mouth_plane(head, grid_of()), mouth_plane(moved, grid_of(Rigid(turn, shift).inverse()))
    assert plane is not None and turned is not None
    points = face_points()
    for here, there in zip(plane.at(head, points), turned.at(moved, points @ turn.T + shift), strict=True):
        # cells are rounded anew: a reading on a cell's edge may go either way
        assert np.abs(here - there).max() < STEP_MM * np.sqrt(2.0) and np.median(np.abs(here - there)) < 1e-6


def test_far_out_skin_counts_as_far_as_the_plane_reaches() -> None:
    head = head_of(*lips(), *teeth())
    plane = mouth_plane(head, grid_of())
    assert plane is not None
    middle_mm = 0.5 * (SEEN[2] + SEEN[3])
    points = np.array([[SEEN[0] - far, middle_mm, 292.0] for far in (40.0, 60.0, 300.0)])
    away, _ = plane.at(head, points)
    assert away[0] == pytest.approx(40.0, abs=WITHIN_MM)
    assert away[1] == away[2] == pytest.approx(BEYOND_MM, abs=1.0)


def test_closed_lips_leave_nothing_to_measure_from() -> None:
    closed = box(SKIN, -90, 90, -80, 80, LIP_MM)
    assert mouth_plane(head_of(closed, *teeth()), grid_of()) is None
    assert mouth_plane(head_of(*lips()), grid_of()) is None  # and no teeth behind open ones


def test_bare_teeth_end_where_one_no_longer_sees_them() -> None:
    plane = mouth_plane(head_of(*lips(), *teeth()), grid_of())
    assert plane is not None
    half_px_mm = 0.5 * 300.0 / 420.0
    ends = (plane.left_mm, plane.right_mm)
    assert ends == pytest.approx((SEEN[0] - CENTRE[0], SEEN[1] - CENTRE[0]), abs=half_px_mm + 0.01)
