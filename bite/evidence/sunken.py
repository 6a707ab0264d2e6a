"""How sunken a mouth looks: enamel that shows, how far its edge stands behind the lip, and reliefs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.fit.depth_block import DepthBlock
from bite.fit.head import Head
from bite.fit.offset import Estimate, OffsetFit
from bite.fit.parameters import COUNT, P
from bite.geometry.camera import Camera
from bite.geometry.render import Grid, Window, face_normals, render
from bite.geometry.rigid import Array, Rigid, frozen
from bite.geometry.teeth import LOWER, SKIN, UPPER, is_upper

Faces = NDArray[np.int32]
MIDLINE_MM = 3.0
LIP_MM = 8.0
"""The upper lip is the skin within this above its lower border, at the midline (our choice)."""
PROFILE_MM = 40.0
_PROFILE_PX = 240
_FAR_MM = 4000.0
_LIGHT = np.array([-0.35, -0.6, -0.72])
"""Towards the light in the frame of whoever looks: from the upper left, a little in front."""
_JUMP_MM = 3.0


@dataclass(frozen=True, slots=True)
class Sunken:
    """Numbers and shaded reliefs of a mouth before and after the teeth move, and as measured.

    Parameters
    ----------
    area_before_mm2, area_after_mm2 : float, enamel that the shooting camera sees of the solved model
    behind_before_mm, behind_after_mm : float or None, how far the upper incisal edge stands behind the upper
    lip along
        forward; None where the rig names no upper corner or no lip stands above it
    behind_measured : Estimate or None, the same as the offset says it truly is
    front, profile : tuple of array, shading 0..1 (NaN for nothing), before, after, measured: from the
    shooting camera, and
        cut at the midline, seen from the picture's right
    """

    area_before_mm2: float
    area_after_mm2: float
    behind_before_mm: float | None
    behind_after_mm: float | None
    behind_measured: Estimate | None
    front: tuple[Array, Array, Array]
    profile: tuple[Array, Array, Array]


def sunken(fit: OffsetFit, moved_mm: float) -> Sunken | None:
    """Measure how sunken the mouth of a solved model looks; None without a depth map.

    Parameters
    ----------
    fit : OffsetFit
    moved_mm : float, the move that "after" stands for
    """
    block = fit.depth_block
    if block is None:
        return None
    before = np.array(fit.parameters[:COUNT])
    before[[P.FORWARD_MM, P.RIGHT_MM, P.UP_MM]] = 0.0
    after = before.copy()
    after[P.FORWARD_MM] = moved_mm
    looks = [_front(block, at) for at in (before, after)]
    behind = _behind_lip_mm(block.head)
    measured = None if behind is None else Estimate(behind - fit.offset.value, fit.offset.sd)
    camera = _side_camera(block.head, before)
    points, faces = _measured_surface(block)
    profiles = [
        _profile(camera, block.head, block.head.placed(at), block.head.faces) for at in (before, after)
    ]
    return Sunken(
        looks[0][0],
        looks[1][0],
        behind,
        None if behind is None else behind - moved_mm,
        measured,
        (looks[0][1], looks[1][1], _shaded_map(block)),
        (profiles[0], profiles[1], _profile(camera, block.head, points, faces)),
    )


def _front(block: DepthBlock, parameters: Array) -> tuple[float, Array]:
    """Give the enamel area seen, mm^2, and the shading of every pixel."""
    head, camera = block.head, block.grid.camera
    placed = camera.camera_from_reference.apply(head.placed(parameters))
    depth, face, shade = _looked_at(block.grid, placed, head.faces)
    hit = face >= 0
    part = head.face_part[face[hit]]
    rays = np.concatenate([block.grid.slopes[hit], np.ones((int(hit.sum()), 1))], axis=1)
    normal = face_normals(placed, head.faces[face[hit]])
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-12)
    facing = np.maximum(np.abs(np.einsum("ij,ij->i", normal, rays)), 0.1)
    area = depth[hit] ** 2 / (camera.matrix[0, 0] * camera.matrix[1, 1]) / facing
    return float(area[(part == UPPER) | (part == LOWER)].sum()), shade


def _looked_at(grid: Grid, placed_mm: Array, faces: Faces) -> tuple[Array, Faces, Array]:
    seen = render(grid, placed_mm, faces)
    hit = seen.face >= 0
    shade = np.full(hit.shape, np.nan)
    normal = face_normals(placed_mm, faces[seen.face[hit]])
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-12)
    normal *= np.where(normal[:, 2:] > 0, -1.0, 1.0)
    shade[hit] = 0.15 + 0.85 * np.clip(normal @ _LIGHT, 0.0, 1.0)
    return seen.depth_mm, seen.face, shade


def _smoothed(block: DepthBlock) -> Array:
    """Give the measured map with a light blur, so that its noise does not drown its shape, mm."""
    from scipy.ndimage import gaussian_filter

    known = np.isfinite(block.measured_mm)
    share = gaussian_filter(known.astype(float), 1.2)
    total = gaussian_filter(np.where(known, block.measured_mm, 0.0), 1.2)
    return np.where(share > 0.3, total / np.maximum(share, 1e-9), np.nan)


def _shaded_map(block: DepthBlock) -> Array:
    depth = _smoothed(block)
    down, across = np.gradient(depth, block.mm_per_px)
    normal = np.stack([across, down, -np.ones(depth.shape)], -1)
    normal /= np.linalg.norm(normal, axis=-1, keepdims=True)
    return np.asarray(0.15 + 0.85 * np.clip(normal @ _LIGHT, 0.0, 1.0))


def _measured_surface(block: DepthBlock) -> tuple[Array, Faces]:
    """Give the measured map as triangles between neighbouring readings, reference frame, mm."""
    depth = _smoothed(block)
    rays = np.concatenate([block.grid.slopes, np.ones((*depth.shape, 1))], -1)
    local = (rays * np.nan_to_num(depth, nan=-1.0)[..., None]).reshape(-1, 3)
    points = block.grid.camera.camera_from_reference.inverse().apply(local)
    number = np.arange(depth.size).reshape(depth.shape)
    a, b, c, d = number[:-1, :-1], number[:-1, 1:], number[1:, :-1], number[1:, 1:]
    faces = np.concatenate([np.stack(t, -1).reshape(-1, 3) for t in ((a, b, c), (b, d, c))])
    corner = depth.ravel()[faces]
    good = np.isfinite(corner).all(1) & (np.ptp(np.nan_to_num(corner), axis=1) < _JUMP_MM)
    return points, faces[good].astype(np.int32)


def _side_camera(head: Head, parameters: Array) -> Camera:
    """Make a camera far to the picture's right of the incisors, so far that lines stay all but parallel."""
    turn = np.stack([-head.forward, -head.up, -head.right])
    at = head.place(0.5 * (head.row_centre(True) + head.row_centre(False))[None], False, parameters)[0]
    focal = _PROFILE_PX / (2 * PROFILE_MM) * _FAR_MM
    middle = (_PROFILE_PX - 1) / 2
    matrix = np.array([[focal, 0, middle], [0, focal, middle], [0, 0, 1.0]])
    placed = Rigid(frozen(turn), frozen(np.array([0, 0, _FAR_MM]) - turn @ at))
    return Camera(_PROFILE_PX, _PROFILE_PX, frozen(matrix), frozen(np.zeros(5)), placed)


def _profile(camera: Camera, head: Head, points_mm: Array, faces: Faces) -> Array:
    local = camera.camera_from_reference.apply(points_mm)
    # what lies on the viewer's side of the midline is cut away
    kept = (local[faces, 2] >= _FAR_MM).all(1)
    if not kept.any():
        return np.full((_PROFILE_PX, _PROFILE_PX), np.nan)
    grid = Grid.of(camera, Window(0, 0, _PROFILE_PX, _PROFILE_PX))
    return _looked_at(grid, local, faces[kept])[2]


def _behind_lip_mm(head: Head) -> float | None:
    edge = [point for code, point in head.corners.items() if is_upper(code) and code.endswith("m")]
    edge = edge or [point for code, point in head.corners.items() if is_upper(code)]
    if not edge:
        return None
    at = np.mean(edge, axis=0)
    skin = head.points_mm[np.unique(head.faces[head.face_part == SKIN])] - at
    above = skin @ head.up
    middle = (np.abs(skin @ head.right) < MIDLINE_MM) & (above > 0)
    if not middle.any():
        return None
    border = above[middle].min()
    lip = middle & (above < border + LIP_MM)
    return float((skin[lip] @ head.forward).max())
