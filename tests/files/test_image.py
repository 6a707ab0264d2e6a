"""Pictures: channel order, depth, orientation applied once, damage noticed."""

from __future__ import annotations

import io
import struct
import zlib
from pathlib import Path

import cv2
import numpy as np
import pytest

from bite.files.image import read_image

Image = pytest.importorskip("PIL.Image", reason="matplotlib brings Pillow along")

TRUE = np.zeros((24, 40, 3), np.uint8)
TRUE[:12, :20] = (250, 10, 10)
TRUE[:12, 20:] = (10, 250, 10)
TRUE[12:, :20] = (10, 10, 250)


def stored(orientation: int) -> np.ndarray:
    """The pixels to store so that a reader who applies the orientation gets TRUE back."""
    undo = {
        1: lambda a: a,
        2: np.fliplr,
        3: lambda a: np.rot90(a, 2),
        4: np.flipud,
        5: lambda a: a.swapaxes(0, 1),
        6: lambda a: np.rot90(a, 1),
        7: lambda a: np.rot90(a, 2).swapaxes(0, 1),
        8: lambda a: np.rot90(a, -1),
    }
    return np.ascontiguousarray(undo[orientation](TRUE))


def encoded(kind: str, pixels: np.ndarray = TRUE, orientation: int | None = None) -> bytes:
    exif = Image.Exif()
    if orientation is not None:
        exif[274] = orientation
    stream = io.BytesIO()
    options = {"quality": 95, "subsampling": 0} if kind == "JPEG" else {}
    Image.fromarray(pixels).save(stream, kind, exif=exif, **options)
    return stream.getvalue()


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF"])
@pytest.mark.parametrize("orientation", [None, 1, 2, 3, 4, 5, 6, 7, 8])
def test_orientation_is_applied_once(tmp_path: Path, kind: str, orientation: int | None) -> None:
    path = tmp_path / "p"
    path.write_bytes(encoded(kind, stored(orientation or 1), orientation))
    image = read_image(path)
    assert image.dtype == np.uint8 and image.flags["C_CONTIGUOUS"]
    assert image.shape == TRUE.shape
    # quarters keep their colour; 40 grey levels is more than JPEG rings on these flat fields
    for y, x in ((4, 4), (4, 35), (20, 4), (20, 35)):
        assert np.abs(image[y, x].astype(int) - TRUE[y, x]).max() < 40


def test_orientation_agrees_with_another_reader(tmp_path: Path) -> None:
    from PIL import ImageOps

    for orientation in range(1, 9):
        data = encoded("PNG", TRUE, orientation)
        (tmp_path / "p.png").write_bytes(data)
        other = np.asarray(ImageOps.exif_transpose(Image.open(io.BytesIO(data))))
        assert np.array_equal(read_image(tmp_path / "p.png"), other)


@pytest.mark.parametrize("suffix", [".png", ".tiff"])
def test_sixteen_bits_are_scaled(tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"p{suffix}"
    path.write_bytes(cv2.imencode(suffix, TRUE[:, :, ::-1].astype(np.uint16) * 257)[1].tobytes())
    assert np.array_equal(read_image(path), TRUE)


def test_grey_becomes_three_channels_and_alpha_goes(tmp_path: Path) -> None:
    path = tmp_path / "p.png"
    path.write_bytes(encoded("PNG", TRUE[:, :, 0]))
    assert np.array_equal(read_image(path), np.repeat(TRUE[:, :, :1], 3, axis=2))
    path.write_bytes(encoded("PNG", np.dstack([TRUE, np.full(TRUE.shape[:2], 9, np.uint8)])))
    assert np.array_equal(read_image(path), TRUE)


def noisy(kind: str) -> bytes:
    return encoded(kind, np.random.default_rng(1).integers(0, 256, (64, 64, 3)).astype(np.uint8))


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF"])
@pytest.mark.parametrize("share", [0.02, 0.3, 0.7, 0.99])
def test_truncated_picture_is_refused(tmp_path: Path, refuses, kind: str, share: float) -> None:
    data = noisy(kind)
    path = tmp_path / "p"
    path.write_bytes(data[: int(len(data) * share)])
    assert path.name in refuses(lambda: read_image(path))


def test_a_thumbnail_does_not_hide_a_missing_end(tmp_path: Path, refuses) -> None:
    data = noisy("JPEG")
    thumbnail = encoded("JPEG")
    segment = b"\xff\xe2" + struct.pack(">H", len(thumbnail) + 2) + thumbnail
    path = tmp_path / "p.jpg"
    path.write_bytes(data[:2] + segment + data[2:])
    assert read_image(path).shape == (64, 64, 3)
    path.write_bytes(data[:2] + segment + data[2:-40])
    assert "no end mark" in refuses(lambda: read_image(path))


def test_huge_picture_is_refused_before_decoding(tmp_path: Path, refuses) -> None:
    head = struct.pack(">IIBBBBB", 100_000, 100_000, 8, 2, 0, 0, 0)
    chunks = b""
    for name, content in ((b"IHDR", head), (b"IDAT", zlib.compress(b"")), (b"IEND", b"")):
        chunks += (
            struct.pack(">I", len(content)) + name + content + struct.pack(">I", zlib.crc32(name + content))
        )
    path = tmp_path / "p.png"
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + chunks)
    assert "at most 120 million" in refuses(lambda: read_image(path))


def test_flipped_byte_in_png_is_noticed(tmp_path: Path, refuses) -> None:
    data = bytearray(noisy("PNG"))
    data[len(data) // 2] ^= 1
    path = tmp_path / "p.png"
    path.write_bytes(data)
    assert "check sum" in refuses(lambda: read_image(path))


def test_other_formats_are_refused(tmp_path: Path, refuses) -> None:
    path = tmp_path / "p.png"
    path.write_bytes(b"GIF89a" + bytes(100))
    assert "needed a PNG, JPEG or TIFF" in refuses(lambda: read_image(path))
    path.write_bytes(cv2.imencode(".tiff", np.ones((8, 8), np.float32))[1].tobytes())
    assert "8 or 16 bit" in refuses(lambda: read_image(path))
