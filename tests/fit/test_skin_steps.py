"""Shapes of lips and hair at known distances from an opening, and how far their spread follows a frame."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from bite.fit.head import Head
from bite.fit.mouth_plane import MouthPlane
from bite.fit.skin_moves import START_SPREAD, SkinSpread, skin_moves
from bite.geometry.rigid import frozen
from bite.geometry.teeth import SKIN, UPPER
from tests.fit.test_rim_slopes import joined, sheet

STEP_MM = 0.5
LONG_MM = 20.0
"""Bare teeth end so far to either side."""
HEAD = replace(
    joined(
        sheet(SKIN, (-45, 45), (-40, -4), 292.0, bow=0.004),
        sheet(SKIN, (-45, 45), (4, 40), 292.0, bow=0.004),
        sheet(UPPER, (-20, 20), (-6, 6), 299.0),
    ),
    centre_mm=np.array([2.0, 1.0, 300.0]),  # beside the camera's axis
)


def on_face(head: Head, right_mm: np.ndarray, up_mm: np.ndarray) -> np.ndarray:
    """Points near the skin at a place in the head's right-up plane."""
    return head.centre_mm + 8.0 * head.forward + np.outer(right_mm, head.right) + np.outer(up_mm, head.up)


def plane() -> MouthPlane:
    """An opening that is a line along right: the distance from it is how far up or down one is."""
    up = np.arange(-60.0, 60.0 + STEP_MM, STEP_MM)
    away = np.repeat(np.abs(up)[:, None], len(up), axis=1)
    above = np.repeat((up > 0).astype(float)[:, None], len(up), axis=1)
    return MouthPlane(frozen([-60.0, -60.0]), frozen(away), frozen(above), -LONG_MM, LONG_MM)


MOVES = skin_moves(HEAD, 30.0, plane())
WAVES = MOVES.waves.count


def eased(away_mm: np.ndarray, start: float, stop: float) -> np.ndarray:
    """Nothing before the start, all beyond the stop, and in between the cubic that is flat at both ends."""
    t = (away_mm - start) / (stop - start)
    return np.where(t <= 0, 0.0, np.where(t >= 1, 1.0, t**2 * (3 - 2 * t)))


def test_order_and_number_of_the_unknowns() -> None:
    """Waves, upper lip, lower lip, four steps of hair above and four below."""
    assert MOVES.count == WAVES + 10 and WAVES > 5
    assert (MOVES.lips, MOVES.hair) == (slice(WAVES, WAVES + 2), slice(WAVES + 2, WAVES + 10))
    assert np.flatnonzero(MOVES.along_up).tolist() == [WAVES, WAVES + 1]


def test_lips_go_up_and_all_else_out_along_the_normal() -> None:
    normals = np.random.default_rng(0).normal(size=(5, 3))
    directions = MOVES.directions(normals)
    assert directions.shape == (5, MOVES.count, 3)
    for k in range(MOVES.count):
        expected = np.broadcast_to(HEAD.up, (5, 3)) if WAVES <= k < WAVES + 2 else normals
        np.testing.assert_array_equal(directions[:, k], expected)


@pytest.mark.parametrize("side", [1, -1], ids=["above", "below"])
def test_shapes_at_known_distances(side: int) -> None:
    """At the raster's own places, so that nothing is interpolated."""
    away = np.arange(0.5, 30.0, STEP_MM)
    right = np.linspace(-22, 22, len(away)).round()
    places = on_face(HEAD, right, side * away)
    shapes = MOVES.at(HEAD, places)[:, WAVES:]
    # still 4 mm beyond the last tooth, whole from 12 mm inward of there on
    lip = (1.0 - eased(away, 6.0, 14.0)) * eased(LONG_MM + 4.0 - np.abs(right), 0.0, 12.0)
    hair = np.column_stack([eased(away, *step) for step in ((3, 5), (5, 8), (8, 11), (11, 15))])
    nothing = np.zeros_like(hair)
    own = 0 if side == 1 else 1
    np.testing.assert_allclose(shapes[:, own], lip, rtol=0, atol=1e-9)
    np.testing.assert_allclose(shapes[:, 1 - own], 0.0, rtol=0, atol=1e-9)
    expected = np.concatenate([hair, nothing] if side == 1 else [nothing, hair], axis=1)
    np.testing.assert_allclose(shapes[:, 2:], expected, rtol=0, atol=1e-9)


