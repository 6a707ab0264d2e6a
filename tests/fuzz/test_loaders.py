"""Any bytes, and any damage to a valid file, end in success or in one InputError of one line."""

from __future__ import annotations

import io
import re
import struct
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest
import trimesh
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bite.errors import InputError
from bite.files.camera import read_camera
from bite.files.cast import read_cast
from bite.files.corners import read_corners
from bite.files.depth import read_depth
from bite.files.device import read_device_file
from bite.files.frame import read_frame_file
from bite.files.image import read_image
from bite.files.mesh import read_mesh
from bite.files.profile import read_profile
from bite.files.result import read_result
from bite.files.rig import read_rig
from tests.files.scene import CAMERA, CAST, CORNERS, DEVICE, FRAME, PROFILE, RIG, quads

BOX = trimesh.creation.box()
GREY = np.random.default_rng(5).integers(2000, 4000, (12, 16)).astype(np.uint16)
COLOUR = np.random.default_rng(5).integers(0, 256, (12, 16, 3)).astype(np.uint8)


def npy(array: np.ndarray) -> bytes:
    stream = io.BytesIO()
    np.save(stream, array)
    return stream.getvalue()


def encoded(suffix: str, array: np.ndarray) -> bytes:
    return cv2.imencode(suffix, array)[1].tobytes()


def mesh(path: Path) -> object:
    return read_mesh(path, unit_mm=1.0)


def depth(path: Path) -> object:
    return read_depth(path, unit_mm=0.1)


def inverse(path: Path) -> object:
    return read_depth(path, inverse_per_m=(0.5, 4.0))


def device(path: Path) -> object:
    return read_device_file(path, "bench-depth")


CAMERA_JSON = b"""{"image_width": 80, "image_height": 64,
"camera_matrix": {"type_id": "opencv-matrix", "rows": 3, "cols": 3, "dt": "d",
 "data": [100.0, 0.0, 39.5, 0.0, 100.0, 31.5, 0.0, 0.0, 1.0]},
"distortion_coefficients": {"type_id": "opencv-matrix", "rows": 1, "cols": 4, "dt": "d",
 "data": [0.01, 0.0, 0.0, 0.0]}}"""
