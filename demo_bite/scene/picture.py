"""A picture of a head, colour or grey: shading, lens, blur, exposure, noise. The faces are nobody's."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bite.geometry.camera import Camera
from bite.geometry.render import Grid, Window, render
from bite.geometry.rigid import Array, Rigid, frozen
from bite.geometry.teeth import LOWER, UPPER
from demo_bite.scene.assemble import Head
from demo_bite.scene.beard import over_skin
from demo_bite.scene.light import shade
from demo_bite.scene.paint import Places, paint
from demo_bite.scene.settings import Lamp, PictureSettings, Texture
from demo_bite.scene.texture import texture_factor

_OVER = 2
_STRIP_ROWS = 240
_BACKDROP, _DARK = np.array([0.040, 0.046, 0.052]), 0.15
_GREY = np.array([0.42, 0.40, 0.18])
"""What a monochrome chip makes of red, green and blue (invented)."""


def take_picture(
    rng: np.random.Generator,
    settings: PictureSettings,
    *,
    head: Head,
    camera_from_head: Rigid,
    camera: Camera,
    hair: Array | None = None,
) -> NDArray[np.uint8]:
    """Photograph a head.

    Parameters
    ----------
    hair : array, shape (n,), how much of a beard's height its tips have at each vertex; None: no beard

    Returns
    -------
    image : array, shape (height, width, 3), uint8 RGB, gamma 2.2
    """
    light = head_light(
        head,
        camera_from_head=camera_from_head,
        camera=camera,
        texture=settings.texture,
        hair=hair,
        lamps=settings.lamps,
    )
    return develop(rng, settings, light)


def head_light(
    head: Head,
    *,
    camera_from_head: Rigid,
    camera: Camera,
    texture: Texture | None = None,
    hair: Array | None = None,
    lamps: tuple[Lamp, ...] = (),
) -> Array:
    """Give the light that falls on each pixel, linear RGB, shape (height, width, 3): no lens, no sensor."""
    view_from_head = camera.camera_from_reference @ camera_from_head
    light, depth = _radiance(head, view_from_head, camera, texture, hair, lamps)
    light *= _openness(depth, camera.focal_px * _OVER)[..., None]
    light[~np.isfinite(depth)] = _BACKDROP * (_DARK if lamps else 1.0)
    height, width = camera.height_px, camera.width_px
    return np.asarray(light.reshape(height, _OVER, width, _OVER, 3).mean((1, 3)))


def develop(rng: np.random.Generator, settings: PictureSettings, light: Array) -> NDArray[np.uint8]:
    """Turn light, linear RGB, into a picture: exposure, blur of focus and motion, clipping, noise.

    A monochrome camera's picture has three equal channels, as a reader gives it.
    """
    from scipy.ndimage import gaussian_filter

    small = light * settings.exposure
    if settings.grey:
        small = (small @ _GREY)[..., None]
    if settings.focus_blur_px > 0:
        small = gaussian_filter(small, (settings.focus_blur_px, settings.focus_blur_px, 0))
    small = _moved(small, settings.motion_px)
    shot = rng.normal(size=small.shape) * settings.noise / 255.0
    stored = np.clip(np.round(255 * (np.clip(small, 0, 1) ** (1 / 2.2) + shot)), 0, 255).astype(np.uint8)
    return np.repeat(stored, 3, axis=-1) if settings.grey else stored


def _radiance(
    head: Head,
    view_from_head: Rigid,
    camera: Camera,
    texture: Texture | None,
    hair: Array | None,
    lamps: tuple[Lamp, ...],
) -> tuple[Array, Array]:
    """Give light, linear RGB, and depth, both at ``_OVER`` times the picture's size."""
    from demo_bite.scene.simulate import vertex_normals

    points = view_from_head.apply(head.vertices)
    normals = vertex_normals(head.vertices, head.faces)
    middle = (_OVER - 1) / 2
    finer = np.array([[_OVER, 0, middle], [0, _OVER, middle], [0, 0, 1.0]])
    width, height = camera.width_px * _OVER, camera.height_px * _OVER
    big = Camera(width, height, frozen(finer @ camera.matrix), camera.distortion)
    light, depth = np.zeros((height, width, 3)), np.full((height, width), np.nan)
    edges = {
        part: float((head.vertices[[head.corners[c] for c in codes]] @ head.up).mean())
        for part, codes in ((UPPER, ("11m", "21m")), (LOWER, ("41m", "31m")))
    }
    for top in range(0, height, _STRIP_ROWS):
        window = Window(0, top, width, min(_STRIP_ROWS, height - top))
        grid = Grid.of(big, window)
        seen = render(grid, points, head.faces)
        hit = seen.face >= 0
        if not hit.any():
            continue
        place = np.column_stack([grid.slopes[hit], np.ones(hit.sum())]) * seen.depth_mm[hit][:, None]
        at = view_from_head.inverse().apply(place)
        face = seen.face[hit]
        weight = _barycentric(at, head.vertices[head.faces[face]])
        normal = (normals[head.faces[face]] * weight[..., None]).sum(1)
        normal /= np.linalg.norm(normal, axis=1)[:, None] + 1e-12
        part = head.face_part[face]
        from_edge = np.where(part == UPPER, at @ head.up - edges[UPPER], edges[LOWER] - at @ head.up)
        lip = (head.lip[head.faces[face]] * weight).sum(1)
        painted = paint(head.anatomy, Places(at, normal, part, head.face_group[face], lip, from_edge))
        turned = view_from_head.turn(normal)
        lit = shade(lamps, camera.camera_from_reference, place, turned, painted)
        strip = np.zeros((*hit.shape, 3))
        colour = painted.colour
        if texture is not None:
            colour = colour * texture_factor(texture, head.anatomy.jitter_seed, at, part)[:, None]
        gloss = painted.gloss
        if hair is not None:
            grown = (hair[head.faces[face]] * weight).sum(1)
            colour = over_skin(colour, at, grown, head.anatomy.jitter_seed)
            gloss = gloss * (1.0 - 0.7 * grown)
        strip[hit] = colour * lit.diffuse[:, None] * 0.62 + (gloss * lit.shine)[:, None]
        light[top : top + window.height] = strip
        depth[top : top + window.height] = seen.depth_mm
    return light, depth


