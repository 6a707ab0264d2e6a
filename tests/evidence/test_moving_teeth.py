"""Renderings of a head whose teeth move, held against renderings of all its faces at once."""

from __future__ import annotations

import numpy as np
import pytest

from bite.evidence.model.moving_teeth import hidden_faces, render_moving
from bite.fit.parameters import COUNT, P
from bite.geometry.camera import Camera
from bite.geometry.render import Grid, Scene, Window
from tests.evidence.test_solved_mouth import LENS, MATRIX, head


def grid(distortion: np.ndarray) -> Grid:
    return Grid.of(Camera(800, 1000, MATRIX, distortion), Window(300, 400, 220, 180))


@pytest.mark.parametrize("distortion", [np.zeros(5), LENS], ids=["no lens", "lens"])
def test_each_place_is_rendered_as_if_it_were_alone(distortion: np.ndarray) -> None:
    at, model = grid(distortion), head()
    places = []
    # the last one turns the head, so that the skin of the first does not serve
    for forward_mm, turn in ((0.0, 0.0), (4.0, 0.0), (-6.0, 0.0), (1.0, 0.05)):
        parameters = np.zeros(COUNT)
        parameters[P.FORWARD_MM], parameters[3] = forward_mm, turn
        places.append(model.placed(parameters))
    for points, seen in zip(places, render_moving(at, model, places), strict=True):
        alone = Scene.of(at, points, model.faces).at_centres()
        np.testing.assert_array_equal(seen.depth_mm, alone.depth_mm)
        np.testing.assert_array_equal(seen.face, alone.face)


def test_faces_behind_a_surface_are_told_and_none_that_any_pixel_sees() -> None:
    at, model = grid(LENS), head()
    scene = Scene.of(at, model.points_mm, model.faces)
    seen = scene.at_centres()
    hidden = hidden_faces(scene, seen.depth_mm)
    assert not hidden[np.unique(seen.face[seen.face >= 0])].any()
    inside = (scene.low_px > 2.0).all(0) & (scene.high_px < [[217.0], [177.0]]).all(0)
    assert 50 < (hidden & inside).sum() < inside.sum(), "gums and lower teeth behind others are told"
    nothing = np.full_like(seen.depth_mm, np.nan)
    assert not hidden_faces(scene, nothing)[inside].any()


def test_a_surface_with_one_hole_hides_what_does_not_reach_it() -> None:
    at = grid(np.zeros(5))
    across = np.linspace(-60.0, 60.0, 25)
    x, y = (axis.ravel() for axis in np.meshgrid(across, across))
    points = np.column_stack([x, y, np.full(x.size, 320.0)])
    first = (np.arange(24)[:, None] * 25 + np.arange(24)).ravel()
    faces = np.column_stack([first, first + 1, first + 25])
    scene = Scene.of(at, points, faces)
    before = np.full((180, 220), 300.0)
    before[90, 110] = np.nan
    kept = np.flatnonzero(~hidden_faces(scene, before))
    holds = (scene.low_px <= [[110.0], [90.0]]).all(0) & (scene.high_px >= [[110.0], [90.0]]).all(0)
    assert set(np.flatnonzero(holds)) <= set(kept)
    assert 1 <= len(kept) <= 9
