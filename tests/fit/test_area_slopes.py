"""What moves a rim changes the depth about it: slopes of unsmoothed maps against maps moved to and fro."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from bite.fit.area_view import LOWER_FORWARD, SKIN_OUT, SKIN_UP, AreaView, area_view
from bite.fit.head import Head
from bite.fit.parameters import COUNT, P
from bite.fit.seen_model import seen_model
from bite.geometry.camera import Camera
from bite.geometry.render import Grid
from bite.geometry.rigid import Rigid, frozen, rotation_from_vector
from bite.geometry.teeth import LOWER, SKIN, UPPER

WIDTH, HEIGHT, FOCAL_PX = 90, 80, 300.0
AHEAD = np.array([0.0, 0.14, -0.99])
RIGHT = np.array([1.0, 0.0, 0.0])
UP = np.cross(AHEAD, RIGHT) / np.linalg.norm(AHEAD)
IN_FRONT = Rigid()
TURNED = Rigid(frozen(rotation_from_vector(np.array([0.0, 0.05, 0.3]))), frozen([-15, 0, 0]))
FROM_THE_SIDE = Rigid(frozen(rotation_from_vector(np.array([0.05, 0.15, 0.03]))), frozen([-46, 12, 4]))


def strip(
    top_mm: tuple[float, float], bottom_mm: tuple[float, float], z_mm: float, tilt: float
) -> np.ndarray:
    """A band across the picture: heights of its upper and lower side at x = -70 and 70 mm, y down."""
    (a, b), (c, d) = top_mm, bottom_mm
    return np.array([[-70, a, z_mm], [70, b, z_mm], [70, d, z_mm], [-70, c, z_mm]]) + np.outer(
        [a, b, d, c], [0, 0, tilt]
    )


def mouth() -> Head:
    """Lips of slanted edges 8 mm before an upper row, whose own slanted edge is 3 mm before a lower row."""
    parts = [SKIN, SKIN, UPPER, LOWER]
    bands = [
        strip((-60, -60), (-12.0, -3.0), 292.0, 0.2),
        strip((9.0, 13.5), (60, 60), 293.0, -0.15),
        strip((-30, -30), (1.0, 5.3), 300.0, 0.05),
        strip((-10, -10), (30, 30), 303.0, 0.0),
    ]
    faces = np.concatenate([np.array([[0, 1, 2], [0, 2, 3]]) + 4 * k for k in range(4)]).astype(np.int32)
    part = np.repeat(parts, 2).astype(np.int8)
    unit = AHEAD / np.linalg.norm(AHEAD)
    return Head(
        np.concatenate(bands), faces, part, np.repeat([False, False, True, True], 4), unit, RIGHT, UP,
        np.array([0.0, 0, 300]), {}, {},
    )  # fmt: skip


def camera(placed: Rigid) -> Camera:
    matrix = [[FOCAL_PX, 0, 0.5 * WIDTH], [0, FOCAL_PX + 2, 0.5 * HEIGHT], [0, 0, 1]]
    return Camera(WIDTH, HEIGHT, frozen(matrix), frozen(np.zeros(5)), placed)


def view_of(head: Head, parameters: np.ndarray, placed: Rigid) -> AreaView:
    seen = seen_model(Grid.of(camera(placed)), head, parameters, 1.0)
    return area_view(seen, head, parameters)


def bands_about_rims(head: Head, placed: Rigid) -> list[np.ndarray]:
    """Pixels within 6 of each rim (lip, upper row, lip), away from the picture's sides, its halves apart."""
    y, x = np.mgrid[:HEIGHT, :WIDTH]
    chosen = []
    for corner, other in ((3, 2), (11, 10), (4, 5)):  # ends of a rim
        ends = camera(placed).project(head.points_mm[[corner, other]])
        height = np.interp(x, *ends.T)
        near = (np.abs(y - height) < 6.5) & (x > 5) & (x < WIDTH - 6)
        chosen += [near & (x < WIDTH // 2), near & (x >= WIDTH // 2)]
    return chosen


def out_of_the_skin(head: Head) -> np.ndarray:
    """Unit normals toward the camera of the two lips at each vertex; none for teeth."""
    normals = np.zeros((16, 3))
    normals[:4] = np.array([0.0, 0.2, -1.0]) / np.hypot(0.2, 1)
    normals[4:8] = np.array([0.0, -0.15, -1.0]) / np.hypot(0.15, 1)
    return normals


def with_skin_moved(direction: np.ndarray) -> Callable[[Head, float], Head]:
    moving = direction * (np.arange(16) < 8)[:, None]
    return lambda head, by_mm: replace(head, points_mm=head.points_mm + by_mm * moving)


def compared(
    head: Head, moved: Callable[[float], AreaView], slope: np.ndarray, placed: Rigid, step: float
) -> list[tuple[float, float]]:
    """Sums about each rim: changed by as much, one way and the other, and as the slope says."""
    change = (moved(step).depth_mm - moved(-step).depth_mm) / (2 * step)
    return [(float(change[band].sum()), float(slope[band].sum())) for band in bands_about_rims(head, placed)]


def check(sums: list[tuple[float, float]], per_px: float) -> None:
    """Hold sums of slopes against those of the change.

    A pixel at a rim steps by an eighth of a jump or more when a ray changes sides. Along the 39 columns of
    half a slanted rim these steps come at many phases; what is left falls with how far things are moved. By
    a pixel either way it is 1.3 % of what a pixel's motion is worth (measured), by a fifth of one up to 8 %.
    """
    for change, slope in sums:
        assert slope == pytest.approx(change, abs=0.02 * per_px), sums


MOTIONS = [P(k) for k in range(9) if k not in (P.HEAD_X_MM, P.RIGHT_MM)]
"""Those that carry rims along themselves change hardly anything here."""
JUMP_SUM = 39 * 8.0
"""Jump of the upper lip over 39 columns: what its rim's motion by one px changes in sum, mm."""


@pytest.mark.parametrize("placed", [IN_FRONT, FROM_THE_SIDE], ids=["front", "side"])
@pytest.mark.parametrize("index", MOTIONS)
def test_motions_of_head_and_teeth(index: P, placed: Rigid) -> None:
    head, start = mouth(), np.zeros(COUNT)
    start[:9] = 0.1, -0.2, 0.3, 0.004, -0.003, 0.005, 0.4, -0.2, 0.1
    unit = np.zeros(COUNT)
    unit[index] = 1.0
    size = 0.01 if index in (P.HEAD_TURN_X_RAD, P.HEAD_TURN_Y_RAD, P.HEAD_TURN_Z_RAD) else 1.0
    slope = view_of(head, start, placed).maps[index]
    sums = compared(head, lambda by: view_of(head, start + by * unit, placed), slope, placed, size)
    check([(a * size, b * size) for a, b in sums], JUMP_SUM)
    assert max(abs(a) * size for a, _ in sums) > 0.05 * JUMP_SUM


@pytest.mark.parametrize("placed", [IN_FRONT, FROM_THE_SIDE, TURNED], ids=["front", "side", "turned"])
@pytest.mark.parametrize("which", [SKIN_OUT, SKIN_UP])
def test_motions_of_the_skin(which: int, placed: Rigid) -> None:
    head, at = mouth(), np.zeros(COUNT)
    direction = out_of_the_skin(head) if which == SKIN_OUT else np.broadcast_to(head.up, (16, 3))
    move = with_skin_moved(direction)
    slope = view_of(head, at, placed).maps[which]
    sums = compared(head, lambda by: view_of(move(head, by), at, placed), slope, placed, 1.0)
    check(sums, JUMP_SUM)
    assert abs(sums[0][0]) > 0.1 * JUMP_SUM


def test_the_lower_row_has_the_part_of_the_forward_slope_that_it_gives() -> None:
    head, at = mouth(), np.zeros(COUNT)
    lower = (np.arange(16) >= 12)[:, None]
    ahead = head.forward * lower
    view = view_of(head, at, IN_FRONT)
    there, back = (
        view_of(replace(head, points_mm=head.points_mm + by * ahead), at, IN_FRONT) for by in (0.2, -0.2)
    )
    change = (there.depth_mm - back.depth_mm) / 0.4
    # the lower row hides nothing here: its surface alone moves, and rays keep what they meet
    np.testing.assert_allclose(view.maps[LOWER_FORWARD], change, rtol=0, atol=1e-3)
    assert np.abs(change).max() > 0.9
