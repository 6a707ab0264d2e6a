"""Camera files: OpenCV FileStorage, YAML or JSON, with the field names of OpenCV's calibration samples."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np

from bite.errors import DegenerateGeometryError, InputError
from bite.files.atomic import write_text
from bite.files.filestorage import read_filestorage
from bite.files.source import read_text
from bite.files.tables import nearest, shown
from bite.geometry.camera import Camera
from bite.geometry.rigid import Array, Rigid, frozen

KEYS = (
    "image_width",
    "image_height",
    "camera_matrix",
    "distortion_coefficients",
    "rotation",
    "translation_mm",
)
_ALSO_WRITTEN = (
    # what calibration programs write beside these; none of it is needed here (from memory)
    *("calibration_time", "calibration_date", "nframes", "nr_of_frames", "image_count"),
    *("board_width", "board_height", "square_size", "marker_size", "flags", "flagValue", "fisheye_model"),
    *(
        "fix_aspect_ratio",
        "aspectRatio",
        "aspect_ratio",
        "avg_reprojection_error",
        "rms",
        "reprojection_error",
    ),
    *("per_view_reprojection_errors", "extrinsic_parameters", "image_points", "grid_points"),
    *("camera_name", "distortion_model", "rectification_matrix", "projection_matrix"),
)
_MEANT = {
    "translation": "translation_mm, in mm",
    "translation_m": "translation_mm, in mm",
    "translation_vector": "translation_mm, in mm",
    "tvec": "translation_mm, in mm",
    "T": "translation_mm, in mm",
    "R": "rotation",
    "rvec": "rotation, as a 3x3 matrix",
    "rotation_matrix": "rotation",
    "K": "camera_matrix",
    "M": "camera_matrix",
    "intrinsics": "camera_matrix",
    "D": "distortion_coefficients",
    "dist_coeffs": "distortion_coefficients",
    "width": "image_width",
    "height": "image_height",
}
_DISTORTION_COUNTS = (4, 5, 8, 12, 14)
_ROTATION_TOLERANCE = 1e-4  # six printed digits of a matrix leave 1e-6 or so; more is another matrix
_LARGEST_SIDE_PX = 100_000


def read_camera(path: Path) -> Camera:
    """Read a camera file.

    Raises
    ------
    InputError
        For a missing, unknown or doubled key, wrong sizes, values that are not finite, a rotation that is
        none, or a lens model that folds back inside the picture.
    """
    path = Path(path)
    fields = read_filestorage(path, read_text(path))
    for key in fields:
        if key not in KEYS and key not in _ALSO_WRITTEN:
            mend = f"write it as {_MEANT[key]}" if key in _MEANT else nearest(key, KEYS)
            raise InputError(path, shown(key, quote=False), "unknown key", mend)
    width, height = (_side(path, fields, key) for key in ("image_width", "image_height"))
    matrix = _values(path, fields, "camera_matrix", (3, 3), "the 3x3 matrix fx 0 cx, 0 fy cy, 0 0 1, px")
    if not (matrix[0, 0] > 0 and matrix[1, 1] > 0):
        what = f"focal lengths {matrix[0, 0]:g} and {matrix[1, 1]:g}, needed both positive"
        raise InputError(path, "camera_matrix", what, "write fx 0 cx, 0 fy cy, 0 0 1 row by row, in px")
    if matrix[1, 0] != 0 or not np.array_equal(matrix[2], [0.0, 0.0, 1.0]):
        what = f"lower rows start {matrix[1, 0]:g} and end {matrix[2].tolist()}, needed 0 and [0, 0, 1]"
        raise InputError(path, "camera_matrix", what, "write fx 0 cx, 0 fy cy, 0 0 1 row by row, in px")
    distortion = _values(
        path, fields, "distortion_coefficients", None, "4, 5, 8, 12 or 14 lens terms; zeros if none"
    )
    if distortion.size not in _DISTORTION_COUNTS:
        what = f"got {distortion.size} values, needed 4, 5, 8, 12 or 14"
        raise InputError(
            path, "distortion_coefficients", what, "write all lens terms, zeros for an ideal lens"
        )
    camera = Camera(width, height, frozen(matrix), frozen(distortion.ravel()), _placement(path, fields))
    _check_lens(path, camera)
    return camera


def write_camera(path: Path, camera: Camera) -> None:
    """Write a camera file for OpenCV's FileStorage, JSON where the name ends in .json and else YAML."""
    write_text(path, camera_text(camera, as_json=Path(path).suffix.lower() == ".json"))


