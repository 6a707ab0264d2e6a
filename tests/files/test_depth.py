"""Depth maps in every storage: the same millimetres out, and each fault refused."""

from __future__ import annotations

import io
import sys
from pathlib import Path

import cv2
import numpy as np
import pytest

from bite.files.depth import read_depth

DEPTH = np.linspace(280.0, 320.0, 12).reshape(3, 4)


def npy(array: np.ndarray) -> bytes:
    stream = io.BytesIO()
    np.save(stream, array, allow_pickle=True)
    return stream.getvalue()


def pfm(array: np.ndarray, order: str = "<", scale: str | None = None) -> bytes:
    head = f"Pf\n{array.shape[1]} {array.shape[0]}\n{scale or ('-1.0' if order == '<' else '1.0')}\n"
    return head.encode() + array[::-1].astype(order + "f4").tobytes()


def encoded(suffix: str, array: np.ndarray) -> bytes:
    return cv2.imencode(suffix, array)[1].tobytes()


TENTHS = np.round(DEPTH * 10).astype(np.uint16)
STORED = {
    "16-bit PNG": (encoded(".png", TENTHS), 0.1, 0.1),
    "8-bit PNG": (encoded(".png", np.round(DEPTH / 2).astype(np.uint8)), 2.0, 2.0),
    "16-bit TIFF": (encoded(".tiff", TENTHS), 0.1, 0.1),
    "float TIFF": (encoded(".tiff", (DEPTH / 1000).astype(np.float32)), 1000.0, 0.0),
    "PFM little": (pfm(DEPTH), 1.0, 0.0),
    "PFM big": (pfm(DEPTH, ">"), 1.0, 0.0),
    "NPY double": (npy(DEPTH), 1.0, 0.0),
    "NPY by columns": (npy(np.asfortranarray(DEPTH)), 1.0, 0.0),
    "NPY big endian": (npy(DEPTH.astype(">f4")), 1.0, 0.0),
    "NPY 32-bit": (npy(TENTHS.astype(np.int32)), 0.1, 0.1),
    "NPY half": (npy((DEPTH / 10).astype(np.float16)), 10.0, 0.15625),  # half floats near 30 step 2^-6
}


@pytest.mark.parametrize("case", STORED)
def test_every_storage_gives_millimetres(tmp_path: Path, case: str) -> None:
    data, unit_mm, step_mm = STORED[case]
    path = tmp_path / "depth"
    path.write_bytes(data)
    read = read_depth(path, unit_mm=unit_mm)
    assert read.depth_mm.dtype == np.float64 and not read.depth_mm.flags.writeable
    # half a storage step, or float32 rounding of 300
    assert np.abs(read.depth_mm - DEPTH).max() <= step_mm / 2 + 3e-5
    assert read.step_mm == pytest.approx(step_mm)


def test_no_reading_is_nan(tmp_path: Path) -> None:
    array = DEPTH.copy()
    array[0] = [0.0, np.nan, np.inf, -5.0]
    (tmp_path / "d.npy").write_bytes(npy(array))
    read = read_depth(tmp_path / "d.npy", unit_mm=1.0).depth_mm
    assert np.isnan(read[0]).all() and np.array_equal(read[1:], DEPTH[1:])


@pytest.mark.parametrize(("dtype", "full"), [(np.uint8, 255.0), (np.uint16, 65535.0)])
@pytest.mark.parametrize("ends", [(1.5, 4.4), (4.4, 1.5)])
def test_inverse_distance_as_whole_numbers(
    tmp_path: Path, dtype: type, full: float, ends: tuple[float, float]
) -> None:
    stored = np.round((1000 / DEPTH - ends[0]) / (ends[1] - ends[0]) * full).astype(dtype)
    stored[0, 0] = 0
    (tmp_path / "d.png").write_bytes(encoded(".png", stored))
    read = read_depth(tmp_path / "d.png", inverse_per_m=ends)
    assert read.depth_mm[0, 0] == pytest.approx(1000 / ends[0])  # stored 0 is a reading
    # dz = z^2 dq: one step at the median distance
    assert read.step_mm == pytest.approx(np.median(read.depth_mm) ** 2 / 1000 * 2.9 / full)
    assert np.abs(read.depth_mm - DEPTH).ravel()[1:].max() < 0.6 * 320**2 / 1000 * 2.9 / full


