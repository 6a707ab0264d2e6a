"""The open head is what the tests built on it take it for."""

from __future__ import annotations

import itertools

import cv2
import numpy as np
import pytest

from bite.geometry.bite import OverbiteLabel, OverjetLabel, bite_labels, overjet_overbite
from bite.geometry.camera import Camera
from bite.geometry.render import Grid, render
from bite.geometry.rigid import frozen
from tests.external.open_head import (
    AS_MODELLED,
    BARED,
    CORNERS,
    LANDMARKS,
    MIDLINE_EDGE,
    USUAL_BITE,
    OpenHead,
)

pytestmark = [pytest.mark.network, pytest.mark.slow]
FORWARD, UP = np.array([0.0, 0.0, 1.0]), np.array([0.0, 1.0, 0.0])
FOCAL_PX, DISTANCE_MM = 700.0, 300.0


def shown(head: OpenHead, vertices: np.ndarray) -> dict[str, float]:
    """Give the height of each row that a camera straight ahead sees at the midline, mm."""
    local = (vertices - head.rest_mm[MIDLINE_EDGE["upper"]]) * [1.0, -1.0, -1.0] + [0.0, 0.0, DISTANCE_MM]
    matrix = frozen([[FOCAL_PX, 0, 99.5], [0, FOCAL_PX, 79.5], [0, 0, 1]])
    grid = Grid.of(Camera(200, 160, matrix, frozen(np.zeros(4))))
    parts = list(head.faces)
    found = render(grid, local, np.vstack([head.faces[part] for part in parts])).face[:, 95:105]
    label = np.repeat(np.arange(len(parts)), [len(head.faces[part]) for part in parts])
    part = np.where(found >= 0, label[found], -1)
    return {
        row: float((part == parts.index(row)).sum(0).mean() * DISTANCE_MM / FOCAL_PX)
        for row in ("upper", "lower")
    }


def measured(vertices: np.ndarray) -> tuple[float, float]:
    upper, lower = ([CORNERS[a], CORNERS[b]] for a, b in (("11d", "21d"), ("41d", "31d")))
    return overjet_overbite(vertices[upper], vertices[lower], forward=FORWARD, up=UP)


def test_parts_and_size(open_head) -> None:
    assert {part: len(faces) for part, faces in open_head.faces.items()} == {
        "skin": 26756,
        "upper": 96,
        "lower": 96,
    }
    teeth = [set(open_head.vertices_of(row)) for row in ("upper", "lower")]
    assert not teeth[0] & teeth[1]
    assert not teeth[0] & set(open_head.vertices_of("skin"))
    # the whole figure stands about 1.65 m tall: lengths are in mm
    assert 1500 < np.ptp(open_head.rest_mm[open_head.vertices_of("skin"), 1]) < 1900


def test_baring_moves_lips_and_no_teeth(open_head) -> None:
    moved = np.linalg.norm(open_head.shaped(BARED) - open_head.rest_mm, axis=1)
    assert moved[open_head.vertices_of("skin")].max() > 5.0
    assert moved[open_head.vertices_of("upper")].max() == 0.0
    assert moved[open_head.vertices_of("lower")].max() == 0.0


def test_jaw_forward_moves_the_lower_row_as_one(open_head) -> None:
    moved = open_head.shaped({"jawForward": 1.0}) - open_head.rest_mm
    lower = open_head.vertices_of("lower")
    np.testing.assert_allclose(moved[lower], np.tile([0.0, -1.5, 8.3], (len(lower), 1)), atol=1e-9)
    assert np.abs(moved[open_head.vertices_of("upper")]).max() == 0.0


def test_corners_lie_on_the_edges(open_head) -> None:
    upper, lower = (open_head.vertices_of(row) for row in ("upper", "lower"))
    for name, vertex in CORNERS.items():
        row = upper if name[0] in "12" else lower
        assert vertex in row
        at = open_head.rest_mm[vertex]
        near = open_head.rest_mm[row][np.abs(open_head.rest_mm[row][:, 0] - at[0]) < 4.0]
        assert at[1] == pytest.approx(near[:, 1].min() if row is upper else near[:, 1].max())
        assert (at[0] < 0) == (name[0] in "14")  # x runs to the performer's left
    for a, b in (("11d", "21d"), ("41d", "31d")):
        there, back = open_head.rest_mm[CORNERS[a]], open_head.rest_mm[CORNERS[b]]
        np.testing.assert_allclose(there * [-1, 1, 1], back, atol=1e-6)


def test_landmarks_are_in_their_order(open_head) -> None:
    at = {name: open_head.rest_mm[vertex] for name, vertex in LANDMARKS.items()}
    down = ["pronasale", "subnasale", "labrale_superius", "labrale_inferius", "pogonion"]
    assert all(at[a][1] > at[b][1] for a, b in itertools.pairwise(down))
    assert all(abs(at[name][0]) < 1e-6 for name in down)
    skin = open_head.rest_mm[open_head.vertices_of("skin")]
    head = skin[skin[:, 1] > 600.0]  # the toes reach farther forward than the nose
    assert at["pronasale"][2] == pytest.approx(head[:, 2].max())
    np.testing.assert_allclose(at["cheilion_left"] * [-1, 1, 1], at["cheilion_right"], atol=1e-6)


def test_incisors_stand_behind_subnasale_as_in_people(open_head, reference) -> None:
    # a sculpted head, so only the published range, and half a millimetre for where subnasale is taken
    low, high = reference("facial_distances").value("upper_incisor_behind_subnasale")
    behind = open_head.rest_mm[LANDMARKS["subnasale"], 2] - open_head.rest_mm[MIDLINE_EDGE["upper"], 2]
    assert low - 0.5 < behind < high + 0.5


def test_rows_as_modelled_stand_edge_to_edge_with_an_opening(open_head) -> None:
    overjet, overbite = measured(open_head.shaped(BARED, AS_MODELLED))
    assert overjet == pytest.approx(0.26, abs=0.01)
    assert overbite == pytest.approx(-0.81, abs=0.01)


def test_usual_bite(open_head) -> None:
    overjet, overbite = measured(open_head.shaped(BARED, USUAL_BITE))
    assert overjet == pytest.approx(3.06, abs=0.01)
    assert overbite == pytest.approx(1.99, abs=0.01)
    assert bite_labels(overjet, overbite) == (OverjetLabel.USUAL, OverbiteLabel.USUAL)


def test_teeth_show_only_when_bared(open_head) -> None:
    # one row of pixels is 0.43 mm here
    rest, bared = shown(open_head, open_head.rest_mm), shown(open_head, open_head.shaped(BARED))
    assert rest["upper"] < 0.5
    assert rest["lower"] < 0.5
    assert bared["upper"] == pytest.approx(8.1, abs=0.5)
    assert bared["lower"] == pytest.approx(4.6, abs=0.5)


def test_smiling_covers_the_lower_row(open_head) -> None:
    smile = {"mouthSmileLeft": 0.5, "mouthSmileRight": 0.5}
    half_bared = dict.fromkeys(BARED, 1.0)
    found = shown(open_head, open_head.shaped(half_bared | smile))
    assert found["upper"] > 6.0
    assert found["lower"] < 0.5


def test_the_portrait_is_there(astronaut) -> None:
    picture = cv2.imdecode(np.fromfile(astronaut, np.uint8), cv2.IMREAD_COLOR)
    assert picture.shape == (512, 512, 3)
