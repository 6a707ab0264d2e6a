"""Slopes of a depth map where lips and teeth hide each other, and where skin moves in waves of its own."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from bite.fit.depth_block import DepthBlock
from bite.fit.head import Head
from bite.fit.mouth_plane import mouth_plane
from bite.fit.noise import assumed_noise
from bite.fit.parameters import COUNT, P
from bite.fit.skin_moves import HAIR_STEPS_MM, skin_moves
from bite.geometry.camera import Camera
from bite.geometry.render import Grid
from bite.geometry.rigid import Rigid, frozen, rotation_from_vector
from bite.geometry.teeth import LOWER, SKIN, UPPER
from tests.fit.test_slopes import PLACE, central


def sheet(
    part: int, x_mm: tuple[float, float], y_mm: tuple[float, float], z_mm: float, bow: float = 0.0
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A rectangle of 2 mm facets facing the camera, bowed by ``bow`` mm per mm^2; points, faces, parts."""
    columns, rows = (int(np.ceil((high - low) / 2.0)) for low, high in (x_mm, y_mm))
    x, y = np.meshgrid(np.linspace(*x_mm, columns + 1), np.linspace(*y_mm, rows + 1))
    points = np.column_stack([x.ravel(), y.ravel(), (z_mm + bow * (x**2 + y**2)).ravel()])
    first = (np.arange(rows)[:, None] * (columns + 1) + np.arange(columns)).ravel()
    below = first + columns + 1
    faces = np.concatenate([[first, first + 1, below + 1], [first, below + 1, below]], axis=1).T
    return points, faces, np.full(len(faces), part, np.int8)


def joined(*sheets: tuple[np.ndarray, np.ndarray, np.ndarray]) -> Head:
    """A head of sheets, turned a little in the picture so that no edge runs along a row of pixels."""
    start = np.cumsum([0, *(len(points) for points, _, _ in sheets)])
    faces = np.concatenate([f + s for (_, f, _), s in zip(sheets, start, strict=False)]).astype(np.int32)
    part = np.concatenate([p for _, _, p in sheets])
    points = np.concatenate([p for p, _, _ in sheets]) @ rotation_from_vector(np.array([0, 0, 0.05])).T
    with_teeth = np.zeros(len(points), bool)
    with_teeth[faces[part != SKIN]] = True
    axes = np.array([[0.0, 0.14, -0.99], [1, 0, 0], [0, -0.99, -0.14]])
    axes /= np.linalg.norm(axes, axis=1)[:, None]
    return Head(points, faces, part, with_teeth, *axes, np.array([0.0, 0, 300]), {}, {})


def mouth() -> Head:
    """Lips round an opening, 7 mm before two upper teeth that stand apart, 3 mm before a lower row."""
    return joined(
        sheet(SKIN, (-45, 45), (-40, -7.3), 292.0),
        sheet(SKIN, (-45, 45), (8.2, 40), 292.0),
        sheet(SKIN, (-45, -18.4), (-7.3, 8.2), 292.0),
        sheet(SKIN, (17.7, 45), (-7.3, 8.2), 292.0),
        sheet(UPPER, (-30, -3.3), (-14, 1.3), 299.0),
        sheet(UPPER, (3.9, 30), (-14, 1.1), 299.2),
        sheet(LOWER, (-30, 30), (-12, 16), 302.5),
    )


FROM_THE_SIDE = Rigid(frozen(rotation_from_vector(np.array([0.05, 0.12, 0.0]))), frozen([-35.0, 10.0, 2.0]))


def small_block(head: Head, placed: Rigid) -> tuple[DepthBlock, np.ndarray]:
    """A depth block of 1 mm pixels, and a place in its space where every unknown differs from zero."""
    matrix = frozen([[300.0, 0, 45.2], [0, 302, 40.4], [0, 0, 1]])
    grid = Grid.of(Camera(91, 81, matrix, frozen(np.zeros(5)), placed))
    measured = np.full((81, 91), 300.0)
    skin = skin_moves(head, 30.0, mouth_plane(head, grid))
    block = DepthBlock(head, skin, grid, measured, assumed_noise(0.4, 1.5), 0.0, 1.0)
    heights = 0.1 * np.random.default_rng(5).normal(size=len(block.extra_precision))
    heights[-1] = 0.0  # how boxy the filter is: the slopes of the others are those of a Gaussian
    at = np.concatenate([PLACE, heights])
    at[:9] = 0.1, -0.2, 0.3, 0.004, -0.003, 0.005, 0.4, -0.2, 0.1
    return block, at


