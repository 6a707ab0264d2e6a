"""Everything a bite frame file points at, read and cross-checked: the input of all later stages."""

from __future__ import annotations

import unicodedata
from collections.abc import Collection, Mapping
from concurrent.futures import ThreadPoolExecutor
from contextvars import copy_context
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from bite.errors import InputError
from bite.files.camera import read_camera
from bite.files.corners import Corners, read_corners
from bite.files.depth import DepthMap, Matching, read_depth
from bite.files.device import Device, read_device_file
from bite.files.frame import (
    FrameFile,
    MapEntry,
    ProfileEntry,
    SolvedEntry,
    StereoEntry,
    ViewEntry,
    read_frame_file,
)
from bite.files.held_maps import held_map
from bite.files.image import read_image
from bite.files.mesh import read_mesh
from bite.files.profile import DepthProfile, read_profile
from bite.files.rig import Rig, read_rig
from bite.files.rig_parts import check_vertex_numbers, part_labels
from bite.files.rig_teeth import check_teeth
from bite.files.solved import Axes
from bite.files.solved_parts import solved_part_labels
from bite.files.source import hashes_of_what_is_read, key_beside
from bite.files.tables import shown
from bite.geometry.camera import Camera
from bite.geometry.mesh import Mesh
from bite.geometry.rigid import frozen

_FEWEST_LANDMARKS = 4
"""As in `evidence.model.pose`: with three points a pose has four answers."""


@dataclass(frozen=True, slots=True)
class LoadedView:
    """One view: picture (uint8, shape (height, width, 3), RGB, turned upright), camera, clicks if any."""

    name: str
    image_path: Path
    image: NDArray[np.uint8]
    camera: Camera
    corners: Corners | None


@dataclass(frozen=True, slots=True)
class BiteFrame:
    """One bite frame with all it points at. The first view is the reference.

    ``depth_camera`` is the camera of ``depth_map``: a view's, or its own. A frame that names a pair of views
    is read without a map; ``bite.evidence.stereo.depth`` matches one, and says in ``stereo`` how.
    ``solved_mesh`` and ``rest_mesh`` are in mm, in their files' own axes, with equal vertex counts.
    ``hashes`` maps each input's path, as the frame file wrote it, to "sha256:..." of the bytes parsed.
    """

    file: FrameFile
    views: tuple[LoadedView, ...]
    depth_map: DepthMap | None
    depth_camera: Camera | None
    depth_view: str | None
    profile: DepthProfile | None
    rig: Rig | None
    rest_mesh: Mesh | None
    solved_mesh: Mesh | None
    device: Device
    hashes: Mapping[str, str]
    stereo: Matching | None = None

    @property
    def name(self) -> str:
        """Name of the frame, unique within a cast."""
        return self.file.name


def load_frame(
    path: str | Path,
    *,
    devices: Mapping[str, Device] | None = None,
    with_corners: bool = True,
    without: Collection[str] = (),
) -> BiteFrame:
    """Read a bite frame file and all that it points at, and hold them against each other.

    Parameters
    ----------
    path : path or str
        The bite frame file.
    devices : mapping from name to Device
        A cast's own device tables, used where the frame has no device file. Without either the device has no
        values.
    with_corners : bool
        Without, corner files are not opened and need not be there yet: views come without clicks.
    without : collection of "solved" and "depth"
        What is left out as if the frame file did not name it: pictures can be clicked without.

    Raises
    ------
    InputError
        For the first thing that is wrong in any of the files, or between two of them.
    """
    with hashes_of_what_is_read() as read:
        file = read_frame_file(Path(path))
        if "solved" in without:
            file = replace(file, solved=None)
        if "depth" in without:
            file = replace(file, depth=None)
        views, depth, model = _contents(file, with_corners=with_corners)
        device = device_of(file, devices)
    depth_map, depth_camera, depth_view, profile = depth
    rig, rest, solved = model
    hashes = {
        key_beside(file.path, p): read.of(p) for p in input_paths(file, rig, with_corners=with_corners)
    }
    return BiteFrame(
        file, views, depth_map, depth_camera, depth_view, profile, rig, rest, solved, device, hashes
    )


_Depth = tuple[DepthMap | None, Camera | None, str | None, DepthProfile | None]
_Model = tuple[Rig | None, Mesh | None, Mesh | None]


