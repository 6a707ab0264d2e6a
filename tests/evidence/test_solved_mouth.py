"""Outlines and the shaded layer of a solved mouth of plane sheets, held against OpenCV's own projection."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from bite.evidence.model.outlines import Rim
from bite.evidence.model.solved_mouth import SolvedMouth, mouth_canvas, solved_mouth
from bite.fit.head import Head
from bite.fit.parameters import COUNT, P
from bite.geometry.camera import Camera
from bite.geometry.teeth import LOWER, OTHER, SKIN, UPPER

FORWARD = np.array([0.0, -0.3, -np.sqrt(1 - 0.09)])
LENS = np.array([0.08, -0.1, 0.001, -0.0008, 0.02])
MATRIX = np.array([[1400.0, 0, 402.3], [0, 1410.0, 506.7], [0, 0, 1]])
# part, left, right, top, bottom, depth
SHEETS = (
    (SKIN, -40.0, 40.0, -40.0, -6.0, 290.0),
    (SKIN, -40.0, 40.0, 9.0, 40.0, 290.0),
    (UPPER, -17.0, 17.0, -8.0, 2.0, 300.0),
    (LOWER, -13.0, 13.0, -2.0, 6.0, 303.0),
    (OTHER, -15.0, 15.0, 5.0, 14.0, 304.0),
)


def head() -> Head:
    points, faces, parts = [], [], []
    for part, left, right, top, bottom, z in SHEETS:
        first = len(points)
        # small triangles, since long edges through a lens are bowed
        x, y = np.meshgrid(np.linspace(left, right, 30), np.linspace(top, bottom, 12))
        points += np.column_stack([x.ravel(), y.ravel(), np.full(x.size, z)]).tolist()
        for row in range(11):
            for column in range(29):
                a = first + row * 30 + column
                # one of the two is wound the other way round
                faces += [[a, a + 1, a + 30], [a + 1, a + 30, a + 31]]
                parts += [part, part]
    points_mm, face_part = np.array(points), np.array(parts, dtype=np.int8)
    with_teeth = np.zeros(len(points_mm), dtype=bool)
    with_teeth[np.unique(np.array(faces)[face_part != SKIN])] = True
    up = np.array([0.0, -FORWARD[2], FORWARD[1]]) * -1.0
    return Head(
        points_mm, np.array(faces, dtype=np.int32), face_part, with_teeth, FORWARD, np.array([1.0, 0, 0]), up,
        np.array([0.0, 0.0, 300.0]), {}, {},
    )  # fmt: skip


def look(distortion: np.ndarray, moved_mm: float = 0.0) -> SolvedMouth:
    camera = Camera(800, 1000, MATRIX, distortion)
    parameters = np.zeros(COUNT)
    canvas = mouth_canvas(camera, head(), parameters)
    assert canvas is not None
    parameters[P.FORWARD_MM] = moved_mm
    return solved_mouth(canvas, head(), parameters)


def edge_row(distortion: np.ndarray, points_mm: np.ndarray, at_x: np.ndarray) -> np.ndarray:
    pixels = cv2.projectPoints(points_mm, np.zeros(3), np.zeros(3), MATRIX, distortion)[0][:, 0]
    return np.interp(at_x, pixels[:, 0], pixels[:, 1])


@pytest.mark.parametrize("distortion", [np.zeros(5), LENS], ids=["no lens", "lens"])
@pytest.mark.parametrize("moved_mm", [0.0, 3.0])
def test_the_upper_edge_lies_where_it_is_projected_before_and_after(
    distortion: np.ndarray, moved_mm: float
) -> None:
    [line] = look(distortion, moved_mm).lines(Rim.UPPER)
    edge = np.column_stack([np.linspace(-17, 17, 200), np.full(200, 2.0), np.full(200, 300.0)])
    middle = line[np.abs(line[:, 0] - MATRIX[0, 2]) < 60]
    middle = middle[middle[:, 1] > np.median(middle[:, 1]) - 3]
    expected = edge_row(distortion, edge + moved_mm * FORWARD, middle[:, 0])
    # a quarter of a fine pixel, of which two make one, and the width of the smoothing at straight lines
    assert np.abs(middle[:, 1] - expected).max() < 0.2
    assert len(middle) > 100


def test_the_lips_edge_stays_when_the_teeth_move() -> None:
    before, after = (look(LENS, moved).lines(Rim.LIP) for moved in (0.0, 3.0))
    lip = np.column_stack([np.linspace(-40, 40, 300), np.full(300, -6.0), np.full(300, 290.0)])
    for [line] in (before, after):
        middle = line[np.abs(line[:, 0] - MATRIX[0, 2]) < 60]
        assert np.abs(middle[:, 1] - edge_row(LENS, lip, middle[:, 0])).max() < 0.2


def test_the_gum_line_is_where_teeth_end_at_gums_and_the_lower_row_is_cut_by_the_upper() -> None:
    seen = look(np.zeros(5))
    [gum] = seen.lines(Rim.GUM)
    edge = np.column_stack([np.linspace(-13, 13, 200), np.full(200, 6.0), np.full(200, 303.0)])
    middle = gum[np.abs(gum[:, 0] - MATRIX[0, 2]) < 40]
    assert np.abs(middle[:, 1] - edge_row(np.zeros(5), edge, middle[:, 0])).max() < 0.2
    upper_edge_px = MATRIX[1, 2] + 1410.0 * 2.0 / 300.0
    lower = np.concatenate(seen.lines(Rim.LOWER))
    assert lower[:, 1].min() > upper_edge_px - 1.0, "what the upper row hides of the lower has no outline"


def test_teeth_that_come_forward_are_lighter_and_lie_over_the_photograph_in_their_pixels_only() -> None:
    before, after = look(LENS), look(LENS, 5.0)
    middle = (
        round(MATRIX[1, 2]) - before.window.top - 5,
        round(MATRIX[0, 2]) - before.window.left,
    )
    assert int(after.shaded[middle][0]) > int(before.shaded[middle][0]) + 5
    photograph = np.full((1000, 800, 3), 7, dtype=np.uint8)
    teeth = before.laid_over(photograph, teeth_only=True)
    assert (photograph == 7).all(), "the photograph itself is left alone"
    changed = (teeth != 7).any(-1)
    rows, columns = np.flatnonzero(changed.any(1)), np.flatnonzero(changed.any(0))
    assert abs(rows[0] - (MATRIX[1, 2] - 1410 * 6.0 / 290)) < 2 and abs(columns[-1] - 481.5) < 2.5
    assert (before.laid_over(photograph) != 7).any(-1).sum() > changed.sum()


def test_there_is_no_canvas_behind_the_camera_or_out_of_the_picture() -> None:
    camera = Camera(800, 1000, MATRIX, np.zeros(5))
    for shift in ([0.0, 0, -400], [500.0, 0, 0]):
        parameters = np.zeros(COUNT)
        parameters[:3] = shift
        assert mouth_canvas(camera, head(), parameters) is None
