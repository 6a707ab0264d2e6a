"""One line of depths down the middle of a mouth, measured and solved, with what each place belongs to."""

from __future__ import annotations

import numpy as np

from bite.geometry.render import Grid, Window, render
from bite.geometry.teeth import LOWER, PARTS, SKIN, UPPER
from demo_bite.scene.simulate import SimulatedFrame

_REACH_MM = 42.0


def profile_csv(simulated: SimulatedFrame) -> str:
    """Give a depth profile along a column of the depth map, through the middle of tooth 11, as CSV.

    Its positions are mm down the face at the distance of the upper incisal edge; the solved depths are
    those of the sharp solved model along the same rays.
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
    solved = render(grid, camera.camera_from_reference.apply(simulated.solved_mm), faces)
    measured = window.cut(simulated.depth_mm)[:, 0]
    lines = ["along_mm,depth_mm,sigma_mm,region,solved_depth_mm"]
    for row in range(window.height):
        face = true.face[row, 0]
        label = part[face] if face >= 0 else -1
        name = str(PARTS[label]) if label in (SKIN, UPPER, LOWER) else "none"
        depth = "" if np.isnan(measured[row]) else f"{measured[row]:.2f}"
        model = "" if np.isnan(solved.depth_mm[row, 0]) else f"{solved.depth_mm[row, 0]:.3f}"
        sigma = simulated.settings.sensor.noise_mm
        lines.append(f"{(row - reach) * mm_per_px:.4f},{depth},{sigma:.2f},{name},{model}")
    return "\n".join(lines) + "\n"
