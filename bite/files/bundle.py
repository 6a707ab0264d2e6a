"""Everything a bite frame file points at, read and cross-checked: the input of all later stages."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from bite.files.corners import Corners
from bite.files.depth import DepthMap
from bite.files.device import Device
from bite.files.frame import FrameFile
from bite.files.profile import DepthProfile
from bite.files.rig import Rig
from bite.geometry.camera import Camera
from bite.geometry.mesh import Mesh


@dataclass(frozen=True, slots=True)
class LoadedView:
    """One view: picture (uint8, shape (height, width, 3), RGB, EXIF orientation applied), camera, clicks if any."""

    name: str
    image_path: Path
    image: NDArray[np.uint8]
    camera: Camera
    corners: Corners | None


@dataclass(frozen=True, slots=True)
class BiteFrame:
    """One bite frame with all it points at. The first view is the reference.

    ``depth_camera`` is the camera of ``depth_map``: a view's, or its own. ``solved_mesh`` and ``rest_mesh`` are in mm,
    in their files' own axes, with equal vertex counts. ``hashes`` maps each input's path, as the frame file wrote it, to
    "sha256:...".
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

    @property
    def name(self) -> str:
        """Name of the frame, unique within a cast."""
        return self.file.name


def load_frame(path: str | Path) -> BiteFrame:
    """STUB."""
    raise NotImplementedError
