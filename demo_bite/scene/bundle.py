"""A simulated frame as the dataclass that reading a frame from disk gives, without touching the disk."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from bite.files.bundle import BiteFrame, LoadedView
from bite.files.corners import Corners
from bite.files.depth import DepthMap
from bite.files.device import Device
from bite.files.frame import FrameFile, MapEntry, ViewEntry
from bite.files.rig import Dial, PartNames, Rig
from bite.files.solved import Axes, SolvedEntry
from bite.geometry.mesh import Mesh
from bite.geometry.rigid import frozen
from bite.geometry.teeth import Part
from demo_bite.scene.simulate import SimulatedFrame

PART_NAMES = {
    Part.SKIN: PartNames(("face",)),
    Part.UPPER: PartNames(("teeth_up",)),
    Part.LOWER: PartNames(("teeth_low",)),
    Part.OTHER: PartNames(("gums", "tongue")),
}
DIAL = Dial(positive_is_back=True, mm_per_unit=3.2, mm_per_unit_sd=None, travel=None, limit=1.0, step=0.01)
BENCH_DEPTH = Device(
    name="bench-depth",
    source="(simulated)",
    smoothing_px=2.0,
    smoothing_sd_px=1.0,
    enamel_bias_mm=0.15,
    enamel_bias_sd_mm=0.08,
    noise_mm=0.4,
    correlation_px=1.5,
)
_FOLDER = Path("/simulated")


def as_bite_frame(
    simulated: SimulatedFrame,
    *,
    name: str = "simulated",
    performer: str = "nobody",
    device: Device = BENCH_DEPTH,
    dial: Dial = DIAL,
    dial_now: float = 0.0,
) -> BiteFrame:
    """Wrap a simulated frame as if it had been read from disk; its paths are fictitious, its hashes empty.

    Pictures that were not computed are black.
    """
    views, entries = [], []
    for view in simulated.views:
        width, height = view.camera.width_px, view.camera.height_px
        picture, clicks = _FOLDER / f"{view.name}.png", _FOLDER / f"{view.name}.corners.json"
        image = np.zeros((height, width, 3), np.uint8) if view.image is None else view.image
        corners = Corners(clicks, picture.name, width, height, dict(view.corners), dict(view.landmarks))
        views.append(LoadedView(view.name, picture, image, view.camera, corners))
        entries.append(ViewEntry(view.name, picture, _FOLDER / f"{view.name}.camera.yaml", clicks))
    depth_map, map_entry, depth_view = None, None, None
    if simulated.depth_mm is not None:
        path, unit = _FOLDER / "front.depth.png", simulated.settings.sensor.unit_mm
        depth_map = DepthMap(path, simulated.depth_mm, unit)
        depth_view = "front" if simulated.depth_camera is simulated.views[0].camera else None
        own = None if depth_view else _FOLDER / "depth.camera.yaml"
        map_entry = MapEntry(path, unit or 1.0, None, depth_view, own)
    rig_path = _FOLDER / "rig.toml"
    rig = Rig(
        path=rig_path,
        rest=_FOLDER / "rest.obj",
        unit_mm=1.0,
        forward=frozen(simulated.forward_rest),
        up=frozen(simulated.up_rest),
        parts=PART_NAMES,
        corners=dict(simulated.corner_vertices),
        landmarks=dict(simulated.landmark_vertices),
        dial=dial,
    )
    solved = SolvedEntry(_FOLDER / "solved.obj", 1.0, Axes.OPENCV, None, rig_path, dial_now, None, None)
    file = FrameFile(
        _FOLDER / f"{name}.bite.toml", name, performer, device.name, None, tuple(entries), map_entry, solved
    )
    return BiteFrame(
        file=file,
        views=tuple(views),
        depth_map=depth_map,
        depth_camera=simulated.depth_camera if depth_map is not None else None,
        depth_view=depth_view,
        profile=None,
        rig=rig,
        rest_mesh=Mesh(simulated.rest_mm, simulated.faces, dict(simulated.groups)),
        solved_mesh=Mesh(simulated.solved_mm, simulated.faces, dict(simulated.groups)),
        device=device,
        hashes={},
    )