def test_eight_bits_of_inverse_distance_step_by_a_millimetre(tmp_path: Path) -> None:
    stored = np.full((4, 4), round((1000 / 300 - 1.5) / 2.9 * 255), np.uint8)
    (tmp_path / "d.png").write_bytes(encoded(".png", stored))
    # measured once on such a map: 1.0 mm at 0.30 m
    assert read_depth(tmp_path / "d.png", inverse_per_m=(1.5, 4.4)).step_mm == pytest.approx(1.0, abs=0.05)


def test_inverse_distance_in_float_reaches_full_scale_at_one(tmp_path: Path) -> None:
    share = (1000 / DEPTH - 1.5) / 2.9
    (tmp_path / "d.npy").write_bytes(npy(share))
    assert np.allclose(read_depth(tmp_path / "d.npy", inverse_per_m=(1.5, 4.4)).depth_mm, DEPTH, rtol=1e-12)


def test_zero_inverse_distance_is_no_reading(tmp_path: Path) -> None:
    stored = np.full((4, 4), 40_000, np.uint16)
    stored[0, 0] = 0
    (tmp_path / "d.png").write_bytes(encoded(".png", stored))
    read = read_depth(tmp_path / "d.png", inverse_per_m=(0.0, 5.0)).depth_mm
    assert np.isnan(read[0, 0]) and np.isfinite(read[1, 1])


@pytest.mark.parametrize(
    ("array", "unit_mm", "hint"),
    [
        (DEPTH / 1000, 1.0, "were metres stored? then write unit_mm = 1000"),
        (DEPTH, 1000.0, "median distance 3e+05 mm"),
        (DEPTH / 10, 0.1, "were centimetres stored? then write unit_mm = 10"),
        (DEPTH * 1000, 1.0, "were micrometres stored? then write unit_mm = 0.001"),
    ],
)
def test_wrong_unit_is_refused_with_a_hint(
    tmp_path: Path, refuses, array: np.ndarray, unit_mm: float, hint: str
) -> None:
    (tmp_path / "d.npy").write_bytes(npy(array))
    assert hint in refuses(lambda: read_depth(tmp_path / "d.npy", unit_mm=unit_mm))


def test_swapped_inverse_unit_is_refused(tmp_path: Path, refuses) -> None:
    (tmp_path / "d.npy").write_bytes(npy(np.full((4, 4), 0.5)))
    assert "not 1/mm" in refuses(lambda: read_depth(tmp_path / "d.npy", inverse_per_m=(0.0015, 0.0044)))


HEADER_OF_A_GIANT = npy(DEPTH).replace(b"(3, 4), }        ", b"(99999, 99999), }")
BAD = {
    "colour": (encoded(".png", np.zeros((4, 4, 3), np.uint8)), "one number a pixel"),
    "JPEG": (encoded(".jpg", np.zeros((8, 8), np.uint8)), "got a JPEG"),
    "nothing known": (b"hello world", "needed PNG, TIFF, PFM, NPY or EXR"),
    "all empty": (encoded(".png", np.zeros((4, 4), np.uint16)), "no pixel has a reading"),
    "cut PNG": (STORED["16-bit PNG"][0][:-20], "truncated PNG"),
    "cut TIFF": (STORED["float TIFF"][0][:30], "truncated"),
    "cut NPY": (npy(DEPTH)[:-8], "cut short"),
    "cut NPY header": (npy(DEPTH)[:20], "damaged NPY header"),
    "NPY of objects": (npy(np.array([[{}]], dtype=object)), "pickled objects are never read"),
    "NPY of truth": (npy(DEPTH > 300), "plain numbers"),
    "NPY of complex": (npy(DEPTH + 1j), "plain numbers"),
    "NPY of fields": (npy(np.zeros((2, 2), [("a", "f4")])), "plain numbers"),
    "NPY volume": (npy(np.ones((2, 2, 2))), "two dimensions"),
    "NPY negative": (npy(DEPTH).replace(b"(3, 4)", b"(-3,4)"), "damaged NPY header"),
    "NPY giant": (HEADER_OF_A_GIANT, "needed 1 to 25 million"),
    "cut PFM": (pfm(DEPTH)[:-4], "cut short"),
    "colour PFM": (pfm(DEPTH).replace(b"Pf", b"PF"), "colour PFM"),
    "PFM giant": (b"Pf\n999999 999999\n-1\n", "needed 1 to 25 million"),
    "PFM zero": (b"Pf\n0 4\n-1\n", "0 x 4"),
    "PFM scale nothing": (pfm(DEPTH, scale="0.0"), "other than 0"),
    "PFM scale": (pfm(DEPTH, scale="-0.5"), "needed 1 or -1"),
    "PFM scale word": (pfm(DEPTH, scale="1.2.3"), "other than 0"),
    "PFM header": (b"Pf\nwide tall\n", "damaged PFM header"),
}


