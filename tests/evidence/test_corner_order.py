from pathlib import Path

import numpy as np
import pytest

from bite.evidence.clicks.corner_order import CornerFault, PictureAxes, corner_problems
from bite.files.corners import CornerPoint, Corners, CornerState, LandmarkPoint
from bite.geometry.rigid import frozen
from bite.geometry.teeth import mirrored

CENTRE = np.array([400.0, 500.0])
PLACES = {
    "11d": (-34.0, 0.0),
    "11m": (-2.0, -2.0),
    "21m": (2.0, -2.0),
    "21d": (34.0, 0.0),
    "41d": (-21.0, 10.0),
    "41m": (-1.5, 9.0),
    "31m": (1.5, 9.0),
    "31d": (21.0, 10.0),
}
UPPER_ONLY = {code: place for code, place in PLACES.items() if code[0] in "12"}
FLIP = np.diag([-1.0, 1.0])


def turned(degrees):
    c, s = np.cos(np.deg2rad(degrees)), np.sin(np.deg2rad(degrees))
    return np.array([[c, -s], [s, c]])


def clicks(places=PLACES, change=None, landmarks=(), state=CornerState.SEEN):
    change = np.eye(2) if change is None else change
    points = {}
    for code, place in places.items():
        x, y = CENTRE + change @ np.array(place)
        points[code] = CornerPoint(state if code[0] in "34" else CornerState.SEEN, float(x), float(y))
    marks = {}
    for name, place in landmarks:
        x, y = CENTRE + change @ np.array(place)
        marks[name] = LandmarkPoint(float(x), float(y))
    return Corners(Path("front.corners.json"), "front.png", 800, 1000, points, marks)


def faults(corners, **more):
    return [problem.fault for problem in corner_problems(corners, **more)]


def axes(change):
    return PictureAxes(frozen(change @ [1.0, 0.0]), frozen(change @ [0.0, 1.0]))


@pytest.mark.parametrize("degrees", [0, 30, 90, 180, -120])
def test_right_order_is_right_however_the_picture_is_turned(degrees):
    assert faults(clicks(change=turned(degrees))) == []
    assert faults(clicks(change=turned(degrees)), axes=axes(turned(degrees))) == []


@pytest.mark.parametrize("degrees", [0, 30, 90, 180, -120])
def test_mirrored_picture_is_found_however_it_is_turned(degrees):
    assert faults(clicks(change=turned(degrees) @ FLIP)) == [CornerFault.MIRRORED]


@pytest.mark.parametrize("row", ["12", "34"])
@pytest.mark.parametrize("degrees", [0, 90])
def test_sides_swapped_in_one_row(row, degrees):
    swapped = {mirrored(c) if c[0] in row else c: place for c, place in PLACES.items()}
    found = corner_problems(clicks(swapped, change=turned(degrees)), axes=axes(turned(degrees)))
    assert [problem.fault for problem in found] == [CornerFault.SIDES]
    assert all(code[0] in row for code in found[0].corners)


@pytest.mark.parametrize("degrees", [0, 90, 180])
def test_rows_swapped(degrees):
    other = {"1": "4", "4": "1", "2": "3", "3": "2"}
    swapped = {other[code[0]] + code[1:]: place for code, place in PLACES.items()}
    assert faults(clicks(swapped, change=turned(degrees))) == [CornerFault.ROWS]


def test_upper_row_alone_is_judged_by_the_picture_only_where_it_lies_level():
    assert faults(clicks(UPPER_ONLY, change=FLIP)) == [CornerFault.MIRRORED]
    assert faults(clicks(UPPER_ONLY, change=turned(60) @ FLIP)) == []


def test_landmarks_tell_what_is_up_in_a_turned_picture():
    above = (("subnasale", (0.0, -90.0)),)
    assert faults(clicks(UPPER_ONLY, turned(180), above)) == []
    assert faults(clicks(UPPER_ONLY, turned(180) @ FLIP, above)) == [CornerFault.MIRRORED]


def test_covered_points_on_the_upper_edge_say_nothing_of_up_and_down():
    level = {code: (x, -1.0 if code[0] in "34" else y) for code, (x, y) in PLACES.items()}
    assert faults(clicks(level, state=CornerState.COVERED)) == []


def test_a_reverse_bite_is_no_swap():
    reverse = {code: (x, y - 30.0 if code[0] in "34" else y) for code, (x, y) in PLACES.items()}
    assert CornerFault.ROWS not in faults(clicks(reverse), axes=axes(np.eye(2)))


def test_nothing_clicked_is_no_problem():
    assert corner_problems(clicks({})) == ()


def test_a_reverse_bite_of_an_upright_picture_is_no_mirrored_one():
    """The lower edges are seen a little above the upper ones, 11 on the left as ever."""
    reverse = {code: (x, y - 15.0 if code[0] in "34" else y) for code, (x, y) in PLACES.items()}
    assert not faults(clicks(reverse))
    deeper = {code: (x, y - 30.0 if code[0] in "34" else y) for code, (x, y) in PLACES.items()}
    assert CornerFault.MIRRORED in faults(clicks(deeper))  # as it looks in a mirrored picture upside down