PFM = b"Pf\n16 12\n-1.0\n" + GREY.astype("<f4").tobytes()
LOADERS: dict[str, tuple[Callable[[Path], object], str, bytes]] = {
    "camera YAML": (read_camera, "a.yaml", CAMERA.encode()),
    "camera JSON": (read_camera, "a.json", CAMERA_JSON),
    "corners": (read_corners, "a.json", CORNERS.encode()),
    "frame": (read_frame_file, "a.bite.toml", FRAME.encode()),
    "rig": (read_rig, "rig.toml", RIG.encode()),
    "device": (device, "a.device.toml", DEVICE.encode()),
    "cast": (read_cast, "cast.toml", CAST.encode()),
    "profile": (read_profile, "a.csv", PROFILE.encode()),
    "result": (read_result, "a.result.json", b'{"format": "bite-result 1", "offset": null}\n'),
    "PNG": (read_image, "a.png", encoded(".png", COLOUR)),
    "JPEG": (read_image, "a.jpg", encoded(".jpg", COLOUR)),
    "TIFF": (read_image, "a.tiff", encoded(".tiff", COLOUR)),
    "depth PNG": (depth, "d.png", encoded(".png", GREY)),
    "depth TIFF": (depth, "d.tiff", encoded(".tiff", GREY.astype(np.float32))),
    "depth PFM": (depth, "d.pfm", PFM),
    "depth NPY": (depth, "d.npy", npy(GREY)),
    "depth NPY inverse": (inverse, "d.npy", npy(GREY)),
    "depth EXR": (depth, "d.exr", b"\x76\x2f\x31\x01\x02\x00\x00\x00channels\x00chlist\x00"),
    "OBJ": (mesh, "m.obj", quads().encode()),
    "PLY": (mesh, "m.ply", bytes(BOX.export(file_type="ply"))),
    "PLY text": (mesh, "m.ply", bytes(BOX.export(file_type="ply", encoding="ascii"))),
    "STL": (mesh, "m.stl", bytes(BOX.export(file_type="stl"))),
    "GLB": (mesh, "m.glb", bytes(BOX.export(file_type="glb"))),
}
CALM = settings(
    max_examples=40,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
SPICE = [
    b"nan",
    b"-1",
    b"1e999",
    b"9" * 5000,
    b"[" * 3000,
    b"\x00",
    b"\xff",
    b'"',
    b"\n",
    b"=",
    b"{}",
    b"\\",
    b" ",
]


def read_or_refuse(case: str, folder: Path, data: bytes) -> bool:
    """Tell whether the bytes were accepted; any exception but InputError goes through and fails the test."""
    read, name, _ = LOADERS[case]
    path = folder / name
    path.write_bytes(data)
    try:
        read(path)
    except InputError as error:
        assert "\n" not in str(error) and str(error).startswith(str(path))
        assert len(str(error)) < len(str(path)) + 1000
        str(error).encode("utf-8")
        return False
    return True


@pytest.mark.parametrize("case", [case for case in LOADERS if case != "depth EXR"])
def test_the_undamaged_file_is_accepted(tmp_path: Path, case: str) -> None:
    assert read_or_refuse(case, tmp_path, LOADERS[case][2])


@pytest.mark.parametrize("case", LOADERS)
def test_any_bytes(tmp_path: Path, case: str) -> None:
    magic = LOADERS[case][2][:16]

    @CALM
    @given(data=st.binary(max_size=400), head=st.integers(0, 16))
    def run(data: bytes, head: int) -> None:
        read_or_refuse(case, tmp_path, magic[:head] + data)

    run()


@pytest.mark.parametrize("case", LOADERS)
def test_truncated(tmp_path: Path, case: str) -> None:
    data = LOADERS[case][2]
    for share in np.linspace(0.0, 0.999, 15):
        read_or_refuse(case, tmp_path, data[: int(share * len(data))])


@pytest.mark.parametrize("case", LOADERS)
def test_flipped_bytes(tmp_path: Path, case: str) -> None:
    valid = LOADERS[case][2]

    @CALM
    @given(
        flips=st.lists(st.tuples(st.integers(0, len(valid) - 1), st.integers(1, 255)), min_size=1, max_size=6)
    )
    def run(flips: list[tuple[int, int]]) -> None:
        data = bytearray(valid)
        for place, bits in flips:
            data[place] ^= bits
        read_or_refuse(case, tmp_path, bytes(data))

    run()


@pytest.mark.parametrize("case", LOADERS)
def test_spliced_with_trouble(tmp_path: Path, case: str) -> None:
    valid = LOADERS[case][2]

    @CALM
    @given(at=st.integers(0, len(valid)), cut=st.integers(0, 12), spice=st.sampled_from(SPICE))
    def run(at: int, cut: int, spice: bytes) -> None:
        read_or_refuse(case, tmp_path, valid[:at] + spice + valid[at + cut :])

    run()


@pytest.mark.parametrize(
    "case", ["camera YAML", "corners", "frame", "rig", "device", "cast", "profile", "OBJ"]
)
def test_numbers_replaced_by_trouble(tmp_path: Path, case: str) -> None:
    valid = LOADERS[case][2]
    spots = [match.span() for match in re.finditer(rb"-?\d+\.?\d*", valid)][:40]
    for start, end in spots:
        for number in (
            b"nan",
            b"inf",
            b"-1",
            b"0",
            b"1e308",
            b"1e999",
            b"9" * 400,
            b"true",
            b'"a"',
            b"[]",
            b"{}",
        ):
            read_or_refuse(case, tmp_path, valid[:start] + number + valid[end:])


def test_headers_that_promise_too_much_are_refused(tmp_path: Path) -> None:
    huge = struct.pack("<I", 2**31 - 1)
    stl = LOADERS["STL"][2]
    assert not read_or_refuse("STL", tmp_path, stl[:80] + huge + stl[84:])
    ply = LOADERS["PLY"][2].replace(b"element vertex 8", b"element vertex 2147483647")
    assert not read_or_refuse("PLY", tmp_path, ply)
    glb = (
        LOADERS["GLB"][2]
        .replace(b'"count":36', b'"count":2147483640')
        .replace(b'"count":8', b'"count":2147483640')
    )
    assert not read_or_refuse("GLB", tmp_path, glb)
