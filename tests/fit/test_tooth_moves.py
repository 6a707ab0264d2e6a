"""Crowns that stand before or behind their row: which vertices go, how far, and what a depth map learns."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from bite.fit.depth_block import DepthBlock
from bite.fit.noise import assumed_noise
from bite.fit.parameters import COUNT, P
from bite.fit.skin_moves import skin_moves
from bite.fit.tooth_moves import NO_TOOTH_MOVES, tooth_moves
from bite.geometry.camera import Camera
from bite.geometry.render import Grid
from bite.geometry.rigid import frozen
from bite.geometry.teeth import LOWER, SKIN, UPPER
from tests.fit.test_rim_slopes import joined, sheet

HEAD = replace(
    joined(
        sheet(SKIN, (-45, 45), (-40, -8), 292.0, bow=0.004),
        sheet(SKIN, (-45, 45), (8, 40), 292.0, bow=0.004),
        sheet(UPPER, (-26, 26), (-9, 0), 299.0),
        sheet(LOWER, (-26, 26), (0, 9), 301.0),
    ),
    centre_mm=np.array([1.5, 0.0, 300.0]),  # beside the camera's axis
)
MOVES = tooth_moves(HEAD)
FACET_MM = 2.0
CENTRES_MM = np.array([-20.0, -12.0, -4.0, 4.0, 12.0, 20.0])


def row(part: int) -> np.ndarray:
    return np.unique(HEAD.faces[HEAD.face_part == part])


@pytest.mark.parametrize(("part", "first"), [(UPPER, 0), (LOWER, 7)])
def test_a_bump_moves_its_own_row_along_forward(part: int, first: int) -> None:
    heights = np.zeros(MOVES.count)
    heights[first + 2] = 0.4
    before = HEAD.points_mm.copy()
    shift = MOVES.displaced(HEAD.points_mm, heights) - before
    np.testing.assert_array_equal(HEAD.points_mm, before)
    own = row(part)
    assert not np.delete(shift, own, axis=0).any()
    right = (before[own] - HEAD.centre_mm) @ HEAD.right
    expected = 0.4 * np.exp(-0.5 * ((right + 4.0) / 3.5) ** 2)
    np.testing.assert_allclose(shift[own], np.outer(expected, HEAD.forward), rtol=0, atol=1e-12)


def test_the_bumps_of_a_row_add_up_to_nearly_the_same_everywhere() -> None:
    right = np.linspace(-18.0, 18.0, 200)
    total = np.exp(-0.5 * ((right[:, None] - CENTRES_MM) / 3.5) ** 2).sum(1)
    heights = np.repeat([0.0, 1.0, 0.0], [7, 6, 1])
    own = row(LOWER)
    at = (HEAD.points_mm[own] - HEAD.centre_mm) @ HEAD.right
    moved = (MOVES.displaced(HEAD.points_mm, heights) - HEAD.points_mm)[own] @ HEAD.forward
    inner = np.abs(at) < 18.0
    np.testing.assert_allclose(moved[inner], np.interp(at[inner], right, total), rtol=0, atol=1e-3)
    # closer than a crown's own place is ever told: 14 % from the highest to the lowest
    assert total.max() / total.min() < 1.2


@pytest.mark.parametrize(("part", "place", "to_gum"), [(UPPER, 6, 1.0), (LOWER, 13, -1.0)])
def test_a_fuller_face_stands_out_from_the_edge_upwards(part: int, place: int, to_gum: float) -> None:
    heights = np.zeros(MOVES.count)
    heights[place] = 0.3
    shift = MOVES.displaced(HEAD.points_mm, heights) - HEAD.points_mm
    own = row(part)
    assert not np.delete(shift, own, axis=0).any()
    from_edge = to_gum * (HEAD.points_mm[own] @ HEAD.up)
    middle = np.abs((HEAD.points_mm[own] - HEAD.centre_mm) @ HEAD.right) < 9.0
    from_edge -= from_edge[middle].min()
    assert from_edge.max() > 8.5
    expected = 0.3 * np.sin(np.pi / 2 * np.clip(from_edge / 8.0, 0.0, 1.0))
    np.testing.assert_allclose(shift[own], np.outer(expected, HEAD.forward), rtol=0, atol=1e-9)


def test_teeth_that_are_not_asked_stay() -> None:
    assert NO_TOOTH_MOVES.count == 0
    points = HEAD.points_mm
    assert NO_TOOTH_MOVES.slopes(HEAD, points, np.ones(4), np.ones(4)).shape == (len(points), 0)
    np.testing.assert_array_equal(NO_TOOTH_MOVES.displaced(HEAD.points_mm, np.zeros(0)), HEAD.points_mm)


def block() -> DepthBlock:
    matrix = frozen([[300.0, 0, 60.0], [0, 300.0, 50.0], [0, 0, 1]])
    grid = Grid.of(Camera(121, 101, matrix, frozen(np.zeros(5))))
    flat, noise = np.full((101, 121), 300.0), assumed_noise(0.4, 1.5)
    return DepthBlock(HEAD, skin_moves(HEAD, 30.0), grid, flat, noise, 0.0, 1.0, teeth=MOVES)


def test_slopes_are_what_moving_a_crown_does() -> None:
    body = block()
    here = np.zeros(COUNT + len(body.extra_precision))
    here[P.SMOOTHING_PX] = 1.5
    slopes = body.predict(here).all_slopes()
    for number in (2, 6, 9, 13):
        place = COUNT + body.skin.count + number
        high, low = here.copy(), here.copy()
        high[place] += 0.2
        low[place] -= 0.2
        used = body.predict(here).used
        change = (body.predict(high).depth_mm - body.predict(low).depth_mm) / 0.4
        # facets FACET_MM wide follow a bump by straight pieces: off by up to FACET_MM^2 / 8 times its
        # curvature, 1 / 3.5^2, at their middles; and a blur of 1.5 px of 1 mm flattens a bump, which slopes
        # leave out
        limit = FACET_MM**2 / 8.0 / 3.5**2 + 1.0 - 3.5 / np.hypot(3.5, 1.5)
        if number in (6, 13):
            # at the incisal edge the blur carries in what stands up to 1.5 mm up the face, at a rise of
            # pi / 2 / 8 mm
            limit = 1.5 * np.pi / 2 / 8.0
        assert np.abs(slopes[place] - change)[used].max() < limit, number
        assert slopes[place][used].sum() == pytest.approx(change[used].sum(), rel=0.05)


def test_the_spread_of_crowns_is_learned_from_their_heights() -> None:
    body = block()
    hair_mm = 1e-6 * np.random.default_rng(0).normal(size=body.measured_mm.shape)
    body = replace(body, measured_mm=body.predict(_at(body, 0.0)).depth_mm + hair_mm)
    precise = np.diag(np.full(COUNT + len(body.extra_precision), 1e-8))
    for height_mm, learned_mm in ((0.0, 0.02), (0.2, 0.2)):
        here = _at(body, height_mm)
        faces = COUNT + body.skin.count + np.array([6, 13])
        here[faces] = 0.9  # says nothing of how far crowns stand apart
        told = body.with_noise_from(body.predict(here), here, precise)
        assert told.tooth_sd_mm == pytest.approx(learned_mm, rel=1e-3)
        first = body.skin.count
        own = told.extra_precision[first : first + MOVES.count]
        np.testing.assert_allclose(np.delete(own, [6, 13]), told.tooth_sd_mm**-2, rtol=1e-12)
        np.testing.assert_allclose(own[[6, 13]], 0.2**-2, rtol=1e-12)


def test_crowns_are_believed_to_stand_within_a_tenth_of_a_millimetre_at_first() -> None:
    body = block()
    first = body.skin.count
    own = body.extra_precision[first : first + MOVES.count]
    np.testing.assert_allclose(np.delete(own, [6, 13]), 0.1**-2, rtol=1e-12)
    assert len(own) == 14 and len(body.extra_precision) == first + 15  # and how boxy the filter is


def test_faces_are_as_sure_as_is_said() -> None:
    sure = tooth_moves(HEAD, 0.05).precision(0.1)
    np.testing.assert_allclose(sure[[6, 13]], 0.05**-2, rtol=1e-12)
    np.testing.assert_allclose(np.delete(sure, [6, 13]), 0.1**-2, rtol=1e-12)
    np.testing.assert_allclose(MOVES.precision(0.1)[[6, 13]], 0.2**-2, rtol=1e-12)


def _at(body: DepthBlock, height_mm: float) -> np.ndarray:
    here = np.zeros(COUNT + len(body.extra_precision))
    here[P.SMOOTHING_PX] = 1.0
    first = COUNT + body.skin.count
    here[first : first + MOVES.count] = height_mm
    return here


def test_what_is_drawn_is_what_is_fitted() -> None:
    """Of a boxy filter too: the sections of a picture come from another call than the fit's."""
    body = block()
    here = _at(body, 0.1)
    here[body.boxy_place] = 0.8
    _, drawn, _ = body.appearance(here)
    fitted = body.predict(here).depth_mm
    np.testing.assert_allclose(drawn, fitted, rtol=0, atol=1e-9)
    here[body.boxy_place] = 0.0
    assert np.nanmax(np.abs(body.appearance(here)[1] - fitted)) > 0.05
