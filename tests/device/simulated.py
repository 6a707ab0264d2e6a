"""A flat card before a wall as a depth sensor would read it: a simulator that shares no code with bite.

Coverage of a pixel by the card is the exact area of the unit square cut by a half plane (Sutherland and
Hodgman's clipping, written out here), the filters are SciPy's and OpenCV's own.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from scipy import ndimage

FOCAL_PX = 300.0


@dataclass(frozen=True)
class Scene:
    """What is planted. ``kind``: none, gauss, box, median, bilateral; ``size``: sd or window, px."""

    kind: str = "gauss"
    size: float = 2.0
    width: int = 160
    height: int = 120
    angle_deg: float = 5.0
    at: float = 0.45
    card_mm: float = 400.0
    wall_mm: float = 520.0
    noise_mm: float = 1.0
    correlation_px: float = 0.0
    noise_after: bool = False
    step_mm: float = 0.1
    holes: float = 0.0
    flying: float = 0.0
    range_mm: float = 20.0
    tilt: tuple[float, float] = (0.03, -0.02)
    bow_mm: float = 0.0


def covered(width: int, height: int, angle_rad: float, through: tuple[float, float]) -> np.ndarray:
    """Give the share of each pixel's square on the left of a line, exactly."""
    normal = np.array([np.cos(angle_rad), np.sin(angle_rad)])
    y, x = np.mgrid[0:height, 0:width].astype(float)
    distance = (x - through[0]) * normal[0] + (y - through[1]) * normal[1]
    out = np.where(distance < 0, 1.0, 0.0)
    square = [(-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5)]
    for row, column in np.argwhere(np.abs(distance) < 0.75):
        away = distance[row, column]
        kept: list[tuple[float, float]] = []
        for k, p in enumerate(square):
            q = square[(k + 1) % 4]
            dp, dq = (away + normal[0] * a + normal[1] * b for a, b in (p, q))
            if dp <= 0:
                kept.append(p)
            if (dp < 0) != (dq < 0) and dp != dq:
                t = dp / (dp - dq)
                kept.append((p[0] + t * (q[0] - p[0]), p[1] + t * (q[1] - p[1])))
        area = 0.0
        for k in range(len(kept)):
            (ax, ay), (bx, by) = kept[k], kept[(k + 1) % len(kept)]
            area += 0.5 * (ax * by - bx * ay)
        out[row, column] = abs(area)
    return out


def readings(scene: Scene, rng: np.random.Generator) -> np.ndarray:
    """Give the map in mm, NaN where there is no reading."""
    height, width = scene.height, scene.width
    middle = (scene.at * width + rng.uniform(-0.5, 0.5), 0.5 * height + rng.uniform(-0.5, 0.5))
    share = covered(width, height, np.deg2rad(scene.angle_deg), middle)
    y, x = np.mgrid[0:height, 0:width].astype(float)
    ray_x, ray_y = (x - width / 2) / FOCAL_PX, (y - height / 2) / FOCAL_PX
    card = scene.card_mm / (1 - scene.tilt[0] * ray_x - scene.tilt[1] * ray_y)
    card = card + scene.bow_mm * ((y - height / 2) / (height / 2)) ** 2
    wall = scene.wall_mm / (1 - 0.02 * ray_x + 0.01 * ray_y)
    depth = share * card + (1 - share) * wall
    noise = rng.standard_normal(depth.shape)
    if scene.correlation_px > 0:
        noise = ndimage.gaussian_filter(noise, scene.correlation_px, mode="wrap")
        noise /= noise.std()
    noise = scene.noise_mm * noise * (depth / scene.card_mm) ** 2
    if not scene.noise_after:
        depth = depth + noise
    if scene.kind == "gauss":
        depth = ndimage.gaussian_filter(depth, scene.size, mode="nearest")
    elif scene.kind == "box":
        depth = ndimage.uniform_filter(depth, int(scene.size), mode="nearest")
    elif scene.kind == "median":
        depth = ndimage.median_filter(depth, int(scene.size), mode="nearest")
    elif scene.kind == "bilateral":
        window = 2 * int(np.ceil(2.5 * scene.size)) + 1
        single = depth.astype(np.float32)
        depth = cv2.bilateralFilter(single, window, scene.range_mm, scene.size).astype(float)
    if scene.noise_after:
        depth = depth + noise
    if scene.flying:
        gone = (rng.random(depth.shape) < scene.flying) & (ndimage.gaussian_filter(share, 2) % 1 > 0.02)
        depth = np.where(gone, rng.uniform(scene.card_mm, scene.wall_mm, depth.shape), depth)
    if scene.step_mm:
        depth = np.round(depth / scene.step_mm) * scene.step_mm
    if scene.holes:
        depth = np.where(rng.random(depth.shape) < scene.holes, np.nan, depth)
    return depth


CAMERA = """%YAML:1.0
---
image_width: {width}
image_height: {height}
camera_matrix: !!opencv-matrix
   rows: 3
   cols: 3
   dt: d
   data: [ 300.0, 0.0, {cx}, 0.0, 300.0, {cy}, 0.0, 0.0, 1.0 ]
distortion_coefficients: !!opencv-matrix
   rows: 1
   cols: 5
   dt: d
   data: [ 0.0, 0.0, 0.0, 0.0, 0.0 ]
"""


def write_card(
    folder: Path, name: str, depth_mm: np.ndarray, *, unit_mm: float = 0.1, device: str = "bench-depth"
) -> Path:
    """Write a card's frame file, picture, camera and map; 16 bits."""
    folder.mkdir(parents=True, exist_ok=True)
    height, width = depth_mm.shape
    stored = np.nan_to_num(np.round(depth_mm / unit_mm), nan=0.0).clip(0, 65535).astype(np.uint16)
    cv2.imwrite(str(folder / f"{name}.depth.png"), stored)
    cv2.imwrite(str(folder / f"{name}.png"), np.full((height, width), 128, np.uint8))
    camera = CAMERA.format(width=width, height=height, cx=width / 2, cy=height / 2)
    (folder / f"{name}.camera.yaml").write_text(camera, encoding="utf-8")
    path = folder / f"{name}.bite.toml"
    path.write_text(
        f'format = "bite-frame 1"\nname = "{name}"\nperformer = "card"\ndevice = "{device}"\n\n[[view]]\n'
        f'name = "front"\nimage = "{name}.png"\ncamera = "{name}.camera.yaml"\n\n[depth]\n'
        f'map = "{name}.depth.png"\nunit_mm = {unit_mm}\nview = "front"\n',
        encoding="utf-8",
    )
    return path
