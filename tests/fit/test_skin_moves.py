"""What may be wrong of the solved skin besides waves: lips along the face, hair out of it, and how freely."""

from __future__ import annotations

import numpy as np
import pytest

from bite.fit.mouth_plane import mouth_plane
from bite.fit.skin_moves import SkinMoves, SkinSpread, skin_moves
from bite.geometry.camera import Camera
from bite.geometry.render import Grid
from bite.geometry.rigid import frozen
from tests.fit.test_rim_slopes import mouth

HEAD = mouth()
MIDDLE_MM, HALF_MM = 0.45, 7.75
"""The opening in the skin: its middle, mm down, and half its height. Teeth lie 7 to 10 mm behind it, which a
tilt of 8 degrees shifts against it by 1 to 1.4 mm."""


def moves() -> SkinMoves:
    matrix = frozen([[300.0, 0, 45.2], [0, 302, 40.4], [0, 0, 1]])
    grid = Grid.of(Camera(91, 81, matrix, frozen(np.zeros(5))))
    return skin_moves(HEAD, 30.0, mouth_plane(HEAD, grid))


SKIN = moves()
WAVES = SKIN.waves.count
UPPER_LIP, LOWER_LIP = WAVES, WAVES + 1


def moved(**heights_mm: float) -> np.ndarray:
    """How far each vertex of the skin goes for heights named h0, h1 and so on, shape (s, 3)."""
    heights = np.zeros(SKIN.count)
    for name, value in heights_mm.items():
        heights[int(name[1:])] = value
    return (SKIN.displaced(HEAD.points_mm, heights) - HEAD.points_mm)[SKIN.waves.skin]


def above_opening(side: float) -> tuple[np.ndarray, np.ndarray]:
    """How far each vertex of the skin lies beyond the opening's upper (1) or lower (-1) edge, and aside."""
    x, y, _ = HEAD.points_mm[SKIN.waves.skin].T
    return side * (MIDDLE_MM - y) - HALF_MM, np.abs(x)


def test_beliefs_are_each_ones_own() -> None:
    sd = SKIN.precision(SkinSpread()) ** -0.5
    assert sd == pytest.approx(np.repeat([0.3, 0.5, 0.3], [WAVES, 2, 8]))
    sd = SKIN.precision(SkinSpread(wave_mm=0.5, hair_mm=0.7)) ** -0.5
    assert sd == pytest.approx(np.repeat([0.5, 0.5, 0.7], [WAVES, 2, 8]))


def test_waves_and_hair_learn_their_spread_apart() -> None:
    heights, variance = np.zeros(SKIN.count), np.full(SKIN.count, 1e-6)
    heights[:WAVES], heights[SKIN.lips], heights[SKIN.hair] = 0.5, 9.0, 0.2
    told = SKIN.learned(heights, variance, SkinSpread())
    assert (told.wave_mm, told.hair_mm) == (pytest.approx(0.5, rel=1e-3), pytest.approx(0.2, rel=1e-3))


@pytest.mark.parametrize(("lip", "side"), [(UPPER_LIP, 1.0), (LOWER_LIP, -1.0)])
def test_a_lip_slides_up_along_the_face_as_a_whole_and_the_rest_stays(lip: int, side: float) -> None:
    shift = moved(**{f"h{lip}": 0.8})
    height, across = above_opening(side)
    assert np.cross(shift, HEAD.up) == pytest.approx(np.zeros_like(shift), abs=1e-12)
    near = (height > 0.0) & (height < 3.5) & (across < 9.0)
    assert near.sum() > 10 and (shift[near] @ HEAD.up) == pytest.approx(0.8, rel=0.02)
    far = (height > 17.0) | ((height < -HALF_MM - 4.0) & (across < 16.0))
    assert far.sum() > 10 and np.abs(shift[far]).max() < 1e-9


def test_hair_stands_before_the_face_about_the_lips_and_never_on_them() -> None:
    for k in range(8):
        shift = moved(**{f"h{SKIN.hair.start + k}": 1.0})
        out = np.einsum("ij,ij->i", shift, SKIN.waves.skin_normals)
        assert np.linalg.norm(shift, axis=1) == pytest.approx(np.abs(out)) and out.min() >= 0.0
        height, across = above_opening(1.0 if k < 4 else -1.0)
        # sets in between 3 and 5, 5 and 8, 8 and 11, 11 and 15 mm off bare teeth
        start, stop = ((3, 5), (5, 8), (8, 11), (11, 15))[k % 4]
        assert out[(across < 12.0) & (height > stop + 2.0)] == pytest.approx(1.0)
        before = (across < 12.0) & (height > -1.0) & (height < start - 2.0)
        assert before.sum() > 5 and out[before].max() < 0.02
        assert out[(height < -HALF_MM - 4.0) & (across < 16.0)].max() < 1e-9


def test_where_an_unknown_moves_skin_is_where_it_says() -> None:
    """Shape times direction at a vertex is how far that vertex goes, for every unknown."""
    points = HEAD.points_mm[SKIN.waves.skin]
    said = SKIN.at(HEAD, points)[:, :, None] * SKIN.directions(SKIN.waves.skin_normals)
    for k in range(SKIN.count):
        np.testing.assert_allclose(moved(**{f"h{k}": 0.5}), 0.5 * said[:, k], rtol=0, atol=1e-12)


def test_without_bare_teeth_there_are_waves_alone() -> None:
    alone = skin_moves(HEAD, 30.0)
    assert alone.count == alone.waves.count == len(alone.precision(SkinSpread()))
    assert not alone.along_up.any()
