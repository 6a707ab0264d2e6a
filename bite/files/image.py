"""Pictures: PNG, JPEG or TIFF into 8-bit RGB, standing upright."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bite.errors import InputError
from bite.files.picture_header import read_header
from bite.files.quiet import quiet_opencv
from bite.files.source import read_bytes

LARGEST_PIXELS = 120_000_000
"""More than any camera for faces has (our choice); 16 bits of three channels of it take 0.7 GB."""
_ROWS_AT_ONCE = 256
"""Rows converted in one go, so that no whole picture of wider numbers is held (our choice)."""
Sized = Callable[[int, int], None]
"""Takes the width and height of a picture before it is decoded, and raises where they cannot be."""


def read_image(path: Path, *, sized: Sized | None = None) -> NDArray[np.uint8]:
    """Read a picture, shape (height, width, 3), RGB, EXIF orientation applied once.

    Grey becomes three equal channels, transparency is dropped, 16-bit pictures are scaled to 8.

    Parameters
    ----------
    path : Path
    sized : callable, optional
        Asked with the size as it will stand upright, px, before anything is decoded.

    Raises
    ------
    InputError
        For another format, a truncated or damaged file, more than 120 million pixels, or floating point
        pixels.
    """
    import cv2

    path = Path(path)
    pixels = decode_picture(path, read_bytes(path), colour=True, sized=sized)
    if pixels.dtype == np.uint16:
        pixels = _eight_bit(pixels)
    if pixels.dtype != np.uint8:
        what = f"pixels stored as {pixels.dtype}, needed 8 or 16 bit"
        raise InputError(path, "", what, "export the picture with 8 or 16 bit a channel")
    return np.asarray(cv2.cvtColor(np.ascontiguousarray(pixels), cv2.COLOR_BGR2RGB))


def _eight_bit(pixels: NDArray[np.uint16]) -> NDArray[np.uint8]:
    """Scale 16-bit pixels to 8 bits, some rows at a time: a whole picture of wider numbers is gigabytes."""
    small = np.empty(pixels.shape, np.uint8)
    for start in range(0, len(pixels), _ROWS_AT_ONCE):
        rows = slice(start, start + _ROWS_AT_ONCE)
        small[rows] = (pixels[rows].astype(np.uint32) + 128) // 257
    return small


def decode_picture(
    path: Path, data: bytes, *, colour: bool, sized: Sized | None = None, largest: int = LARGEST_PIXELS
) -> NDArray[Any]:
    """Decode a PNG, JPEG or TIFF and turn it upright.

    Parameters
    ----------
    path : Path
        For messages.
    data : bytes
    colour : bool
        Three channels, blue first, at the stored depth; otherwise exactly as stored.
    sized : callable, optional, as `read_image`
    largest : int, pixels

    Raises
    ------
    InputError
        When the data cannot be decoded, or are too large.
    """
    import cv2

    header = read_header(path, data)
    if sized is not None:
        stored = (header.width_px, header.height_px)
        sized(*(stored[::-1] if header.orientation >= 5 else stored))
    if header.width_px * header.height_px > largest:
        what = f"{header.width_px} x {header.height_px} pixels, needed at most {largest // 10**6} million"
        raise InputError(path, "", what, "check that it is the right file, or make it smaller")
    as_stored = cv2.IMREAD_UNCHANGED
    three = cv2.IMREAD_COLOR | cv2.IMREAD_ANYDEPTH | cv2.IMREAD_IGNORE_ORIENTATION
    with quiet_opencv(cv2):
        try:
            pixels = cv2.imdecode(np.frombuffer(header.upright, np.uint8), three if colour else as_stored)
        except (cv2.error, MemoryError):
            pixels = None
    if pixels is None or pixels.shape[:2] != (header.height_px, header.width_px):
        mend = "export it again as plain 8 or 16 bit PNG" if colour else "export the map again"
        raise InputError(path, "", f"damaged {header.kind}, or of an unusual kind", mend)
    return turned_upright(pixels, header.orientation)


def turned_upright(pixels: NDArray[Any], orientation: int) -> NDArray[Any]:
    """Turn a stored picture as its EXIF orientation (1 to 8) says.

    Source: EXIF 2.32 (CIPA DC-008), tag 274: which side of the picture the stored first row and column are.

    Examples
    --------
    >>> turned_upright(np.array([[1, 2, 3], [4, 5, 6]]), 6).tolist()
    [[4, 1], [5, 2], [6, 3]]
    """
    if orientation >= 5:
        pixels = pixels.swapaxes(0, 1)
    flip_rows, flip_columns = {
        1: (False, False),
        2: (False, True),
        3: (True, True),
        4: (True, False),
        5: (False, False),
        6: (False, True),
        7: (True, True),
        8: (True, False),
    }[orientation]
    return pixels[:: -1 if flip_rows else 1, :: -1 if flip_columns else 1]
