"""Phone pictures that carry depth: a HEIF file taken apart into picture, depth map and camera files.

HEIF is ISO/IEC 23008-12; how an auxiliary depth picture codes distance is the depth representation
information of ISO/IEC 23008-2 (ITU-T H.265), which libheif hands on: inverse distance, disparity or distance,
linear between the ends that the file states. Calibration and what the maker says of the depth's accuracy
stand in XMP packets (ISO 16684-1), whose names are read without their maker's prefix. Reading takes the
optional package pillow-heif.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
from numpy.typing import NDArray

from bite.errors import InputError
from bite.files.atomic import write_together
from bite.files.camera import camera_text
from bite.files.source import read_bytes
from bite.geometry.camera import Camera
from bite.geometry.rigid import frozen

ENDINGS = (".heic", ".heif", ".hif")
INVERSE_DISTANCE, DISPARITY = 0, 1
"""Kinds of depth representation (ITU-T H.265, depth representation information; the names of libheif)."""
_XMP = re.compile(rb"<x:xmpmeta.{0,200000}?</x:xmpmeta>", re.DOTALL)
_NOT_READ = "export the picture again, as HEIC or as JPEG without depth"


@dataclass(frozen=True, slots=True)
class PhoneDepth:
    """The depth picture of a HEIF file, as stored.

    Parameters
    ----------
    stored : array, shape (height, width), uint8 or uint16
    inverse_per_m : (float, float) or None, 1/m at stored 0 and at full scale
    accuracy : str, "absolute", "relative", or "" where the file does not say
    """

    stored: NDArray[Any]
    inverse_per_m: tuple[float, float]
    accuracy: str

    @property
    def full_scale(self) -> int:
        """The largest stored number."""
        return int(np.iinfo(self.stored.dtype).max)

    def level_mm(self) -> tuple[float, float] | None:
        """Give the distance of the nearest tenth of the readings and what one grey level is there, mm."""
        low, high = self.inverse_per_m
        per_m = low + (high - low) * self.stored.astype(np.float64) / self.full_scale
        near = float(np.quantile(per_m[np.isfinite(per_m)], 0.9))
        if near <= 0:
            return None
        distance_mm = 1000.0 / near
        return distance_mm, distance_mm**2 / 1000.0 * abs(high - low) / self.full_scale


@dataclass(frozen=True, slots=True)
class PhonePicture:
    """A HEIF file taken apart.

    Parameters
    ----------
    rgb : array, shape (height, width, 3), uint8, turned as the file says
    depth : PhoneDepth or None
    camera_matrix : array, shape (3, 3), px of ``rgb``, or None
    notes : tuple of str, what is missing or was not used
    """

    rgb: NDArray[np.uint8]
    depth: PhoneDepth | None
    camera_matrix: NDArray[np.float64] | None
    notes: tuple[str, ...]


def is_heif(path: Path) -> bool:
    """Tell by its ending whether a file is meant to be HEIF."""
    return path.suffix.casefold() in ENDINGS


def read_heif(path: Path) -> PhonePicture:
    """Read a HEIF file.

    Raises
    ------
    InputError
        Without pillow-heif, and where the file cannot be read.
    """
    try:
        import pillow_heif
    except ImportError:
        what = "is a HEIF picture, which takes the optional package pillow-heif"
        raise InputError(path, "", what, "pip install 'bite[heif]', or export a PNG or JPEG") from None
    data = read_bytes(path)
    try:
        opened: Any = pillow_heif.open_heif(data, convert_hdr_to_8bit=True)
        picture = opened[opened.primary_index]
        rgb = np.asarray(picture.to_pillow().convert("RGB"))
        maps = [found for found in picture.info.get("depth_images", []) if found is not None]
        stored = np.asarray(maps[0].to_pillow()) if maps else None
    except Exception as error:  # the decoder tells every fault of a file by an exception of its own
        raise InputError(path, "", f"cannot be read as HEIF ({type(error).__name__})", _NOT_READ) from None
    said = _said(data)
    notes: list[str] = []
    depth = None
    if stored is None:
        notes.append("the picture carries no depth")
    else:
        metadata = maps[0].info.get("metadata") or {}
        depth = _depth(stored, metadata, said, rgb.shape, notes)
    matrix = _camera_matrix(said, rgb.shape[1], rgb.shape[0], notes)
    return PhonePicture(rgb, depth, matrix, tuple(notes))


def _said(data: bytes) -> dict[str, list[str]]:
    """Give what the XMP packets say, by names without prefix; the first packet that says a thing counts."""
    found: dict[str, list[str]] = {}
    for packet in _XMP.findall(data)[:50]:
        if b"<!DOCTYPE" in packet or b"<!ENTITY" in packet:
            continue  # XMP has none, and entities can be made to grow without end
        try:
            root = ElementTree.fromstring(packet)
        except ElementTree.ParseError:
            continue
        for node in root.iter():
            name = node.tag.rpartition("}")[2]
            values = [item.text or "" for item in node.iter() if item.tag.endswith("}li")]
            if not values and node.text and node.text.strip():
                values = [node.text.strip()]
            if values and name not in {"li", "Seq", "Description", "RDF", "xmpmeta"}:
                found.setdefault(name, values)
            for attribute, value in node.attrib.items():
                found.setdefault(attribute.rpartition("}")[2], [value])
    return found


def _depth(
    stored: NDArray[Any],
    metadata: dict[str, Any],
    said: dict[str, list[str]],
    shape: tuple[int, ...],
    notes: list[str],
) -> PhoneDepth | None:
    if stored.ndim == 3:
        stored = stored[:, :, 0]
    if stored.dtype not in (np.uint8, np.uint16):
        notes.append(f"its depth is stored as {stored.dtype}, which is not read")
        return None
    if abs(stored.shape[1] / stored.shape[0] - shape[1] / shape[0]) > 0.02 * shape[1] / shape[0]:
        sizes = f"{stored.shape[1]} x {stored.shape[0]} beside {shape[1]} x {shape[0]}"
        notes.append(f"its depth has another shape than the picture ({sizes}) and is left out")
        return None
    kind = metadata.get("representation_type")
    ends: tuple[Any, Any] = (metadata.get("d_min"), metadata.get("d_max"))
    inverse: tuple[float, float] | None = None
    if kind == DISPARITY and _in_per_m(ends, said):
        inverse = (float(ends[0]), float(ends[1]))
    near, far = metadata.get("z_near"), metadata.get("z_far")
    if kind == INVERSE_DISTANCE and near and far:
        inverse = (1.0 / float(far), 1.0 / float(near))
    if inverse is None or min(inverse) < 0 or inverse[0] == inverse[1] or not np.isfinite(inverse).all():
        notes.append("its depth does not say what its grey levels stand for, and is left out")
        return None
    accuracy = (said.get("Accuracy") or [""])[0].casefold()
    return PhoneDepth(stored, inverse, accuracy if accuracy in ("absolute", "relative") else "")


def _in_per_m(ends: tuple[Any, Any], said: dict[str, list[str]]) -> bool:
    """Tell whether disparities are 1/m: so where the maker's own packet gives the same two ends as floats.

    The standard's disparity is in pixels of some other view, and says nothing without that view.
    """
    try:
        stated = float(said["FloatMinValue"][0]), float(said["FloatMaxValue"][0])
        return bool(np.allclose(np.array(ends, dtype=np.float64), stated, rtol=1e-2))
    except (KeyError, IndexError, ValueError, TypeError):
        return False


def _camera_matrix(
    said: dict[str, list[str]], width: int, height: int, notes: list[str]
) -> NDArray[np.float64] | None:
    """Give the stored calibration for the picture's own size; None where there is none that fits."""
    try:
        numbers = [float(value) for value in said["IntrinsicMatrix"]]
        wide, high = (float(said[f"IntrinsicMatrixReference{side}"][0]) for side in ("Width", "Height"))
    except (KeyError, IndexError, ValueError):
        notes.append("it carries no calibration: calibrate the camera, or ask its maker")
        return None
    # stored column by column; a last element of 1 tells that it is a camera matrix at all
    matrix = np.array(numbers[:9], dtype=np.float64)
    if len(numbers) != 9 or not np.isfinite(matrix).all() or matrix[8] != 1.0 or min(wide, high) <= 0:
        notes.append("its calibration cannot be read")
        return None
    if abs(wide / high - width / height) > 0.01 * width / height:
        notes.append("its calibration is of the picture before it was turned or cut, and is left out")
        return None
    matrix = matrix.reshape(3, 3).T
    if "LensDistortionCoefficients" in said:
        notes.append("its lens distortion is a table that no camera file here can hold: calibrate for more")
    return scaled_matrix(matrix, width / wide)


