"""Camera files: OpenCV writes them, OpenCV reads ours, and each fault is refused."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from bite.files.camera import read_camera, write_camera
from bite.geometry.camera import Camera
from bite.geometry.rigid import Rigid, frozen, rotation_from_vector
from tests.files.scene import CAMERA

PLACED = (
    "rotation: !!opencv-matrix\n   rows: 3\n   cols: 3\n   dt: d\n   data: [ 1,0,0, 0,1,0, 0,0,1 ]\n"
    "translation_mm: !!opencv-matrix\n   rows: 3\n   cols: 1\n   dt: d\n   data: [ -60., 0., 0. ]\n"
)
MATRIX = np.array([[1412.25, 0, 540.1], [0, 1410.5, 719.7], [0, 0, 1]])


def some_camera(terms: int = 14) -> Camera:
    distortion = np.array([-0.1, 0.02, 1e-4, -2e-4, 1e-3, 0.01, 0.002, 1e-4, 1e-5, 0, 2e-5, 0, 0.01, -0.02])
    placed = Rigid(frozen(rotation_from_vector(np.array([0.1, -0.3, 0.02]))), frozen([-60.5, 1.25, 1e-7]))
    return Camera(1080, 1440, frozen(MATRIX), frozen(distortion[:terms]), placed)


@pytest.mark.parametrize("terms", [4, 5, 8, 12, 14])
@pytest.mark.parametrize("name", ["c.yaml", "c.json"])
def test_round_trip_keeps_every_digit(tmp_path: Path, name: str, terms: int) -> None:
    camera = some_camera(terms)
    write_camera(tmp_path / name, camera)
    again = read_camera(tmp_path / name)
    assert (again.width_px, again.height_px) == (1080, 1440)
    assert np.array_equal(again.matrix, camera.matrix) and np.array_equal(again.distortion, camera.distortion)
    placed = again.camera_from_reference
    assert np.array_equal(placed.translation_mm, camera.camera_from_reference.translation_mm)
    # the rotation is made orthonormal again on reading: float error
    assert np.allclose(placed.rotation, camera.camera_from_reference.rotation, atol=1e-15)


@pytest.mark.parametrize("name", ["c.yaml", "c.json"])
def test_opencv_reads_what_is_written(tmp_path: Path, name: str) -> None:
    camera = some_camera()
    write_camera(tmp_path / name, camera)
    storage = cv2.FileStorage(str(tmp_path / name), cv2.FILE_STORAGE_READ)
    assert storage.getNode("image_width").real() == 1080
    assert np.array_equal(storage.getNode("camera_matrix").mat(), camera.matrix)
    assert np.array_equal(storage.getNode("distortion_coefficients").mat().ravel(), camera.distortion)
    assert storage.getNode("translation_mm").mat().shape == (3, 1)


@pytest.mark.parametrize("name", ["c.yaml", "c.yml", "c.json"])
def test_reads_what_opencv_writes(tmp_path: Path, name: str) -> None:
    storage = cv2.FileStorage(str(tmp_path / name), cv2.FILE_STORAGE_WRITE)
    storage.write("calibration_time", "Sat 31 Jan: 10:02 # first")
    storage.write("image_width", 1080)
    storage.write("image_height", 1440)
    storage.write("camera_matrix", MATRIX)
    storage.write("distortion_coefficients", np.array([[-0.1], [1e-7], [0], [0], [0]]))
    storage.write("avg_reprojection_error", 0.25)
    storage.write("rotation", np.eye(3, dtype=np.float32))
    storage.write("translation_mm", np.array([[1.5], [0], [-2]]))
    storage.release()
    camera = read_camera(tmp_path / name)
    assert np.array_equal(camera.matrix, MATRIX) and camera.distortion[1] == 1e-7
    assert np.array_equal(camera.camera_from_reference.translation_mm, [1.5, 0, -2])


def test_reads_plain_lists_in_json(tmp_path: Path) -> None:
    path = tmp_path / "c.json"
    path.write_text(
        '{"image_width": 80, "image_height": 64, "camera_matrix": [[100,0,39.5],[0,100,31.5],[0,0,1]],'
        ' "distortion_coefficients": [0, 0, 0, 0, 0]}'
    )
    assert read_camera(path).focal_px == 100


BAD = {
    "no size": ("image_width: 80\n", "", "image_width: missing"),
    "zero size": ("image_width: 80", "image_width: 0", "needed 1 to"),
    "negative size": ("image_width: 80", "image_width: -80", "needed 1 to"),
    "half a pixel": ("image_width: 80", "image_width: 80.5", "whole number"),
    "infinite size": ("image_width: 80", "image_width: .inf", "needed 1 to"),
    "nan size": ("image_width: 80", "image_width: .nan", "whole number"),
    "size as text": ("image_width: 80", "image_width: wide", "whole number"),
    "negative focal": ("[ 100.,", "[ -100.,", "needed both positive"),
    "nan focal": ("[ 100.,", "[ .Nan,", "not finite"),
    "lower row": ("0., 0., 1. ]", "0., 0., 2. ]", "[0, 0, 1]"),
    "2x2 matrix": ("   rows: 3\n   cols: 3", "   rows: 2\n   cols: 2", "2 rows of 2, but 9 values"),
    "negative rows": ("rows: 3", "rows: -3", "whole positive"),
    "huge rows": ("rows: 3", "rows: 99999999999", "whole positive"),
    "no distortion": (CAMERA[CAMERA.index("distortion") :], "", "distortion_coefficients: missing"),
    "six lens terms": ("0.01, -0.02, 0., 0., 0.", "0.01, -0.02, 0., 0., 0., 0.", "but 6 values"),
    "three lens terms": (
        "cols: 5\n   dt: d\n   data: [ 0.01, -0.02, 0., 0., 0. ]",
        "cols: 3\n   data: [ 0, 0, 0 ]",
        "got 3 values",
    ),
    "word for a number": ("-0.02,", "minus,", "'minus'"),
    "unfinished data": ("0., 0., 0. ]", "0., 0., 0. ", "not a whole matrix"),
    "fold in the picture": ("0.01, -0.02, 0.", "-2.0, 0.0, 0.", "folds back"),
    "absurd lens": ("0.01, -0.02, 0.", "1e300, 1e300, 0.", "distortion_coefficients"),
    "misspelt key": ("camera_matrix", "camera_matix", "did you mean 'camera_matrix'?"),
    "stranger": ("image_width: 80", "image_width: 80\nlens: wide", "unknown key"),
    "translation without unit": (
        "image_width: 80",
        "translation: 1\nimage_width: 80",
        "translation_mm, in mm",
    ),
    "doubled key": ("image_width: 80", "image_width: 80\nimage_width: 81", "twice"),
    "xml": (CAMERA, "<?xml version='1.0'?><opencv_storage/>", "XML"),
    "no keys": (CAMERA, "%YAML:1.0\n---\n", "no KEY: VALUE"),
    "prose": (CAMERA, "this is not a camera", "needed KEY: VALUE"),
    "binary": (CAMERA, "\x00\x01\x02", "needed KEY: VALUE"),
}


@pytest.mark.parametrize("case", BAD)
def test_bad_camera_is_refused(tmp_path: Path, refuses, case: str) -> None:
    old, new, expected = BAD[case]
    assert old in CAMERA
    path = tmp_path / "c.yaml"
    path.write_text(CAMERA.replace(old, new, 1))
    assert expected in refuses(lambda: read_camera(path))


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("[ 1,0,0, 0,1,0, 0,0,1 ]", "[ 1,0,0, 0,1,0, 0,0,-1 ]", "not a rotation"),
        ("[ 1,0,0, 0,1,0, 0,0,1 ]", "[ 1,0.001,0, 0,1,0, 0,0,1 ]", "not a rotation"),
        ("[ 1,0,0, 0,1,0, 0,0,1 ]", "[ .nan,0,0, 0,1,0, 0,0,1 ]", "not finite"),
        (
            "   rows: 3\n   cols: 3\n   dt: d\n   data: [ 1,0,0, 0,1,0, 0,0,1 ]",
            "   rows: 3\n   cols: 1\n   dt: d\n   data: [ 0, 0, 0 ]",
            "needed 3x3",
        ),
        (PLACED[PLACED.index("translation") :], "", "translation_mm: missing"),
        (PLACED[: PLACED.index("translation")], "", "rotation: missing"),
    ],
)
def test_bad_placement_is_refused(tmp_path: Path, refuses, old: str, new: str, expected: str) -> None:
    assert old in PLACED
    path = tmp_path / "c.yaml"
    path.write_text(CAMERA + PLACED.replace(old, new, 1))
    assert expected in refuses(lambda: read_camera(path))


def test_rounded_rotation_is_made_orthonormal(tmp_path: Path) -> None:
    rotation = rotation_from_vector(np.array([0.1, -0.3, 0.02]))
    digits = ", ".join(f"{v:.5f}" for v in rotation.ravel())
    path = tmp_path / "c.yaml"
    path.write_text(CAMERA + PLACED.replace("1,0,0, 0,1,0, 0,0,1", digits))
    read = read_camera(path).camera_from_reference.rotation
    assert np.allclose(read @ read.T, np.eye(3), atol=1e-15)
    assert np.allclose(read, rotation, atol=1e-5)  # five printed digits


def test_json_with_doubled_key_or_nan_is_refused(tmp_path: Path, refuses) -> None:
    path = tmp_path / "c.json"
    path.write_text('{"image_width": 80, "image_width": 81}')
    assert "twice" in refuses(lambda: read_camera(path))
    path.write_text('{"image_width": NaN}')
    assert "NaN" in refuses(lambda: read_camera(path))
    path.write_text('{"image_width": ' + "9" * 400 + "}")
    assert "needed a number" in refuses(lambda: read_camera(path))