def camera_text(camera: Camera, *, as_json: bool = False) -> str:
    """Give the text of a camera file for OpenCV's FileStorage, YAML or JSON."""
    placed = camera.camera_from_reference
    matrices = {"camera_matrix": camera.matrix, "distortion_coefficients": camera.distortion.reshape(1, -1)}
    if not (np.array_equal(placed.rotation, np.eye(3)) and not placed.translation_mm.any()):
        matrices |= {"rotation": placed.rotation, "translation_mm": placed.translation_mm.reshape(3, 1)}
    sizes = {"image_width": int(camera.width_px), "image_height": int(camera.height_px)}
    if as_json:
        table: dict[str, object] = dict(sizes)
        for key, values in matrices.items():
            rows, cols = values.shape
            data = [float(v) for v in values.ravel()]
            table[key] = {"type_id": "opencv-matrix", "rows": rows, "cols": cols, "dt": "d", "data": data}
        return json.dumps(table, indent=1, allow_nan=False) + "\n"
    lines = ["%YAML:1.0", "---", *(f"{key}: {value}" for key, value in sizes.items())]
    for key, values in matrices.items():
        rows, cols = values.shape
        lines += [f"{key}: !!opencv-matrix", f"   rows: {rows}", f"   cols: {cols}", "   dt: d"]
        numbers = [repr(float(v)) for v in values.ravel()]
        # FileStorage reads long lines badly: a row of values a line
        broken = ",\n       ".join(", ".join(numbers[i : i + 4]) for i in range(0, len(numbers), 4))
        lines.append(f"   data: [ {broken} ]")
    return "\n".join(lines) + "\n"


def _side(path: Path, fields: dict[str, object], key: str) -> int:
    value = fields.get(key)
    mend = f"write the calibrated picture's size in px, such as {key}: 1080"
    if value is None:
        raise InputError(path, key, "missing", mend)
    if not isinstance(value, np.ndarray) or value.shape != () or float(value) != np.floor(value):
        raise InputError(path, key, f"got {shown(_plain(value))}, needed one whole number", mend)
    if not 1 <= value <= _LARGEST_SIDE_PX:
        raise InputError(path, key, f"got {float(value):g}, needed 1 to {_LARGEST_SIDE_PX}", mend)
    return int(value)


def _plain(value: object) -> object:
    return value.tolist() if isinstance(value, np.ndarray) else value


def _values(
    path: Path, fields: dict[str, object], key: str, shape: tuple[int, int] | None, needed: str
) -> Array:
    value = fields.get(key)
    if value is None:
        raise InputError(path, key, "missing", f"write {needed}")
    if not isinstance(value, np.ndarray) or value.shape == ():
        raise InputError(path, key, f"got {shown(_plain(value))}, needed a matrix", f"write {needed}")
    if not np.isfinite(value).all():
        raise InputError(path, key, "holds a value that is not finite", f"write {needed}")
    if shape is not None and value.shape != shape:
        if value.size != shape[0] * shape[1] or 1 not in shape:
            found = "x".join(str(s) for s in value.shape)
            raise InputError(path, key, f"is {found}, needed {shape[0]}x{shape[1]}", f"write {needed}")
        value = value.reshape(shape)
    return np.asarray(value, float)


def _placement(path: Path, fields: dict[str, object]) -> Rigid:
    if "rotation" not in fields and "translation_mm" not in fields:
        return Rigid()
    needed = "rotation (3x3) and translation_mm (3x1, mm) together, with x_view = R x_reference + T"
    rotation = _values(path, fields, "rotation", (3, 3), needed)
    translation = _values(path, fields, "translation_mm", (3, 1), needed).ravel()
    nearest_rotation = proper_rotation(rotation)
    if nearest_rotation is None:
        what = "not a rotation: rows must be unit vectors at right angles with determinant +1"
        raise InputError(path, "rotation", what, "write the matrix with 6 digits or more")
    return Rigid(nearest_rotation, frozen(translation))


def proper_rotation(matrix: Array) -> Array | None:
    """Give the rotation nearest to a matrix that is one within 1e-4; None where it is not.

    Examples
    --------
    >>> proper_rotation(np.diag([1.0, 1.0, -1.0])) is None
    True
    """
    with np.errstate(all="ignore"):
        if not np.abs(matrix @ matrix.T - np.eye(3)).max() <= _ROTATION_TOLERANCE:
            return None
        u, _, vt = np.linalg.svd(matrix)
    return frozen(u @ vt) if np.linalg.det(u @ vt) > 0 else None


def _check_lens(path: Path, camera: Camera) -> None:
    """Refuse a lens model that is not one-to-one over the whole picture."""
    right, bottom = camera.width_px - 0.5, camera.height_px - 0.5
    along = np.linspace(0.0, 1.0, 17)
    x, y = -0.5 + along * (right + 0.5), -0.5 + along * (bottom + 0.5)
    edge = np.concatenate(
        [
            np.column_stack([x, np.full(17, -0.5)]),
            np.column_stack([x, np.full(17, bottom)]),
            np.column_stack([np.full(17, -0.5), y]),
            np.column_stack([np.full(17, right), y]),
        ]
    )
    mend = "calibrate again with fewer lens terms or more pictures near the border"
    try:
        with np.errstate(all="ignore"):
            slopes = camera.slopes_from_pixels(edge)
            reach, fold = float(np.hypot(slopes[:, 0], slopes[:, 1]).max()), camera.fold_slope()
    except (DegenerateGeometryError, np.linalg.LinAlgError, ValueError, OverflowError) as error:
        reason = str(error) or "the lens terms are beyond computing"
        raise InputError(path, "distortion_coefficients", f"not usable: {reason}", mend) from None
    if not reach < fold:
        what = f"the lens model folds back at slope {fold:.3f}, but the picture reaches {reach:.3f}"
        raise InputError(path, "distortion_coefficients", what, mend)
