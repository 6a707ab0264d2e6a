"""The before-and-after picture of a frame, small enough that a page of many can be carried."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from bite.errors import InputError
from bite.files.atomic import write_bytes
from bite.files.source import read_bytes, sha256_of

WIDTH_PX = 1200
"""The text in it stays legible; 1600 px would double the bytes."""
MOST_BYTES = 130_000
"""As a data address a third more: below 180 kB, which leaves room for the text of a frame's 200 kB."""
_QUALITIES = (60, 45, 30, 20, 10)
"""JPEG qualities tried until one is small enough (our choice)."""


@dataclass(frozen=True, slots=True)
class PagePicture:
    """A re-encoded picture on disk: its size, and the hash of the picture that it was made from."""

    path: Path
    source_sha256: str
    width_px: int
    height_px: int


def page_picture(source: Path, folder: Path) -> PagePicture:
    """Give the page's version of a picture; made once for each content, kept under its hash.

    Raises
    ------
    InputError
        When the picture cannot be read or decoded, or the folder cannot be written.
    """
    data = read_bytes(source)
    digest = sha256_of(data)
    path = folder / f"{digest[7:39]}-{WIDTH_PX}.webp"
    size = _size_of(path)
    if size is None:
        encoded, size = _encoded(source, data)
        write_bytes(path, encoded)
    return PagePicture(path, digest, *size)


def _size_of(path: Path) -> tuple[int, int] | None:
    """Read a picture's width and height from the head of its file; None where it is not whole.

    Source: RFC 9649 (WebP), section 2.5, and RFC 6386 (VP8), section 9.1.
    """
    try:
        with open(path, "rb") as stream:
            head = stream.read(30)
        whole = path.stat().st_size
    except OSError:
        return None
    if len(head) < 30 or head[:4] != b"RIFF" or head[8:16] != b"WEBPVP8 " or head[23:26] != b"\x9d\x01\x2a":
        return None
    if int.from_bytes(head[4:8], "little") + 8 != whole:
        return None
    width, height = (int.from_bytes(head[at : at + 2], "little") & 0x3FFF for at in (26, 28))
    return width, height


def _encoded(source: Path, data: bytes) -> tuple[bytes, tuple[int, int]]:
    import cv2
    import numpy as np

    image = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
    if image is None:
        raise InputError(source, "", "cannot be decoded as a picture", "delete it: it will be drawn again")
    height, width = image.shape[:2]
    if width > WIDTH_PX:
        height, width = max(1, round(height * WIDTH_PX / width)), WIDTH_PX
        image = cv2.resize(image, (width, height), interpolation=cv2.INTER_AREA)
    while True:
        for quality in _QUALITIES:
            done, coded = cv2.imencode(".webp", image, [cv2.IMWRITE_WEBP_QUALITY, quality])
            if done and coded.nbytes <= MOST_BYTES:
                return bytes(coded), (width, height)
        height, width = max(1, height * 3 // 4), max(1, width * 3 // 4)
        image = cv2.resize(image, (width, height), interpolation=cv2.INTER_AREA)