def _contents(file: FrameFile, *, with_corners: bool) -> tuple[tuple[LoadedView, ...], _Depth, _Model]:
    # OpenCV decodes a photograph without Python's lock, and Python reads the meshes meanwhile. The model's
    # errors are still raised last, so that a frame with several always tells the same one
    with ThreadPoolExecutor(1) as beside:
        model = beside.submit(copy_context().run, _model, file)
        views = tuple(_view(entry if with_corners else replace(entry, corners=None)) for entry in file.views)
        _check_placement(file, views)
        depth: _Depth = None, None, None, None
        if isinstance(file.depth, MapEntry):
            depth = (*_depth(file, file.depth, views), file.depth.view, None)
        elif isinstance(file.depth, ProfileEntry):
            depth = None, None, None, read_profile(file.depth.profile)
        try:
            return views, depth, model.result()
        finally:
            # an error would hold this frame of the stack and be held by it, pictures and all
            del model


def input_paths(file: FrameFile, rig: Rig | None, *, with_corners: bool = True) -> tuple[Path, ...]:
    """List every file that a frame is read from: those whose hashes stand in its result."""
    found = [file.path]
    for entry in file.views:
        found += [entry.image, entry.camera]
        found += [entry.corners] if with_corners and entry.corners is not None else []
    if isinstance(file.depth, MapEntry):
        camera = [] if file.depth.camera is None else [file.depth.camera]
        found += [file.depth.map, *file.depth.more_maps, *camera]
    elif isinstance(file.depth, ProfileEntry):
        found.append(file.depth.profile)
    if rig is not None:
        found += [rig.path, rig.rest]
    if file.solved is not None and file.solved.mesh is not None:
        found.append(file.solved.mesh)
    if file.device_file is not None:
        found.append(file.device_file)
    return tuple(found)


def device_of(file: FrameFile, devices: Mapping[str, Device] | None) -> Device:
    """Give what is known of a frame's device: its own file, else a cast's tables, else nothing."""
    if file.device_file is not None:
        return read_device_file(file.device_file, file.device)
    return (devices or {}).get(file.device) or Device(file.device, "none")


def _view(entry: ViewEntry) -> LoadedView:
    camera = read_camera(entry.camera)
    corners = None if entry.corners is None else read_corners(entry.corners)
    sizes = {entry.camera.name: (camera.width_px, camera.height_px)}
    if corners is not None and entry.corners is not None:
        sizes[entry.corners.name] = (corners.width_px, corners.height_px)

    def sized(width: int, height: int) -> None:
        _check_sizes(entry, {entry.image.name: (width, height), **sizes})

    image = read_image(entry.image, sized=sized)
    if corners is not None and entry.corners is not None:
        clicked = unicodedata.normalize("NFC", corners.image_file.replace("\\", "/").rsplit("/", 1)[-1])
        if clicked != unicodedata.normalize("NFC", entry.image.name):
            what = f"clicked in {shown(clicked)}, but the view's picture is {shown(entry.image.name)}"
            raise InputError(
                entry.corners, "[image] file", what, "name the right corner file, or click again"
            )
    return LoadedView(entry.name, entry.image, image, camera, corners)


def _check_sizes(entry: ViewEntry, sizes: Mapping[str, tuple[int, int]]) -> None:
    """Refuse a picture, camera and corner file that are not of one size, before anything is decoded."""
    if len(set(sizes.values())) == 1:
        return
    listed = ", ".join(f"{name} {width} x {height}" for name, (width, height) in sizes.items())
    other_camera = sizes[entry.camera.name] != sizes[entry.image.name]
    odd = entry.camera if other_camera else entry.corners or entry.camera
    mend = "use the picture that was calibrated and clicked, at full size, turned as its tag says"
    raise InputError(odd, f"view {shown(entry.name)}", f"sizes differ: {listed}", mend)