@pytest.mark.slow
@pytest.mark.parametrize("placed", [Rigid(), FROM_THE_SIDE], ids=["reference", "side"])
def test_depth_slopes_where_surfaces_hide_each_other(placed: Rigid) -> None:
    """Each unknown carries edges to and fro by half a pixel: the slope must have said what the map then does.

    An edge is placed to a whole pixel by the slopes and to an eighth by the rays of an area, so that single
    pixels differ; smoothing spreads the difference, and the whole of it, told by regression, does not.
    """
    block, at = small_block(mouth(), placed)
    seen = block.predict(at)
    slopes = seen.all_slopes()
    far = {P.HEAD_TURN_X_RAD: 0.017, P.HEAD_TURN_Y_RAD: 0.017, P.HEAD_TURN_Z_RAD: 0.017}
    exact = {P.SMOOTHING_PX, P.ENAMEL_BIAS_MM, P.LOG_SIZE, P.PROFILE_OFFSET_MM, P.PROFILE_SLOPE, len(at) - 1}
    hair = range(block.skin.hair.start, block.skin.hair.stop)
    for index in range(len(at)):
        step = 1e-4 if index in exact else far.get(index, 0.5)
        numeric = central(lambda p: block.predict(p).depth_mm, at, index, step)[seen.used]
        slope = slopes[index, seen.used]
        if index in exact:
            assert np.abs(numeric - slope).max() <= 1e-6 * max(np.abs(numeric).max(), 1e-2), index
            continue
        size = np.sqrt(np.mean(numeric**2))
        # measured: off by 0.16 of its size at most, and as a whole by 4 % at most; hair that sets in within
        # 2 mm, which is a facet's length here, by 0.22 and 9 %
        sharp = index - COUNT in hair and (index - COUNT - hair.start) % len(HAIR_STEPS_MM) == 0
        assert np.sqrt(np.mean((numeric - slope) ** 2)) < (0.26 if sharp else 0.2) * size, index
        assert numeric @ slope == pytest.approx(slope @ slope, rel=0.11 if sharp else 0.06), index


def test_the_lower_row_has_its_own_part_of_the_forward_slope() -> None:
    """The lower teeth alone carried forward and back, against the part of the slope that is theirs."""
    block, at = small_block(mouth(), Rigid())
    seen = block.predict(at)
    lower = np.zeros(len(block.head.points_mm), bool)
    lower[block.head.faces[block.head.face_part == LOWER]] = True

    def depth_mm(forward_mm: float) -> np.ndarray:
        moved = block.head.points_mm + forward_mm * lower[:, None] * block.head.forward
        return replace(block, head=replace(block.head, points_mm=moved)).predict(at).depth_mm

    # less than a hundredth of a pixel of motion at any edge
    numeric = ((depth_mm(0.01) - depth_mm(-0.01)) / 0.02)[seen.used]
    slope = seen.lower_forward[seen.used]
    assert np.abs(slope).max() > 0.5 and np.abs(slope - seen.slopes[P.FORWARD_MM, seen.used]).max() > 0.5
    # as above; rays that change from one surface to another within the step are few
    assert np.sqrt(np.mean((numeric - slope) ** 2)) < 0.1 * np.sqrt(np.mean(numeric**2))


@pytest.mark.slow
def test_slopes_of_waves_on_smooth_skin() -> None:
    """A wave is read before the blur and where the skin was solved, which the slopes can do without.

    A blur of 1.7 px takes (1.7 / 12)^2 = 2 % from the height of a bump 12 mm wide, facets of 2 mm 0.35 %.
    """
    head = joined(sheet(SKIN, (-45, 45), (-40, 40), 292.0, bow=0.004))
    block, at = small_block(head, Rigid())
    seen = block.predict(at)
    assert seen.used.sum() > 500
    slopes = seen.all_slopes()
    for index in range(COUNT, COUNT + block.skin.waves.count):
        numeric = central(lambda p: block.predict(p).depth_mm, at, index, 1e-3)[seen.used]
        slope = slopes[index, seen.used]
        assert np.abs(numeric - slope).max() < 0.04 * np.abs(numeric).max()
