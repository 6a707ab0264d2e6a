"""Pictures that follow each other in one PNG file, for ever: every browser plays them.

Chunks acTL, fcTL and fdAT. Source: PNG Specification, Third Edition (W3C), section 11.3.5 (from memory).
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from bite.plots.png import png_bytes

_SIGNATURE = b"\x89PNG\r\n\x1a\n"


def animated_png(frames: Sequence[NDArray[np.uint8]], seconds: Sequence[float], dpi: float) -> bytes:
    """Write frames as one animated PNG; a program that knows no animation shows the first.

    Parameters
    ----------
    frames : sequence of arrays, shape (h, w, 4), uint8, RGBA, all of one size; opaque
    seconds : sequence of float, how long each is shown
    dpi : float, pixels an inch on paper

    Raises
    ------
    ValueError
        No frames, frames of several sizes, or not one time a frame.
    """
    if not frames or len(frames) != len(seconds) or len({frame.shape for frame in frames}) > 1:
        raise ValueError(f"needed frames of one size and a time for each, got {[f.shape for f in frames]}")
    height, width = frames[0].shape[:2]
    out = [_SIGNATURE]
    number = 0
    for k, (frame, shown_s) in enumerate(zip(frames, seconds, strict=True)):
        chunks = list(_chunks(png_bytes(frame, dpi)))
        if k == 0:
            out += [_chunk(name, body) for name, body in chunks if name in (b"IHDR", b"pHYs")]
            out.append(_chunk(b"acTL", struct.pack(">II", len(frames), 0)))
        delay = struct.pack(">HH", round(1000 * shown_s), 1000)
        # whole pictures, each in place of the one before
        out.append(_chunk(b"fcTL", struct.pack(">IIIII", number, width, height, 0, 0) + delay + b"\0\0"))
        number += 1
        for name, body in chunks:
            if name != b"IDAT":
                continue
            if k == 0:
                out.append(_chunk(b"IDAT", body))
            else:
                out.append(_chunk(b"fdAT", struct.pack(">I", number) + body))
                number += 1
    out.append(_chunk(b"IEND", b""))
    return b"".join(out)


def _chunk(name: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))


def _chunks(png: bytes) -> Iterator[tuple[bytes, bytes]]:
    at = len(_SIGNATURE)
    while at < len(png):
        (size,) = struct.unpack(">I", png[at : at + 4])
        yield png[at + 4 : at + 8], png[at + 8 : at + 8 + size]
        at += 12 + size
