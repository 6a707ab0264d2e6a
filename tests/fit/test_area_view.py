"""A pixel is the mean over its area: edges at known places within it, against shares worked out by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from bite.fit.area_view import ENAMEL, OTHER_SHARE, SKIN_UP, AreaView, area_view
from bite.fit.head import Head
from bite.fit.parameters import COUNT
from bite.fit.seen_model import seen_model
from bite.geometry.camera import Camera
from bite.geometry.render import Grid
from bite.geometry.rigid import Rigid, frozen
from bite.geometry.teeth import OTHER, SKIN, UPPER
from tests.fit.test_rim_slopes import FROM_THE_SIDE, joined, sheet

FOCAL_PX, NEAR_MM, FAR_MM = 300.0, 292.0, 300.0
AXES = (np.array([0.0, 0, -1]), np.array([1.0, 0, 0]), np.array([0.0, -1, 0]))
STEPS = np.arange(-0.5, 0.5, 1 / 32) + 1 / 64
"""Places of an edge all over a pixel, none of them on a ray."""


def viewed(grid: Grid, head: Head) -> AreaView:
    still = np.zeros(COUNT)
    return area_view(seen_model(grid, head, still, 1.0), head, still)


def wall(left_px: float, top_px: float, z_mm: float) -> np.ndarray:
    """A large rectangle right of and below a corner, given in pixels of a camera centred on (20, 20)."""
    x, y = (left_px - 20.0) * z_mm / FOCAL_PX, (top_px - 20.0) * z_mm / FOCAL_PX
    return np.array([[x, y, z_mm], [x + 500, y, z_mm], [x + 500, y + 500, z_mm], [x, y + 500, z_mm]])


def seen(left_px: float, top_px: float, part: int = UPPER):
    """Enamel (or ``part``) right of and below a corner, 8 mm before skin that is everywhere."""
    points = np.concatenate([wall(-200.0, -200.0, FAR_MM), wall(left_px, top_px, NEAR_MM)])
    faces = np.array([[0, 1, 2], [0, 2, 3], [4, 5, 6], [4, 6, 7]], np.int32)
    parts = np.array([SKIN, SKIN, part, part], np.int8)
    head = Head(points, faces, parts, np.arange(8) >= 4, *AXES, np.array([0.0, 0, 300]), {}, {})
    matrix = [[FOCAL_PX, 0, 20.0], [0, FOCAL_PX, 20.0], [0, 0, 1]]
    grid = Grid.of(Camera(41, 41, frozen(matrix), frozen(np.zeros(5))))
    return viewed(grid, head)


@pytest.mark.slow
@pytest.mark.parametrize("axis", ["column", "row"])
def test_an_edge_within_a_pixel_takes_its_share_of_the_depth_and_leans_to_no_side(axis: str) -> None:
    """The pixel whose middle is 20 ends at 20.5: an edge at 20 + k leaves 0.5 - k of it to what is nearer."""
    off = []
    for step in STEPS:
        view = seen(20.0 + step, -100.0) if axis == "column" else seen(-100.0, 20.0 + step)
        share = 0.5 - step
        depth = view.depth_mm[10, 20] if axis == "column" else view.depth_mm[20, 10]
        enamel = view.maps[ENAMEL, 10, 20] if axis == "column" else view.maps[ENAMEL, 20, 10]
        off.append(depth - (share * NEAR_MM + (1 - share) * FAR_MM))
        assert enamel == pytest.approx((FAR_MM - depth) / (FAR_MM - NEAR_MM), abs=1e-6)
    # eight rays place an edge to a sixteenth of a pixel either way, worth half a millimetre of 8
    assert np.abs(off).max() <= 8.0 / 16 + 1e-6
    assert np.mean(off) == pytest.approx(0.0, abs=1e-3)


@pytest.mark.slow
def test_a_corner_within_a_pixel_takes_the_product_of_its_shares() -> None:
    steps = (np.arange(9) + 0.5) / 9 - 0.5
    off = np.array(
        [
            seen(20.0 + x, 20.0 + y).depth_mm[20, 20] - (FAR_MM - 8.0 * (0.5 - x) * (0.5 - y))
            for x in steps
            for y in steps
        ]
    )
    # eight rays leave at most a quarter of the pixel to chance; measured 0.08 of it, root mean square
    assert np.abs(off).max() < 8.0 * 0.25 and np.sqrt(np.mean(off**2)) < 8.0 * 0.1
    # the eight points lie along one diagonal a little: all corners of one kind lean by 0.05 of a pixel's area
    assert abs(np.mean(off)) < 8.0 * 0.06


def test_the_share_of_other_parts_is_told_beside_that_of_enamel() -> None:
    view = seen(20.25, -100.0, OTHER)
    assert not view.maps[ENAMEL].any()
    assert view.maps[OTHER_SHARE, 10, 22] == 1.0 and view.maps[OTHER_SHARE, 10, 18] == 0.0


@pytest.mark.parametrize("placed", [Rigid(), FROM_THE_SIDE], ids=["reference", "side"])
def test_skin_that_slides_up_the_face_changes_depth_as_its_slant_says(placed: Rigid) -> None:
    """All skin carried along the head's up and back; where a facet gives way to its neighbour is left out."""
    head = joined(sheet(SKIN, (-45, 45), (-40, 40), 292.0, bow=0.004))
    matrix = frozen([[FOCAL_PX, 0, 45.0], [0, FOCAL_PX, 40.0], [0, 0, 1]])
    grid = Grid.of(Camera(91, 81, matrix, frozen(np.zeros(5)), placed))

    def depth_mm(up_mm: float) -> np.ndarray:
        moved = replace(head, points_mm=head.points_mm + up_mm * head.up)
        return viewed(grid, moved).depth_mm

    slope = viewed(grid, head).maps[SKIN_UP]
    numeric = (depth_mm(1e-4) - depth_mm(-1e-4)) / 2e-4
    seen = np.isfinite(numeric)
    off = np.abs(numeric - slope)[seen]
    assert seen.sum() > 3000 and np.abs(slope[seen]).max() > 0.2
    assert np.quantile(off, 0.95) < 1e-6


def test_a_surface_that_is_seen_flat_follows_no_motion_without_bound() -> None:
    """A floor 6 mm below the axis that sinks by a hundredth: rays meet it under a cosine of 0.01."""
    places = [(-99, 200), (99, 200), (99, 400), (-99, 400)]
    floor = np.array([[x, 6.0 + 0.01 * (z - 300.0), z] for x, z in places])
    head = Head(
        floor, np.array([[0, 1, 2], [0, 2, 3]], np.int32), np.full(2, SKIN, np.int8), np.zeros(4, bool),
        *AXES, np.array([0.0, 0, 300]), {}, {},
    )  # fmt: skip
    matrix = frozen([[FOCAL_PX, 0, 20], [0, FOCAL_PX, 20], [0, 0, 1]])
    grid = Grid.of(Camera(41, 41, matrix, frozen(np.zeros(5))))
    facing = seen_model(grid, head, np.zeros(COUNT), 1.0).centre.facing
    assert len(facing) > 40
    # a tenth at least (our choice): what it sees moves by no more than ten times what the surface does
    assert facing == pytest.approx(-0.1)