def scaled_matrix(matrix: NDArray[np.float64], scale: float) -> NDArray[np.float64]:
    """Give a camera matrix for a picture that is so many times as wide; pixel centres lie on whole numbers.

    Examples
    --------
    >>> scaled_matrix(np.array([[1000.0, 0, 511.5], [0, 1000.0, 383.5], [0, 0, 1]]), 0.5)[:2, 2]
    array([255.5, 191.5])
    """
    found = np.array(matrix, dtype=np.float64)
    found[:2] *= scale
    found[:2, 2] += 0.5 * scale - 0.5
    return found


def take_apart(path: Path, picture: PhonePicture, name: str) -> tuple[Path, tuple[str, ...]]:
    """Write picture, depth map and camera files beside a HEIF file.

    Parameters
    ----------
    path : Path, of the HEIF file
    picture : PhonePicture
    name : str, what the files are called

    Returns
    -------
    image, told : path of the picture, and sentences on what was written and what is missing

    Raises
    ------
    InputError
        When one of the files is there already, or the folder cannot be written.
    """
    image = path.with_name(f"{name}.png")
    files: dict[Path, bytes] = {image: _png(picture.rgb[:, :, ::-1])}
    height, width = picture.rgb.shape[:2]
    told = [f"{image.name}: {width} x {height}, as the file holds it"]
    if picture.camera_matrix is not None:
        files[path.with_name(f"{name}.camera.yaml")] = _camera_file(picture.camera_matrix, width, height)
        told.append(f"{name}.camera.yaml: the calibration that the file carries")
    depth = picture.depth
    if depth is not None:
        files[path.with_name(f"{name}.depth.png")] = _png(depth.stored)
        rows, columns = depth.stored.shape
        told.append(_depth_told(f"{name}.depth.png", depth))
        if picture.camera_matrix is not None:
            scaled = scaled_matrix(picture.camera_matrix, columns / width)
            files[path.with_name(f"{name}.depth.camera.yaml")] = _camera_file(scaled, columns, rows)
    for file in files:
        if file.exists():
            what = "is there already, and is left as it is"
            raise InputError(file, "", what, "move it away, or name another frame with --name")
    write_together(files)
    return image, (*told, *picture.notes)


def _depth_told(name: str, depth: PhoneDepth) -> str:
    rows, columns = depth.stored.shape
    text = f"{name}: {columns} x {rows}, {8 * depth.stored.itemsize} bit"
    level = depth.level_mm()
    if level is not None:
        text += f"; one grey level is {level[1]:.1f} mm at {level[0]:.0f} mm, its nearest tenth"
    if depth.accuracy == "absolute":
        return f"{text}; the file calls its depth absolute"
    if depth.accuracy == "relative":
        return f"{text}; the file calls its depth relative: no distance in mm follows from it, and no offset"
    return f"{text}; the file does not say whether its depth is absolute"


def _png(image: NDArray[Any]) -> bytes:
    import cv2

    done, data = cv2.imencode(".png", image)
    assert done
    return bytes(data.tobytes())


def _camera_file(matrix: NDArray[np.float64], width: int, height: int) -> bytes:
    camera = Camera(width, height, frozen(matrix), frozen(np.zeros(4)))
    return camera_text(camera).encode()
