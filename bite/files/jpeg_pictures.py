"""How many pictures a JPEG file holds beside the first: phones keep depth there, in forms of their own.

Source: CIPA DC-007, Multi-Picture Format (from memory): an APP2 segment that begins with ``MPF`` and a NUL,
then a TIFF header and a directory whose entry 0xB001 is the number of pictures. Which of them is depth, and
how its levels code distance, no open standard says.
"""

from __future__ import annotations

import struct

_APP2, _START_OF_SCAN, _COUNT_TAG = 0xE2, 0xDA, 0xB001
"""Marker bytes of ITU-T T.81, and the tag of CIPA DC-007 (from memory)."""
_MPF = b"MPF\x00"


def further_pictures(data: bytes) -> int:
    """Give how many pictures a file names beside its first; 0 where it is no JPEG, or names none.

    >>> further_pictures(b"no picture")
    0
    """
    if data[:2] != b"\xff\xd8":
        return 0
    at = 2
    while at + 4 <= len(data) and data[at] == 0xFF and data[at + 1] != _START_OF_SCAN:
        size = struct.unpack(">H", data[at + 2 : at + 4])[0]
        body = data[at + 4 : at + 2 + size]
        if data[at + 1] == _APP2 and body.startswith(_MPF):
            return max(_count(body[len(_MPF) :]) - 1, 0)
        at += 2 + max(size, 2)
    return 0


def _count(tiff: bytes) -> int:
    """Read the number of pictures from the first directory; 0 where it is cut short."""
    order = {b"II*\x00": "<", b"MM\x00*": ">"}.get(tiff[:4])
    if order is None or len(tiff) < 8:
        return 0
    start = struct.unpack(f"{order}I", tiff[4:8])[0]
    if start + 2 > len(tiff):
        return 0
    entries = struct.unpack(f"{order}H", tiff[start : start + 2])[0]
    for k in range(entries):
        entry = tiff[start + 2 + 12 * k : start + 14 + 12 * k]
        if len(entry) == 12 and struct.unpack(f"{order}H", entry[:2])[0] == _COUNT_TAG:
            return int(struct.unpack(f"{order}I", entry[8:])[0])
    return 0
