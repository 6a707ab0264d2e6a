"""What lies beside a picture, by its name: camera, second view, depth, mesh, rig and device table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from bite.errors import InputError
from bite.files.camera import read_camera
from bite.files.source import is_file

_PICTURES = (".png", ".jpg", ".jpeg", ".tif", ".tiff")
CAMERAS = (".yaml", ".yml", ".json")
_DEPTHS = (".png", ".tif", ".tiff", ".pfm", ".npy", ".exr")
_MESHES = (".obj", ".ply", ".glb", ".stl")
_FAR = 3
"""Files named before the list is cut short (our choice)."""


@dataclass(frozen=True, slots=True)
class Beside:
    """Files found beside a picture by their names; None where there is none, or more than one would do.

    ``doubtful`` says in sentences where more than one would do. ``held`` are depth maps of the same held bite
    beside ``depth``, ``inverse_per_m`` what that one stores, where the file it came out of said so, and
    ``depth_doubt`` why its distances may not be believed; nobody finds these by their names. ``second`` is a
    picture with a camera file of its own that stands in place to this one's: the other view of a pair.
    """

    camera: Path | None
    depth: Path | None
    depth_camera: Path | None
    profile: Path | None
    mesh: Path | None
    rig: Path | None
    device_file: Path | None
    doubtful: tuple[str, ...]
    held: tuple[Path, ...] = ()
    inverse_per_m: tuple[float, float] | None = None
    depth_doubt: str = ""
    second: Path | None = None


def look_beside(image: Path) -> Beside:
    """Find what lies beside a picture: camera, second view, depth, mesh; rig and device table also one up."""
    stem, here = image.stem, image.parent
    doubtful: list[str] = []

    def one(what: str, found: Sequence[Path]) -> Path | None:
        if len(found) > 1:
            listed = ", ".join(path.name for path in found[:_FAR]) + (" ..." if len(found) > _FAR else "")
            doubtful.append(f"more than one {what} would do: {listed}")
        return found[0] if len(found) == 1 else None

    def named(what: str, names: Sequence[str], endings: Sequence[str]) -> Path | None:
        """Take the first name that any file has; two endings of one name are a doubt."""
        for name in names:
            found = [here / f"{name}{ending}" for ending in endings if is_file(here / f"{name}{ending}")]
            if found:
                return one(what, found)
        return None

    def near(what: str, pattern: str) -> Path | None:
        for folder in (here, here.parent):
            found = sorted(path for path in folder.glob(pattern) if is_file(path))
            if found:
                return one(what, found)
        return None

    camera = named("camera file", [f"{stem}.camera", "camera"], CAMERAS)
    depth = named("depth map", [f"{stem}.depth", "depth"], _DEPTHS)
    profile = (
        named("depth profile", [f"{stem}.profile", "profile", "midline"], [".csv"]) if depth is None else None
    )
    return Beside(
        camera=camera,
        depth=depth,
        depth_camera=named("depth camera file", [f"{stem}.depth.camera", "depth.camera"], CAMERAS)
        if depth
        else None,
        profile=profile,
        mesh=named("solved mesh", [f"{stem}.solved", "solved", stem], _MESHES),
        rig=near("rig file", "rig.toml") or near("rig file", "*.rig.toml"),
        device_file=near("device table", "*.device.toml"),
        second=one("second view", _placed_views(image)),
        doubtful=tuple(doubtful),
    )


def _placed_views(image: Path) -> list[Path]:
    """Give the pictures beside one that are calibrated to it: their own camera files say where they stand."""
    found = []
    for camera in sorted(path for ending in CAMERAS for path in image.parent.glob(f"*.camera{ending}")):
        stem = camera.name.removesuffix(camera.suffix).removesuffix(".camera")
        if stem == "depth" or stem.endswith(".depth"):
            continue
        pictures = [image.with_name(stem + ending) for ending in _PICTURES]
        there = [path for path in pictures if path != image and is_file(path)]
        if len(there) == 1 and stands_aside(camera):
            found += there
    return found


def stands_aside(camera: Path) -> bool:
    """Tell whether a camera file places its camera beside another one; an unreadable file does not."""
    try:
        return bool(read_camera(camera).camera_from_reference.translation_mm.any())
    except InputError:
        return False
