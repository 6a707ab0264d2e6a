"""One-channel number images as stored: PNG, TIFF, PFM, NPY, EXR. No unit is known here."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bite.errors import InputError
from bite.files.image import Sized, decode_picture
from bite.files.picture_header import PictureKind, picture_kind
from bite.files.source import read_bytes
from bite.files.tables import shown

LARGEST_PIXELS = 25_000_000
"""More than any depth sensor has (our choice); in double precision they take 0.2 GB."""
_NPY_MAGIC = b"\x93NUMPY"
_EXR_MAGIC = b"\x76\x2f\x31\x01"
_EXPORT_AGAIN = "export the depth map again"


def read_stored(path: Path, *, sized: Sized | None = None) -> NDArray[Any]:
    """Read a depth map's stored numbers, shape (height, width), first row on top.

    The format is told from the first bytes, never from the name. ``sized`` is asked with width and height
    before anything is decoded, where the format says them first.

    Raises
    ------
    InputError
        For another format, more than one channel, a truncated or damaged file, or one that is too large.
    """
    data = read_bytes(path)
    kind = picture_kind(data)
    if kind in (PictureKind.PNG, PictureKind.TIFF):
        stored = decode_picture(path, data, colour=False, sized=sized, largest=LARGEST_PIXELS)
    elif data.startswith(_NPY_MAGIC):
        stored = _npy(path, data, sized)
    elif data[:2] in (b"Pf", b"PF"):
        stored = _pfm(path, data, sized)
    elif data.startswith(_EXR_MAGIC):
        stored = _exr(path)
        # the package reads the file by itself: what it read must be what was read here
        if read_bytes(path) != data:
            raise InputError(path, "", "changed while it was read", "wait until it is written")
    else:
        found = "a JPEG" if kind is PictureKind.JPEG else f"a file that starts with {data[:8].hex(' ')}"
        what = f"got {found}, needed PNG, TIFF, PFM, NPY or EXR"
        raise InputError(path, "", what, "export the depth map in one of these, without loss")
    if stored.ndim != 2:
        shape = " x ".join(str(n) for n in stored.shape)
        what = f"holds {shape} numbers, needed one number a pixel"
        raise InputError(path, "", what, "export the depth itself, not a coloured picture of it")
    if stored.dtype.kind not in "uif" or stored.dtype.itemsize > 8:
        what = f"numbers stored as {stored.dtype}, needed whole or floating point numbers"
        raise InputError(path, "", what, _EXPORT_AGAIN)
    return stored


def _check_size(path: Path, width: int, height: int, sized: Sized | None = None) -> None:
    if sized is not None and width > 0 and height > 0:
        sized(width, height)
    if width < 1 or height < 1 or width * height > LARGEST_PIXELS:
        what = f"{width} x {height} pixels, needed 1 to {LARGEST_PIXELS // 10**6} million"
        raise InputError(path, "", what, _EXPORT_AGAIN)


def _npy(path: Path, data: bytes, sized: Sized | None) -> NDArray[Any]:
    """Read an NPY array of plain numbers; the header is matched, never evaluated.

    Source of the format: NumPy, numpy.lib.format.
    """
    mend = "save a plain array with numpy.save (pickled objects are never read)"
    wide = data[6:7] in (b"\x02", b"\x03")
    length = int.from_bytes(data[8 : 12 if wide else 10], "little")
    start = 12 if wide else 10
    header, values = data[start : start + min(length, 10_000)], data[start + length :]
    found = re.search(rb"'descr'\s*:\s*(\[|'[^']{1,40}')", header)
    order = re.search(rb"'fortran_order'\s*:\s*(True|False)", header)
    sizes = re.search(rb"'shape'\s*:\s*\(([0-9,\s]*)\)", header)
    if found is None or order is None or sizes is None or length > 10_000:
        raise InputError(path, "", "damaged NPY header", mend)
    name = found[1].decode("latin-1")
    known = re.fullmatch(r"'([<>=|]?)([uif])([1248])'", name)
    if known is None or known[2] + known[3] == "f1":
        raise InputError(path, "", f"array of {shown(name)}, needed plain numbers", mend)
    shape = [int(size[:12]) for size in sizes[1].split(b",") if size.strip().isdigit()]
    if len(shape) != 2:
        what = f"array of {len(shape)} dimensions, needed two dimensions, height and width"
        raise InputError(path, "", what, "save the array with one number a pixel")
    height, width = shape
    _check_size(path, width, height, sized)
    dtype = np.dtype(known[1].replace("|", "") + known[2] + known[3])
    if len(values) != height * width * dtype.itemsize:
        what = (
            f"{len(values)} bytes of numbers, needed {height * width * dtype.itemsize} for {width} x {height}"
        )
        raise InputError(path, "", what, "save it again with numpy.save; was it cut short?")
    flat = np.frombuffer(values, dtype)
    stored = flat.reshape((width, height)).T if order[1] == b"True" else flat.reshape((height, width))
    return stored.astype(dtype.newbyteorder("="))


def _pfm(path: Path, data: bytes, sized: Sized | None) -> NDArray[Any]:
    """Read a portable float map: rows from the bottom up, byte order by the sign of the scale."""
    header = re.match(rb"(P[fF])\s+(\d{1,7})\s+(\d{1,7})\s+([-+0-9.eE]{1,32})[ \t]*\r?\n", data)
    if header is None:
        raise InputError(path, "", "damaged PFM header", _EXPORT_AGAIN)
    if header[1] == b"PF":
        raise InputError(path, "", "a colour PFM, needed one number a pixel (Pf)", _EXPORT_AGAIN)
    width, height = int(header[2]), int(header[3])
    _check_size(path, width, height, sized)
    try:
        scale = float(header[4])
    except ValueError:
        scale = 0.0
    if not (np.isfinite(scale) and scale != 0):
        what = f"scale {header[4].decode('ascii')!r}, needed a number other than 0"
        raise InputError(path, "PFM header", what, _EXPORT_AGAIN)
    if abs(scale) != 1.0:
        # the scale's meaning is not agreed between writers: applying it or not would both be guesses
        mend = "write the map with scale 1 or -1 and state the unit in unit_mm"
        raise InputError(path, "PFM header", f"scale {scale:g}, needed 1 or -1", mend)
    values = data[header.end() :]
    if len(values) < 4 * width * height:
        what = f"{len(values)} bytes of numbers, needed {4 * width * height} for {width} x {height}"
        raise InputError(path, "", what, "the file was cut short: export it again")
    rows = np.frombuffer(values, "<f4" if scale < 0 else ">f4", width * height).reshape(height, width)
    return rows[::-1].astype(np.float32)


def _exr(path: Path) -> NDArray[Any]:
    try:
        import OpenEXR
    except ImportError:
        mend = "install it with: pip install OpenEXR, or export the map as 32-bit float TIFF"
        raise InputError(path, "", "reading EXR needs the OpenEXR package", mend) from None
    try:
        with OpenEXR.File(str(path)) as opened:
            channels = {name: np.array(channel.pixels) for name, channel in opened.channels().items()}
    except Exception as error:  # whatever the package throws at a damaged file
        what = f"damaged EXR ({type(error).__name__})"
        raise InputError(path, "", what, _EXPORT_AGAIN) from None
    for name in ("Z", "depth", "Y", *(list(channels) if len(channels) == 1 else [])):
        if name in channels:
            stored: NDArray[Any] = channels[name]
            _check_size(path, stored.shape[-1], stored.shape[0])
            return stored
    what = f"channels {', '.join(list(channels)[:8])}, needed Z or a single one"
    raise InputError(path, "", what, "export depth alone, as channel Z")
