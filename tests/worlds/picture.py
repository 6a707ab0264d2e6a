"""A photograph of the scene and the corners that somebody clicks in it."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.worlds.camera import WorldCamera
from tests.worlds.description import Clicks, Picture
from tests.worlds.face import red
from tests.worlds.hair import before_skin_mm
from tests.worlds.rays import Window, cast, hit_faces
from tests.worlds.scene import GUM, SKIN, UPPER, Scene
from tests.worlds.skin_error import vertex_normals

Array = NDArray[np.float64]
_TO_LIGHT = np.array([-0.35, -0.5, -0.8]) / np.linalg.norm([-0.35, -0.5, -0.8])
"""Above, to the left and behind the camera, camera frame."""
_ENAMEL, _GUM, _DEEP = (226.0, 220.0, 202.0), (186.0, 104.0, 104.0), (70.0, 34.0, 34.0)
_HAIR = (58.0, 42.0, 32.0)


@dataclass(frozen=True, slots=True)
class Click:
    """A clicked corner; x, y and sigma are px."""

    state: str
    x: float = 0.0
    y: float = 0.0
    sigma_px: float = 0.0


def photograph(
    scene: Scene, camera: WorldCamera, tips_mm: Array, picture: Picture, rng: np.random.Generator
) -> NDArray[np.uint8]:
    """Render the scene in colour, shape (h, w, 3), red first."""
    vertices, faces, part = scene.in_camera(scene.vertices_mm), scene.faces, scene.part
    rays = cast(camera, Window(0, 0, camera.width_px, camera.height_px), vertices, faces, per_side=2, rng=rng)
    hit = rays.face >= 0
    tone = np.array([205.0, 150.0, 125.0]) * rng.uniform(0.45, 1.1)
    own = np.tile(tone, (len(vertices), 1))
    skin = len(scene.skin_mm)
    own[:skin][red(scene.plain_mm)] = 0.45 * tone + 0.55 * np.array([176.0, 82.0, 84.0])
    own[:skin][scene.lining] = (110.0, 46.0, 46.0)
    own[skin:][scene.teeth.deep] = _DEEP
    mouth_z = scene.vertices_mm[:, 2:]
    mixed = rays.at(np.hstack([own, vertex_normals(vertices, faces), mouth_z]), faces)
    colour, normal, behind = mixed[..., :3], mixed[..., 3:6], mixed[..., 6]
    kind = np.where(hit, part[rays.face], -1)
    colour[(kind > SKIN) & (kind < GUM)] = _ENAMEL
    colour[(kind == GUM) & (colour[..., 0] > 100.0)] = _GUM
    # normals mixed from three are hardly shorter than 1
    light = 0.42 + 0.58 * np.clip(normal @ _TO_LIGHT.astype(np.float32), 0.0, 1.0)
    # the mouth is a hole that little light finds its way into
    light *= np.where(kind > SKIN, np.clip(1.0 + behind / 22.0, 0.3, 1.0), 1.0)
    colour *= light[..., None]
    if tips_mm.any():
        padded = np.concatenate([tips_mm, np.zeros(len(vertices) - skin)])
        plain = np.concatenate([scene.plain_mm, scene.teeth.vertices_mm])
        tips = rays.at(padded, faces)
        before = before_skin_mm(tips, rays.at(plain, faces))
        share = np.clip(before / 1.0, 0.0, 0.85)[..., None]
        colour = (1.0 - share) * colour + share * np.array(_HAIR) * (0.6 + 0.8 * light[..., None])
    colour[~hit] = 40.0
    image = cv2.GaussianBlur(colour.mean(axis=2).astype(np.float32), (0, 0), picture.blur_px)
    image += rng.normal(0.0, picture.noise, image.shape)
    return np.clip(np.round(image), 0, 255).astype(np.uint8)


def clicked(scene: Scene, camera: WorldCamera, clicks: Clicks, rng: np.random.Generator) -> dict[str, Click]:
    """Click the distal corners, the lower ones where the upper edge covers them."""
    vertices, faces, part = scene.in_camera(scene.vertices_mm), scene.faces, scene.part
    skin = len(scene.skin_mm)
    codes = ("11d", "21d", "41d", "31d")
    lines = [scene.teeth.sides[c] if c[0] in "34" else np.array([scene.teeth.corners[c]]) for c in codes]
    every = vertices[skin + np.concatenate(lines)]
    seen_at = camera.project(every)
    hit, at_mm = hit_faces(camera, seen_at, vertices, faces)
    # a vertex on its own outline may be missed, or hit a hair before
    in_view = (hit < 0) | (at_mm > camera.own(every)[:, 2] - 0.4)
    cuts = np.cumsum([len(line) for line in lines])[:-1]
    found: dict[str, Click] = {}
    for code, line, pixels, face, free in zip(
        codes, lines, *(np.split(a, cuts) for a in (seen_at, hit, in_view)), strict=True
    ):
        noise = rng.normal(0.0, 1.0, 2)
        upper = code[0] in "12"
        if upper:
            at = pixels[0] + clicks.corner_px * noise
            found[code] = Click("seen", *at, clicks.corner_px) if free[0] else Click("hidden")
            continue
        corner = int(np.flatnonzero(line == scene.teeth.corners[code])[0])
        covered = np.flatnonzero(free[:-1] & ~free[1:] & (part[face[1:]] == UPPER))
        covered = covered[covered < corner]
        if len(covered):
            k = int(covered[-1])
            at = 0.5 * (pixels[k] + pixels[k + 1]) + clicks.covered_px * noise
            found[code] = Click("covered", *at, clicks.covered_px)
        elif free[corner]:
            found[code] = Click("seen", *(pixels[corner] + clicks.corner_px * noise), clicks.corner_px)
        else:
            found[code] = Click("hidden")
    return found