def test_hair_never_moves_lips_and_only_gains_with_distance() -> None:
    up = np.linspace(-30.0, 30.0, 601)
    hair = MOVES.at(HEAD, on_face(HEAD, np.zeros(601), up))[:, MOVES.hair]
    assert not hair[np.abs(up) <= 3.0 - STEP_MM].any()
    for side, columns in ((up > 0, slice(0, 4)), (up < 0, slice(4, 8))):
        outward = hair[side][np.argsort(np.abs(up[side])), columns]
        assert (np.diff(outward, axis=0) >= -1e-12).all() and outward[-1] == pytest.approx(np.ones(4))
        # each sets in where the one before it stands in full
        assert (outward[:, 1:] <= outward[:, :-1] + 1e-12).all()


def test_vertices_go_by_the_sum_of_all_shapes() -> None:
    heights = np.random.default_rng(1).normal(0.0, 0.4, MOVES.count)
    before = HEAD.points_mm.copy()
    moved = MOVES.displaced(HEAD.points_mm, heights)
    np.testing.assert_array_equal(HEAD.points_mm, before)
    skin = MOVES.waves.skin
    shapes = MOVES.at(HEAD, HEAD.points_mm[skin])
    expected = before.copy()
    for k, height in enumerate(heights):
        way = np.broadcast_to(HEAD.up, (len(skin), 3)) if MOVES.along_up[k] else MOVES.waves.skin_normals
        expected[skin] += height * shapes[:, k, None] * way
    np.testing.assert_allclose(moved, expected, rtol=0, atol=1e-12)
    teeth = np.setdiff1d(np.arange(len(before)), skin)
    np.testing.assert_array_equal(moved[teeth], before[teeth])
    # hair without any wave, and nothing at all
    alone = np.where(np.arange(MOVES.count) == WAVES + 2, 0.7, 0.0)
    assert np.abs(MOVES.displaced(HEAD.points_mm, alone) - before).max() == pytest.approx(0.7, rel=0.01)
    np.testing.assert_array_equal(MOVES.displaced(HEAD.points_mm, 0 * heights), before)
    np.testing.assert_array_equal(HEAD.points_mm, before)


def learned(hair_mm: float, rounds: int, sd_mm: float = 1e-3) -> SkinSpread:
    heights = np.zeros(MOVES.count)
    heights[:WAVES], heights[MOVES.hair] = 0.25, hair_mm
    spread = START_SPREAD
    for _ in range(rounds):
        spread = MOVES.learned(heights, np.full(MOVES.count, sd_mm**2), spread)
    return spread


def test_the_spread_of_hair_shrinks_to_its_floor_on_a_bare_face_and_grows_with_hair() -> None:
    assert learned(0.0, 4).hair_mm == 0.02
    assert learned(0.001, 4).hair_mm == 0.02
    for hair_mm in (0.1, 1.0, 3.0):
        # eight steps of one height, known to a micrometre: their root mean square
        assert learned(hair_mm, 6).hair_mm == pytest.approx(hair_mm, rel=1e-3)
    # it grows by no more than three times in one round
    assert learned(3.0, 1).hair_mm == pytest.approx(0.9)
    for hair_mm in (0.0, 1.0):
        assert learned(hair_mm, 4).wave_mm == pytest.approx(0.25, rel=1e-3)


def test_hair_that_only_its_prior_tells_is_not_learned_from() -> None:
    """Sum of squares over how many the data determine: variance half the prior's leaves half of each."""
    heights, variance = np.zeros(MOVES.count), np.zeros(MOVES.count)
    heights[MOVES.hair], variance[MOVES.hair] = 0.2, 0.5 * 0.3**2
    assert MOVES.learned(heights, variance, START_SPREAD).hair_mm == pytest.approx(0.2 * np.sqrt(2.0))


def test_precision_is_that_of_each_belief() -> None:
    precision = MOVES.precision(SkinSpread(wave_mm=0.2, hair_mm=0.02))
    expected = np.concatenate([np.full(WAVES, 25.0), np.full(2, 1 / 0.25), np.full(8, 2500.0)])
    np.testing.assert_allclose(precision, expected, rtol=1e-12)
    bare = skin_moves(HEAD, 30.0)
    np.testing.assert_allclose(bare.precision(SkinSpread(wave_mm=0.2)), 25.0, rtol=1e-12)
    assert bare.learned(np.zeros(WAVES), np.zeros(WAVES), SkinSpread(hair_mm=0.7)).hair_mm == 0.7
