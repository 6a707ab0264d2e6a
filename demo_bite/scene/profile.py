"""One line of depths down the middle of a mouth, measured and solved, with what each place belongs to."""

from __future__ import annotations

import csv
from dataclasses import replace

import numpy as np

from bite.files.bundle import BiteFrame
from bite.files.frame import ProfileEntry
from bite.files.profile import DepthProfile
from bite.geometry.render import Grid, Window, render
from bite.geometry.rigid import Array, frozen
from bite.geometry.teeth import LOWER, PARTS, SKIN, UPPER
from demo_bite.scene.area import over_area
from demo_bite.scene.bundle import as_bite_frame
from demo_bite.scene.simulate import SimulatedFrame

_REACH_MM = 42.0


def profile_csv(simulated: SimulatedFrame) -> str:
    """Give a depth profile along a column of the depth map, through the middle of tooth 11, as CSV.

    Its positions are mm down the face at the distance of the upper incisal edge; the solved depths are
    those of the sharp solved model in the same pixels, means over their areas as a sensor's are. ``region``
    is what the ray through a pixel's centre meets.
    """
    if simulated.depth_mm is None:
        raise ValueError("a profile needs a depth map: settings.depth is False")
    camera = simulated.depth_camera
    edge = simulated.true_mm[[simulated.corner_vertices[code] for code in ("11d", "11m")]].mean(0)
    column, middle = np.rint(camera.project(edge[None])[0]).astype(int)
    mm_per_px = float(camera.camera_from_reference.apply(edge)[2]) / camera.focal_px
    reach = int(_REACH_MM / mm_per_px)
    window = Window(int(column), int(middle) - reach, 1, 2 * reach + 1)
    grid = Grid.of(camera, window)
    faces, part = simulated.faces, simulated.face_part
    true = render(grid, camera.camera_from_reference.apply(simulated.true_mm), faces)
    solved_mm = over_area(
        camera, window, camera.camera_from_reference.apply(simulated.solved_mm), faces, part
    ).depth_mm[:, 0]
    measured = window.cut(simulated.depth_mm)[:, 0]
    lines = ["along_mm,depth_mm,sigma_mm,region,solved_depth_mm"]
    for row in range(window.height):
        face = true.face[row, 0]
        label = part[face] if face >= 0 else -1
        name = str(PARTS[label]) if label in (SKIN, UPPER, LOWER) else "none"
        depth = "" if np.isnan(measured[row]) else f"{measured[row]:.2f}"
        model = "" if np.isnan(solved_mm[row]) else f"{solved_mm[row]:.3f}"
        sigma = simulated.settings.sensor.noise_mm
        lines.append(f"{(row - reach) * mm_per_px:.4f},{depth},{sigma:.2f},{name},{model}")
    return "\n".join(lines) + "\n"


def as_profile_frame(simulated: SimulatedFrame) -> BiteFrame:
    """Wrap a simulated frame as one that has a depth profile, solved corners and clicks, and no mesh."""
    rows = list(csv.DictReader(profile_csv(simulated).splitlines()))

    def column(name: str) -> Array:
        return frozen([float(row[name]) if row[name] else np.nan for row in rows])

    whole = as_bite_frame(simulated)
    path = whole.file.path.with_name("midline.csv")
    profile = DepthProfile(
        path,
        column("along_mm"),
        column("depth_mm"),
        column("sigma_mm"),
        tuple(row["region"] for row in rows),
        column("solved_depth_mm"),
    )
    corners = {code: simulated.solved_mm[number] for code, number in simulated.corner_vertices.items()}
    assert whole.file.solved is not None
    solved = replace(
        whole.file.solved,
        mesh=None,
        unit_mm=None,
        axes=None,
        corners_mm=corners,
        forward=frozen(simulated.truth.solved_from_true.turn(simulated.truth.forward)),
    )
    return replace(
        whole,
        file=replace(whole.file, depth=ProfileEntry(path), solved=solved),
        depth_map=None,
        depth_camera=None,
        depth_view=None,
        profile=profile,
        rest_mesh=None,
        solved_mesh=None,
    )
