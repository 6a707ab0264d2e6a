"""What a PNG, JPEG or TIFF says before a pixel is decoded: kind, size, orientation, and whether it is whole.

Orientation is read here, and handed to the decoder as "upright", because decoders differ in when they apply
it.
"""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from bite.errors import InputError

_SAMPLE_BYTES = {1: 1, 2: 1, 3: 2, 4: 4, 16: 8}  # TIFF field types that hold whole numbers
_STRIPS, _STRIP_BYTES, _TILES, _TILE_BYTES = 273, 279, 324, 325
_EXPORT_AGAIN = "export or copy the picture again"


class PictureKind(StrEnum):
    """The picture formats that are read."""

    PNG = "PNG"
    JPEG = "JPEG"
    TIFF = "TIFF"


@dataclass(frozen=True, slots=True)
class PictureHeader:
    """Stored size and EXIF orientation (1 upright) of a picture, and its bytes with orientation 1."""

    kind: PictureKind
    width_px: int
    height_px: int
    orientation: int
    upright: bytes


def picture_kind(data: bytes) -> PictureKind | None:
    """Tell a picture's format from its first bytes."""
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return PictureKind.PNG
    if data.startswith(b"\xff\xd8\xff"):
        return PictureKind.JPEG
    return PictureKind.TIFF if data[:4] in (b"II*\0", b"MM\0*") else None


def read_header(path: Path, data: bytes) -> PictureHeader:
    """Read the header of a picture and make sure that the picture is whole.

    Raises
    ------
    InputError
        For another format, a truncated or damaged file, or a size of zero.
    """
    kind = picture_kind(data)
    if kind is None:
        what = f"starts with {data[:8].hex(' ')}, needed a PNG, JPEG or TIFF picture"
        raise InputError(path, "", what, "convert the picture to one of them")
    try:
        if kind is PictureKind.PNG:
            header = _png(path, data)
        else:
            header = _jpeg(path, data) if kind is PictureKind.JPEG else _tiff(path, data)
    except (struct.error, IndexError, OverflowError):
        raise InputError(path, "", f"truncated or damaged {kind}", _EXPORT_AGAIN) from None
    if header.width_px < 1 or header.height_px < 1:
        what = f"{kind} of {header.width_px} x {header.height_px} pixels"
        raise InputError(path, "", what, _EXPORT_AGAIN)
    return header


def _png(path: Path, data: bytes) -> PictureHeader:
    width, height = struct.unpack_from(">II", data, 16)
    orientation, at, kept = 1, 8, [data[:8]]
    while True:
        length, name = struct.unpack_from(">I4s", data, at)
        end = at + 12 + length
        if end > len(data):
            raise InputError(path, "", "truncated PNG", _EXPORT_AGAIN)
        if zlib.crc32(data[at + 4 : end - 4]) != struct.unpack_from(">I", data, end - 4)[0]:
            raise InputError(path, f"byte {at}", f"damaged PNG (check sum of {name!r})", _EXPORT_AGAIN)
        if name == b"eXIf":
            orientation = _exif_orientation(data[at + 8 : end - 4])
        else:
            kept.append(data[at:end])
        if name == b"IEND":
            return PictureHeader(PictureKind.PNG, width, height, orientation, b"".join(kept))
        at = end


def _jpeg(path: Path, data: bytes) -> PictureHeader:
    size: tuple[int, int] | None = None
    orientation, at, kept = 1, 2, [data[:2]]
    while True:
        while data[at] == 0xFF and data[at + 1] == 0xFF:
            at += 1
        if data[at] != 0xFF or data[at + 1] == 0xD9:
            raise InputError(path, f"byte {at}", "damaged JPEG", _EXPORT_AGAIN)
        marker, length = struct.unpack_from(">xBH", data, at)
        segment = data[at : at + 2 + length]
        if length < 2 or len(segment) < 2 + length:
            raise InputError(path, "", "truncated JPEG", _EXPORT_AGAIN)
        if 0xC0 <= marker <= 0xCF and marker not in (0xC4, 0xC8, 0xCC):
            height, width = struct.unpack_from(">HH", segment, 5)
            size = (width, height)
        if marker == 0xE1 and segment[4:10] == b"Exif\0\0":
            orientation = _exif_orientation(segment[10:])
        else:
            kept.append(segment)
        at += 2 + length
        if marker == 0xDA:
            break
    # a thumbnail has an end mark of its own, but lies before the scan
    if size is None or data.rfind(b"\xff\xd9", at) < 0:
        raise InputError(path, "", "truncated JPEG (no end mark)", _EXPORT_AGAIN)
    return PictureHeader(PictureKind.JPEG, *size, orientation, b"".join(kept) + data[at:])


def _tiff(path: Path, data: bytes) -> PictureHeader:
    order, fields = _directory(data)
    width, height = (_first(data, fields, tag, 0) for tag in (256, 257))
    for place, count in ((_STRIPS, _STRIP_BYTES), (_TILES, _TILE_BYTES)):
        for start, length in zip(_all(data, fields, place), _all(data, fields, count), strict=False):
            if start + length > len(data):
                raise InputError(path, "", "truncated TIFF", _EXPORT_AGAIN)
    if _STRIPS not in fields and _TILES not in fields:
        raise InputError(path, "", "TIFF without pixels", _EXPORT_AGAIN)
    orientation = _first(data, fields, 274, 1)
    upright = bytearray(data)
    if 274 in fields:
        struct.pack_into(order + "HIHH", upright, fields[274].entry + 2, 3, 1, 1, 0)
    return PictureHeader(PictureKind.TIFF, width, height, _known(orientation), bytes(upright))


@dataclass(frozen=True, slots=True)
class _Field:
    order: str
    entry: int
    kind: int
    count: int
    start: int


def _directory(data: bytes) -> tuple[str, dict[int, _Field]]:
    """List the first directory of TIFF data."""
    order = "<" if data[:2] == b"II" else ">"
    (at,) = struct.unpack_from(order + "I", data, 4)
    (entries,) = struct.unpack_from(order + "H", data, at)
    fields: dict[int, _Field] = {}
    for entry in range(at + 2, at + 2 + 12 * entries, 12):
        tag, kind, count = struct.unpack_from(order + "HHI", data, entry)
        fits = _SAMPLE_BYTES.get(kind, 8) * count <= 4
        start = entry + 8 if fits else struct.unpack_from(order + "I", data, entry + 8)[0]
        fields.setdefault(tag, _Field(order, entry, kind, count, start))
    return order, fields


def _all(data: bytes, fields: dict[int, _Field], tag: int) -> tuple[int, ...]:
    field = fields.get(tag)
    if field is None:
        return ()
    letter = {1: "B", 3: "H", 4: "I", 16: "Q"}.get(field.kind)
    if letter is None or field.count * _SAMPLE_BYTES[field.kind] > len(data):
        raise IndexError
    return struct.unpack_from(f"{field.order}{field.count}{letter}", data, field.start)


def _first(data: bytes, fields: dict[int, _Field], tag: int, default: int) -> int:
    values = _all(data, fields, tag)
    return values[0] if values else default


def _exif_orientation(data: bytes) -> int:
    """Read the orientation from EXIF data; 1 where there is none, or where it cannot be made out."""
    if picture_kind(data) is not PictureKind.TIFF:
        return 1
    try:
        return _known(_first(data, _directory(data)[1], 274, 1))
    except (struct.error, IndexError):
        return 1


def _known(orientation: int) -> int:
    return orientation if 1 <= orientation <= 8 else 1