def _barycentric(at: Array, corners: Array) -> Array:
    """Give the weights of a face's three vertices at places on it, shape (n, 3)."""
    ab, ac, ap = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0], at - corners[:, 0]
    bb, bc, cc = (ab * ab).sum(1), (ab * ac).sum(1), (ac * ac).sum(1)
    pb, pc = (ap * ab).sum(1), (ap * ac).sum(1)
    below = np.maximum(bb * cc - bc * bc, 1e-12)
    v, w = (cc * pb - bc * pc) / below, (bb * pc - bc * pb) / below
    return np.clip(np.stack([1 - v - w, v, w], -1), 0, 1)


def _openness(depth: Array, focal_px: float) -> Array:
    """Darken places that lie behind what surrounds them: a cheap stand-in for soft shadow."""
    from scipy.ndimage import gaussian_filter

    valid = np.isfinite(depth)
    near = float(np.nanmedian(depth)) if valid.any() else 1.0
    shade = np.ones_like(depth)
    for radius_mm, strength_mm in ((0.8, 4.0), (2.5, 10.0), (7.0, 22.0)):
        sd = radius_mm * focal_px / near
        weight = gaussian_filter(valid.astype(np.float32), sd, truncate=3)
        mean = gaussian_filter(np.where(valid, depth - near, 0).astype(np.float32), sd, truncate=3)
        behind = np.where(valid, depth - near - mean / np.maximum(weight, 1e-6), 0.0)
        shade *= np.exp(-np.clip(behind, 0, 40) / strength_mm)
    return shade


def _moved(image: Array, motion_px: tuple[float, float]) -> Array:
    """Blur along a straight motion during the exposure."""
    from scipy.ndimage import shift

    length = float(np.hypot(*motion_px))
    if length < 0.1:
        return image
    steps = int(np.ceil(length * 2)) + 1
    total = np.zeros_like(image)
    for share in np.linspace(-0.5, 0.5, steps):
        total += shift(image, (motion_px[1] * share, motion_px[0] * share, 0), order=1, mode="nearest")
    return total / steps