def _check_placement(file: FrameFile, views: tuple[LoadedView, ...]) -> None:
    mend = "write rotation and translation_mm with x_view = R x_reference + T"
    for number, (entry, view) in enumerate(zip(file.views, views, strict=True)):
        placed = view.camera.camera_from_reference
        moved = bool(placed.translation_mm.any())
        still = not moved and np.allclose(placed.rotation, np.eye(3), atol=1e-9)
        if number == 0 and not still:
            what = "the first view is the reference, but its camera file moves it"
            raise InputError(
                entry.camera, "rotation", what, "list the reference view first, without rotation"
            )
        if number > 0 and not moved:
            what = f"view {shown(entry.name)} stands where the reference view {shown(views[0].name)} does"
            raise InputError(entry.camera, "translation_mm", what, mend)
    if isinstance(file.depth, StereoEntry) and len(views) < 2:
        raise InputError(file.path, "[depth] stereo", "needs two views, got one", "add a second [[view]]")


def _depth(file: FrameFile, entry: MapEntry, views: tuple[LoadedView, ...]) -> tuple[DepthMap, Camera]:
    if entry.camera is not None:
        camera, owner = read_camera(entry.camera), entry.camera.name
        mend = "name the depth camera's own calibration at the map's size"
    else:
        camera, owner = next(v.camera for v in views if v.name == entry.view), f"view {shown(entry.view)}"
        mend = "write camera = the depth camera's file in place of view, in [depth]"

    def read(path: Path) -> DepthMap:
        def sized(width: int, height: int) -> None:
            if (width, height) != (camera.width_px, camera.height_px):
                what = f"depth map is {width} x {height}, {owner} is {camera.width_px} x {camera.height_px}"
                raise InputError(path, "", what, mend)

        depth = read_depth(path, unit_mm=entry.unit_mm, inverse_per_m=entry.inverse_per_m, sized=sized)
        # for formats that say it only once they are read
        sized(depth.depth_mm.shape[1], depth.depth_mm.shape[0])
        return depth

    maps = [read(path) for path in (entry.map, *entry.more_maps)]
    return (maps[0] if len(maps) == 1 else held_map(maps, file.path)), camera


def _model(file: FrameFile) -> _Model:
    entry = file.solved
    if entry is None or entry.rig is None:
        return None, None, None
    rig = read_rig(entry.rig)
    _check_dial(file, entry, rig)
    _check_ordered(rig.path, "rest", rig.rest)
    rest = read_mesh(rig.rest, unit_mm=rig.unit_mm, prim=rig.prim, time=rig.time)
    check_vertex_numbers(rest, rig)
    check_teeth(rest, rig, part_labels(rest, rig))
    if entry.mesh is None or entry.unit_mm is None:
        return rig, rest, None
    _check_ordered(file.path, "[solved] mesh", entry.mesh)
    like = rig.rest.name, len(rest.vertices_mm)
    solved = read_mesh(entry.mesh, unit_mm=entry.unit_mm, like=like, prim=entry.prim, time=entry.time)
    if solved.z_up and entry.axes is Axes.Y_UP and entry.pose is None:
        solved = _y_up(solved)
    if isinstance(entry.pose, str) and len(rig.landmarks) < _FEWEST_LANDMARKS:
        what = f'pose = "landmarks" needs {_FEWEST_LANDMARKS} or more in the rig, got {len(rig.landmarks)}'
        raise InputError(rig.path, "[landmarks]", what, "add landmark vertices to the rig, or write the pose")
    solved_part_labels(entry.mesh, solved, rest, rig)
    return rig, rest, solved


def _y_up(mesh: Mesh) -> Mesh:
    """Turn a mesh whose file has z up so that y is up, as [solved] axes says; x stays."""
    x, y, z = mesh.vertices_mm.T
    return replace(mesh, vertices_mm=frozen(np.stack([x, z, -y], axis=1)), z_up=False)


def _check_dial(file: FrameFile, entry: SolvedEntry, rig: Rig) -> None:
    if entry.dial is not None and abs(entry.dial) > rig.dial.limit * (1 + 1e-9):
        what = f"{entry.dial:g} lies beyond the rig's limit {rig.dial.limit:g}"
        raise InputError(
            file.path,
            "[solved] dial",
            what,
            "write the value the model was solved with, or correct the limit",
        )


def _check_ordered(owner: Path, where: str, path: Path) -> None:
    if path.suffix.lower() == ".stl":
        what = f"{path.name} has no stable vertex numbers (STL stores loose triangles)"
        raise InputError(owner, where, what, "export OBJ, PLY or GLB")