@pytest.mark.parametrize("case", BAD)
def test_bad_map_is_refused(tmp_path: Path, refuses, case: str) -> None:
    data, expected = BAD[case]
    path = tmp_path / "d.bin"
    path.write_bytes(data)
    message = refuses(lambda: read_depth(path, unit_mm=1.0))
    assert expected in message


@pytest.mark.parametrize(
    ("unit_mm", "inverse", "expected"),
    [
        (None, None, "got neither"),
        (1.0, (1.0, 2.0), "got both"),
        (-1.0, None, "positive"),
        (float("nan"), None, "positive"),
        (None, (2.0, 2.0), "two different"),
        (None, (-1.0, 2.0), "neither negative"),
        (None, (float("nan"), 2.0), "two different"),
    ],
)
def test_unit_must_be_stated_once(tmp_path: Path, refuses, unit_mm, inverse, expected: str) -> None:
    (tmp_path / "d.npy").write_bytes(npy(DEPTH))
    message = refuses(lambda: read_depth(tmp_path / "d.npy", unit_mm=unit_mm, inverse_per_m=inverse))
    assert expected in message


def test_inverse_distance_in_wide_whole_numbers_is_refused(tmp_path: Path, refuses) -> None:
    (tmp_path / "d.npy").write_bytes(npy(TENTHS.astype(np.int32)))
    assert "no agreed full scale" in refuses(lambda: read_depth(tmp_path / "d.npy", inverse_per_m=(1.0, 4.0)))


def test_exr_without_its_package_says_what_to_install(tmp_path: Path, refuses, monkeypatch) -> None:
    monkeypatch.setitem(sys.modules, "OpenEXR", None)
    (tmp_path / "d.exr").write_bytes(b"\x76\x2f\x31\x01" + bytes(100))
    assert "pip install OpenEXR" in refuses(lambda: read_depth(tmp_path / "d.exr", unit_mm=1.0))


def test_exr_round_trip(tmp_path: Path, refuses) -> None:
    exr = pytest.importorskip("OpenEXR", reason="OpenEXR writes the file to read; an extra")
    path = tmp_path / "d.exr"
    exr.File({"type": exr.scanlineimage}, {"Z": DEPTH.astype(np.float32)}).write(str(path))
    assert np.abs(read_depth(path, unit_mm=1.0).depth_mm - DEPTH).max() < 3e-5
    path.write_bytes(path.read_bytes()[:60])
    assert "damaged EXR" in refuses(lambda: read_depth(path, unit_mm=1.0))


def test_steps_of_inverse_distance_grow_as_its_square(tmp_path: Path) -> None:
    """Wall at 1200 mm, face at 300 mm: between two stored values it is the difference of two distances."""
    stored = np.full((40, 40), 20, np.uint8)
    stored[10:20, 10:20] = 190
    path = tmp_path / "inverse.png"
    cv2.imwrite(str(path), stored)
    depth = read_depth(path, inverse_per_m=(0.5, 4.2))
    per_m = 0.5 + 3.7 * np.array([189.0, 191.0]) / 255.0
    expected = float(np.diff(1000.0 / per_m)[0]) / -2.0
    assert depth.step_at_mm(float(depth.depth_mm[15, 15])) == pytest.approx(expected, rel=1e-4)
    assert depth.step_mm > 10.0 * expected
