"""A whole frame: read as written, and each contradiction between its files refused in one line."""

from __future__ import annotations

import contextlib
import gc
import hashlib
import os
import weakref
from pathlib import Path

import cv2
import numpy as np
import pytest

from bite.errors import InputError
from bite.files.bundle import load_frame
from bite.files.camera import read_camera
from bite.files.corners import read_corners
from bite.files.device import Device
from bite.files.image import read_image
from bite.geometry.teeth import Part
from tests.files.scene import CAMERA, PROFILE, write_frame

ENTIRE_DEPTH = '[depth]\nmap = "front.depth.png"\nunit_mm = 0.1\nview = "front"\n'
STL = (
    "solid a\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 0\nvertex 0 1 0\n"
    "endloop\nendfacet\nendsolid a\n"
)


def change(path: Path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def test_hashes_are_of_the_bytes_that_were_parsed(frame: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    clicks = frame.parent / "front.corners.json"
    parsed = clicks.read_bytes()

    def read_then_overwritten(path: Path) -> object:
        corners = read_corners(path)
        path.write_bytes(parsed.replace(b"32.4", b"35.4"))
        return corners

    monkeypatch.setattr("bite.files.bundle.read_corners", read_then_overwritten)
    loaded = load_frame(frame)
    assert loaded.views[0].corners is not None and loaded.views[0].corners.points["11d"].x_px == 32.4
    assert loaded.hashes["front.corners.json"] == f"sha256:{hashlib.sha256(parsed).hexdigest()}"


def test_a_file_that_changes_between_two_readings_is_refused(
    frame: Path, monkeypatch: pytest.MonkeyPatch, refuses
) -> None:
    camera = frame.parent / "front.camera.yaml"
    text = frame.read_text("utf-8").replace('view = "front"\n', 'camera = "front.camera.yaml"\n')
    frame.write_text(text, "utf-8")

    def read_then_overwritten(path: Path) -> object:
        found = read_camera(path)
        camera.write_text(CAMERA.replace("100.", "120."), "utf-8")
        return found

    monkeypatch.setattr("bite.files.bundle.read_camera", read_then_overwritten)
    assert "changed between two readings" in refuses(lambda: load_frame(frame))


def test_reads_every_file_of_a_frame(frame: Path) -> None:
    loaded = load_frame(frame)
    assert loaded.name == "tern-a07"
    assert loaded.views[0].image.shape == (64, 80, 3)
    assert loaded.views[0].image.dtype == np.uint8
    bgr = cv2.imread(str(frame.parent / "front.png"))
    assert np.array_equal(loaded.views[0].image, bgr[:, :, ::-1])
    assert loaded.depth_map is not None and loaded.depth_view == "front"
    assert loaded.depth_camera is loaded.views[0].camera
    assert np.isnan(loaded.depth_map.depth_mm[0, :5]).all()
    assert loaded.depth_map.depth_mm[1, 1] == pytest.approx(300.0)
    assert loaded.depth_map.step_mm == pytest.approx(0.1)
    assert loaded.rest_mesh is not None and loaded.solved_mesh is not None and loaded.rig is not None
    moved = loaded.solved_mesh.vertices_mm - loaded.rest_mesh.vertices_mm
    assert np.allclose(moved, [0.0, 0.0, 0.5])  # 0.05 cm
    assert set(loaded.rig.parts) == set(Part)
    assert loaded.device.smoothing_px == 3.0
    assert loaded.device.source == "bench-depth.device.toml"


@pytest.mark.parametrize(
    ("gone", "told"),
    [
        (("front.png", "front.depth.png", "rig/rest.obj"), "front.png"),
        (("front.depth.png", "rig/rest.obj", "solved.obj"), "front.depth.png"),
        (("rig/rest.obj", "solved.obj"), "rest.obj"),
    ],
)
def test_of_several_bad_files_the_same_is_told_first(frame: Path, gone, told) -> None:
    """Meshes are read while the picture is decoded, and must not be told before it."""
    for name in gone:
        (frame.parent / name).unlink()
    for _ in range(5):
        with pytest.raises(InputError, match="no such file") as refused:
            load_frame(frame)
        assert Path(refused.value.file).name == told


def test_a_refused_frame_does_not_keep_its_pictures(frame: Path, monkeypatch) -> None:
    """In a batch of bad frames they would pile up until the collector comes, which is seldom."""
    import bite.files.bundle as bundle

    pictures = []

    def watched(path: Path, **asked: object) -> np.ndarray:
        picture = read_image(path, **asked)
        pictures.append(weakref.ref(picture))
        return picture

    monkeypatch.setattr(bundle, "read_image", watched)
    (frame.parent / "solved.obj").unlink()
    gc.disable()
    try:
        with contextlib.suppress(InputError):
            load_frame(frame)
        assert len(pictures) == 1
        assert pictures[0]() is None
    finally:
        gc.enable()


def test_hashes_name_inputs_as_the_frame_does(frame: Path) -> None:
    hashes = load_frame(frame).hashes
    assert set(hashes) == {
        "tern-a07.bite.toml",
        "front.png",
        "front.camera.yaml",
        "front.corners.json",
        "front.depth.png",
        "solved.obj",
        "rig/rig.toml",
        "rig/rest.obj",
        "bench-depth.device.toml",
    }
    assert (
        hashes["front.png"]
        == "sha256:" + hashlib.sha256((frame.parent / "front.png").read_bytes()).hexdigest()
    )


def test_hash_keys_do_not_depend_on_the_working_folder(
    frame: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    absolute = load_frame(frame).hashes
    monkeypatch.chdir(tmp_path)
    assert load_frame(frame.name).hashes == absolute


def test_rig_above_the_frame(tmp_path: Path) -> None:
    frame = write_frame(tmp_path / "a")
    os.rename(tmp_path / "a" / "rig", tmp_path / "rig")
    change(frame, "rig/rig.toml", "../rig/rig.toml")
    hashes = load_frame(frame).hashes
    assert "../rig/rig.toml" in hashes and "../rig/rest.obj" in hashes


def test_capture_only_frame(frame: Path) -> None:
    text = frame.read_text()
    frame.write_text(text[: text.index("[depth]")].replace('corners = "front.corners.json"\n', ""))
    loaded = load_frame(frame)
    assert loaded.depth_map is None and loaded.solved_mesh is None and loaded.views[0].corners is None


def test_profile_frame(frame: Path) -> None:
    text = frame.read_text()
    frame.write_text(text[: text.index("[depth]")] + '[depth]\nprofile = "midline.csv"\n')
    loaded = load_frame(frame)
    assert loaded.profile is not None and loaded.depth_map is None
    assert "midline.csv" in loaded.hashes


def test_cast_devices_serve_where_the_frame_has_no_file(frame: Path) -> None:
    (frame.parent / "bench-depth.device.toml").unlink()
    assert load_frame(frame).device == Device("bench-depth", "none")
    known = Device("bench-depth", "birds.cast.toml", noise_mm=0.3)
    assert load_frame(frame, devices={"bench-depth": known}).device is known


def test_stereo_frame(frame: Path) -> None:
    moved = CAMERA + (
        "rotation: !!opencv-matrix\n   rows: 3\n   cols: 3\n   dt: d\n   data: [ 1,0,0, 0,1,0, 0,0,1 ]\n"
        "translation_mm: !!opencv-matrix\n   rows: 3\n   cols: 1\n   dt: d\n   data: [ -60., 0., 0. ]\n"
    )
    (frame.parent / "side.yaml").write_text(moved)
    change(
        frame,
        ENTIRE_DEPTH,
        '[[view]]\nname = "side"\nimage = "front.png"\ncamera = "side.yaml"\n\n[depth]\n'
        'stereo = ["front", "side"]\n',
    )
    loaded = load_frame(frame)
    assert loaded.views[1].camera.centre_mm == pytest.approx([60.0, 0.0, 0.0])


def test_names_beyond_ascii(tmp_path: Path) -> None:
    frame = write_frame(tmp_path / "Zähne 歯")
    os.rename(frame.parent / "front.png", frame.parent / "vörn 歯.png")
    change(frame, '"front.png"', '"vörn 歯.png"')
    change(frame.parent / "front.corners.json", "front.png", "vörn 歯.png")
    os.rename(frame.parent / "front.depth.png", frame.parent / "tiefe°.png")
    change(frame, "front.depth.png", "tiefe°.png")
    assert "vörn 歯.png" in load_frame(frame).hashes


@pytest.mark.parametrize(
    "name",
    [
        "tern-a07.bite.toml",
        "rig/rig.toml",
        "front.camera.yaml",
        "front.corners.json",
        "solved.obj",
        "bench-depth.device.toml",
    ],
)
def test_crlf_and_byte_order_marks_change_nothing(frame: Path, name: str) -> None:
    path = frame.parent / name
    before = load_frame(frame)
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes().replace(b"\n", b"\r\n"))
    after = load_frame(frame)
    assert np.array_equal(after.solved_mesh.vertices_mm, before.solved_mesh.vertices_mm)
    assert after.rig.parts == before.rig.parts and after.rig.dial == before.rig.dial
    assert after.views[0].corners == before.views[0].corners
    assert after.device == before.device


BAD = {
    "picture differs from camera": (
        "front.camera.yaml",
        "image_width: 80",
        "image_width: 81",
        "front.png 80 x 64, front.camera.yaml 81 x 64",
    ),
    "corners differ from picture": (
        "front.corners.json",
        '"width": 80',
        '"width": 82',
        "front.corners.json 82 x 64",
    ),
    "clicked elsewhere": ("front.corners.json", "front.png", "side.png", "'side.png'"),
    "picture missing": ("tern-a07.bite.toml", "front.png", "gone.png", "no such file"),
    "picture is a folder": ("tern-a07.bite.toml", '"front.png"', '"rig"', "is a folder"),
    "picture is the frame itself": (
        "tern-a07.bite.toml",
        '"front.png"',
        '"tern-a07.bite.toml"',
        "needed a PNG",
    ),
    "web address": ("tern-a07.bite.toml", '"front.png"', '"https://a.example/front.png"', "address"),
    "backslashes": ("tern-a07.bite.toml", '"front.png"', "'C:\\shots\\front.png'", "one computer only"),
    "nul in a path": ("tern-a07.bite.toml", '"front.png"', '"a\\u0000.png"', "control characters"),
    "home shortcut": ("tern-a07.bite.toml", '"front.png"', '"~/front.png"', "one computer only"),
    "empty path": ("tern-a07.bite.toml", '"front.png"', '" "', "empty path"),
    "part does not exist": ("rig/rig.toml", '"teeth_up"', '"teeth_upp"', "did you mean 'teeth_up'"),
    "part without faces": ("rig/rig.toml", "[8, 11]", "[8, 9]", "holds no face"),
    "parts overlap": ("rig/rig.toml", "[8, 11]", "[4, 11]", "also in upper"),
    "range out of the mesh": ("rig/rig.toml", "[8, 11]", "[8, 99]", "has 16 (0 to 15)"),
    "corner out of the mesh": ("rig/rig.toml", "11d = 4", "11d = 400", "has 16 (0 to 15)"),
    "landmark out of the mesh": ("rig/rig.toml", "subnasale = 0", "subnasale = 16", "has 16 (0 to 15)"),
    "another vertex count": (
        "solved.obj",
        "v 0 0 30",
        "v 5 5 5\nv 0 0 30",
        "17 vertices, but the rest export",
    ),
    "dial beyond the limit": ("tern-a07.bite.toml", "dial = 0.0", "dial = 1.5", "beyond the rig's limit 1"),
    "no device table": ("bench-depth.device.toml", "bench-depth", "bench-deep", "did you mean 'bench-deep'"),
    "too few landmarks for a pose": ("tern-a07.bite.toml", 'axes = "opencv"', 'pose = "landmarks"', "got 1"),
    "depth in another unit": ("tern-a07.bite.toml", "unit_mm = 0.1", "unit_mm = 100.0", "median distance"),
}


@pytest.mark.parametrize("case", BAD)
def test_contradiction_is_refused(frame: Path, refuses, case: str) -> None:
    name, old, new, expected = BAD[case]
    change(frame.parent / name, old, new)
    assert expected in refuses(lambda: load_frame(frame))


def test_depth_map_of_another_size_asks_for_its_camera(frame: Path, refuses) -> None:
    small = np.full((32, 40), 3000, np.uint16)
    (frame.parent / "front.depth.png").write_bytes(cv2.imencode(".png", small)[1].tobytes())
    message = refuses(lambda: load_frame(frame))
    assert "40 x 32" in message and "80 x 64" in message and "write camera" in message


def test_two_views_in_one_place_are_refused(frame: Path, refuses) -> None:
    view = '[[view]]\nname = "side"\nimage = "front.png"\ncamera = "front.camera.yaml"\n\n[depth]'
    change(frame, "[depth]", view)
    assert "stands where the reference view" in refuses(lambda: load_frame(frame))


def test_moved_reference_is_refused(frame: Path, refuses) -> None:
    with (frame.parent / "front.camera.yaml").open("a") as file:
        file.write(
            "rotation: !!opencv-matrix\n   rows: 3\n   cols: 3\n   dt: d\n   data: [1,0,0,0,1,0,0,0,1]\n"
        )
        file.write("translation_mm: !!opencv-matrix\n   rows: 3\n   cols: 1\n   dt: d\n   data: [5,0,0]\n")
    assert "first view is the reference" in refuses(lambda: load_frame(frame))


def test_stl_is_refused_as_rest_export(frame: Path, refuses) -> None:
    (frame.parent / "rig" / "rest.stl").write_text(STL)
    change(frame.parent / "rig" / "rig.toml", "rest.obj", "rest.stl")
    assert "no stable vertex numbers" in refuses(lambda: load_frame(frame))


def test_linked_circle_is_refused(frame: Path, refuses) -> None:
    (frame.parent / "front.png").unlink()
    os.symlink("other.png", frame.parent / "front.png")
    os.symlink("front.png", frame.parent / "other.png")
    assert "cannot be read" in refuses(lambda: load_frame(frame))


@pytest.mark.parametrize(
    "name",
    [
        "front.png",
        "front.camera.yaml",
        "front.corners.json",
        "front.depth.png",
        "solved.obj",
        "rig/rig.toml",
        "rig/rest.obj",
        "tern-a07.bite.toml",
    ],
)
def test_empty_and_missing_files_are_refused(frame: Path, refuses, name: str) -> None:
    path = frame.parent / name
    path.write_bytes(b"")
    assert "is empty" in refuses(lambda: load_frame(frame))
    path.unlink()
    assert "no such file" in refuses(lambda: load_frame(frame))


def test_profile_and_map_together_are_refused(frame: Path, refuses) -> None:
    assert PROFILE.startswith("along_mm")
    change(frame, "unit_mm = 0.1", 'unit_mm = 0.1\nprofile = "midline.csv"')
    assert "got map and profile" in refuses(lambda: load_frame(frame))
