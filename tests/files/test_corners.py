"""Corner files: round trip, and each fault refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from bite.files.corners import CornerPoint, Corners, CornerState, LandmarkPoint, read_corners, write_corners
from tests.files.scene import CORNERS


def test_reads_states_and_positions(tmp_path: Path) -> None:
    path = tmp_path / "c.json"
    path.write_text(CORNERS)
    corners = read_corners(path)
    assert corners.points["11d"] == CornerPoint(CornerState.SEEN, 32.4, 33.9, 0.8)
    assert corners.points["31d"] == CornerPoint(CornerState.COVERED, 45.1, 41.0, None)
    assert corners.points["41d"] == CornerPoint(CornerState.HIDDEN)
    assert corners.landmarks == {"subnasale": LandmarkPoint(40.0, 20.2)}
    assert (corners.image_file, corners.width_px, corners.height_px) == ("front.png", 80, 64)
    assert (corners.annotator, corners.saved) == ("ab", "2026-01-31T10:02:11Z")


def test_round_trip(tmp_path: Path) -> None:
    path = tmp_path / "c.json"
    points = {
        "21d": CornerPoint(CornerState.UNSURE, 1 / 3, 2e-7, 0.1),
        "41m": CornerPoint(CornerState.HIDDEN, 1.0, 2.0),
    }
    marks = {"pogonion": LandmarkPoint(5.5, 6.25, 3.0)}
    corners = Corners(path, "Zähne 歯.png", 80, 64, points, marks, "ö", "2026-01-31T10:02:11Z")
    write_corners(path, corners)
    assert read_corners(path) == corners
    first = path.read_bytes()
    write_corners(path, read_corners(path))
    assert path.read_bytes() == first


def test_writing_refuses_nan_and_keeps_the_old_file(tmp_path: Path) -> None:
    path = tmp_path / "c.json"
    path.write_text(CORNERS)
    bad = Corners(path, "a.png", 80, 64, {"11d": CornerPoint(CornerState.SEEN, float("nan"), 1.0)})
    with pytest.raises(ValueError):
        write_corners(path, bad)
    assert path.read_text() == CORNERS


BAD = {
    "unknown corner": ('"11d"', '"11x"', "unknown corner '11x'"),
    "unknown landmark": ("subnasale", "subnasal", "did you mean 'subnasale'?"),
    "unknown state": ('"seen"', '"sen"', "'seen', 'unsure', 'covered' or 'hidden'"),
    "unknown key": ("sigma_px", "sigma", "did you mean 'sigma_px'?"),
    "no state": (', "state": "covered"', "", "[points.31d] state: missing"),
    "seen without y": (', "y": 33.9', "", "[points.11d] y: missing"),
    "covered without x": ('"x": 45.1, ', "", "[points.31d] x: missing"),
    "doubled corner": ('"31d"', '"11d"', "twice"),
    "nan": ("32.4", "NaN", "NaN"),
    "infinite": ("32.4", "1e999", "finite"),
    "text for a number": ("32.4", '"32.4"', "valid number"),
    "zero sigma": ("0.8", "0", "greater than 0"),
    "far outside": ("32.4", "121.5", "far outside the picture of 80 x 64"),
    "landmark far outside": ("20.2", "-40", "far outside"),
    "negative width": ('"width": 80', '"width": -80', "greater than 0"),
    "no image": ('"image": {"file": "front.png", "width": 80, "height": 64},', "", "image: missing"),
    "wrong format": ("bite-corners 1", "bite-result 1", "got 'bite-result 1' (a result)"),
    "list": (CORNERS, "[1, 2]", "needed an object"),
    "cut short": ('"saved": "2026-01-31T10:02:11Z"}', "", "not JSON"),
    "nested deep": (CORNERS, "[" * 100_000, "c.json"),
    "half a character": ('"ab"', '"\\ud800"', "surrogate"),
    "huge number": ("32.4", "9" * 5000, "c.json"),
}


@pytest.mark.parametrize("case", BAD)
def test_bad_corners_are_refused(tmp_path: Path, refuses, case: str) -> None:
    old, new, expected = BAD[case]
    assert old in CORNERS
    path = tmp_path / "c.json"
    path.write_text(CORNERS.replace(old, new, 1))
    assert expected in refuses(lambda: read_corners(path))


def test_a_point_just_outside_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "c.json"
    path.write_text(CORNERS.replace("32.4", "-20.0"))
    assert read_corners(path).points["11d"].x_px == -20.0
