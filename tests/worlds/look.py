"""What the cameras see of a true scene, before a sensor reads it: the same for all worlds that share it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tests.worlds.description import World
from tests.worlds.hair import before_skin_mm, nearer_mm, tips_mm
from tests.worlds.picture import photograph
from tests.worlds.rays import Window, cast, window_about
from tests.worlds.scene import LOWER, SKIN, UPPER, Scene, scene_key, scene_rng

Array = NDArray[np.float64]

REACH_MM = 45.0
"""Half the side of the square about the mouth that a map holds."""
RAYS_PER_SIDE = 4


@dataclass(frozen=True, slots=True)
class Seen:
    """Depth, enamel or not, and slant of each ray, shape (h, w, rays); the photograph of each view."""

    window: Window
    depth_mm: NDArray[np.float32]
    enamel: NDArray[np.bool_]
    slant: NDArray[np.float32]
    pictures: dict[str, NDArray[np.uint8]]


def look(world: World, number: int, scene: Scene, kept: Path | None = None) -> Seen:
    """Cast all rays of a frame, or read what was cast for another world with the same scene.

    Parameters
    ----------
    kept : Path, optional
        A folder for what is seen of each scene, 4 MB each.
    """
    file = None if kept is None else kept / f"{scene_key(world):08x}-{number}.npz"
    if file is not None and file.exists():
        with np.load(file) as held:
            pictures = {name: held[name] for name in ("front", "side") if name in held}
            rays = (held["depth_mm"], held["enamel"], held["slant"].astype(np.float32))
            return Seen(Window(*held["window"].tolist()), *rays, pictures)
    seen = _cast(world, number, scene)
    if file is not None:
        file.parent.mkdir(parents=True, exist_ok=True)
        window = np.array([seen.window.left, seen.window.top, seen.window.width, seen.window.height])
        half = file.with_name(file.name + ".part.npz")
        rays = {"depth_mm": seen.depth_mm, "enamel": seen.enamel, "slant": seen.slant.astype(np.float16)}
        np.savez(half, window=window, **rays, **seen.pictures)
        half.replace(file)
    return seen


def _cast(world: World, number: int, scene: Scene) -> Seen:
    rng = scene_rng(world, number, "depth")
    vertices, faces = scene.in_camera(scene.vertices_mm), scene.faces
    corners = np.array([[x, y, 5.0] for x in (-REACH_MM, REACH_MM) for y in (-REACH_MM, REACH_MM)])
    window = window_about(scene.depth, scene.in_camera(corners))
    rays = cast(scene.depth, window, vertices, faces, per_side=RAYS_PER_SIDE, rng=rng)
    kind = np.where(rays.face >= 0, scene.part[rays.face], -1)
    enamel = (kind == UPPER) | (kind == LOWER)
    in_view = rays.at(scene.vertices_mm, faces)[enamel][::7] if world.hair else np.zeros((0, 3))
    tips = tips_mm(world.hair, scene.skin_mm, scene.plain_mm, scene.lining, in_view)
    depth = rays.depth_mm
    if tips.any():
        rest = np.zeros(len(vertices) - len(tips))
        plain = np.concatenate([scene.plain_mm, scene.teeth.vertices_mm])
        before = before_skin_mm(rays.at(np.concatenate([tips, rest]), faces), rays.at(plain, faces))
        depth = (depth - nearer_mm(before, rays.slant) * (kind == SKIN)).astype(np.float32)
    pictures = {
        name: photograph(scene, camera, tips, world.picture, scene_rng(world, number, name))
        for name, camera in (("front", scene.photo), ("side", scene.second))
        if camera is not None
    }
    # half precision is enough for a slant, and is what is kept
    slant = rays.slant.astype(np.float16).astype(np.float32)
    return Seen(window, depth, enamel, slant, pictures)
