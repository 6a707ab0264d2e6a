"""A JPEG that holds more than one picture says so; anything else holds one."""

from __future__ import annotations

import struct

import cv2
import numpy as np
import pytest

from bite.files.jpeg_pictures import further_pictures


def plain() -> bytes:
    return cv2.imencode(".jpg", np.full((16, 24, 3), 90, np.uint8))[1].tobytes()


def with_index(count: int, order: str) -> bytes:
    """Put a multi-picture index behind the first marker."""
    head = {"<": b"II*\x00", ">": b"MM\x00*"}[order]
    version = struct.pack(f"{order}HHI4s", 0xB000, 7, 4, b"0100")
    number = struct.pack(f"{order}HHII", 0xB001, 4, 1, count)
    tiff = head + struct.pack(f"{order}IH", 8, 2) + version + number + struct.pack(f"{order}I", 0)
    body = b"MPF\x00" + tiff
    whole = plain()
    return whole[:2] + b"\xff\xe2" + struct.pack(">H", len(body) + 2) + body + whole[2:]


def test_a_plain_picture_holds_no_other() -> None:
    assert further_pictures(plain()) == 0
    assert further_pictures(cv2.imencode(".png", np.zeros((4, 4), np.uint8))[1].tobytes()) == 0


@pytest.mark.parametrize("order", ["<", ">"])
def test_the_index_is_read_in_either_byte_order(order: str) -> None:
    data = with_index(3, order)
    assert cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR) is not None
    assert further_pictures(data) == 2


def test_a_file_cut_anywhere_is_no_exception() -> None:
    data = with_index(2, "<")
    assert {further_pictures(data[:n]) for n in range(len(data))} <= {0, 1}
    rng = np.random.default_rng(2)
    for _ in range(300):
        damaged = bytearray(data[:120])
        damaged[rng.integers(2, 120)] = rng.integers(256)
        assert further_pictures(bytes(damaged)) >= 0
