"""How sunken a mouth looks: enamel that shows, the lip's shadow on it, its edge behind the lip; reliefs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bite.fit.depth_block import DepthBlock
from bite.fit.head import Head
from bite.fit.offset import OffsetFit
from bite.fit.parameters import COUNT, P
from bite.geometry.render import Grid, Window
from bite.geometry.rigid import Array
from bite.geometry.teeth import LOWER, SKIN, UPPER, is_upper
from bite.opinion.relief import Relief, Surface, far_camera, lamp, relief
from bite.stats.estimate import Estimate

MIDLINE_MM = 3.0
LIP_MM = 8.0
"""The upper lip is the skin within this above its lower border, at the midline (our choice)."""
INCISORS_MM = 6.0
"""Enamel this far from the midline counts for the lip's shadow: the upper central incisors, about."""
LAMP_ABOVE_DEG = 50.0
"""The lamp stands this far above the bite plane, straight in front, as a key light does (our choice). A cut
profile is lit from the viewer's side and above, since the lamp in front would leave the cut dark."""
PROFILE_MM, FRONT_MM = 24.0, 33.0
_PROFILE_PX = 320
_JUMP_MM = 3.0
_MAP_BLUR_PX = 1.5


@dataclass(frozen=True, slots=True)
class Look:
    """A mouth as it looks once: before, after, or as measured.

    Parameters
    ----------
    front, profile : array, shading 0..1 (NaN for nothing): from the shooting camera, and cut at the midline
        and seen from the picture's right
    lip_px, edge_px : array, shape (2,), or None: the upper lip's foremost point and the upper incisal edge,
        in pixels of the profile
    """

    front: Array
    profile: Array
    lip_px: Array | None
    edge_px: Array | None


@dataclass(frozen=True, slots=True)
class Sunken:
    """Numbers and reliefs of a mouth before and after the teeth move, and as measured.

    Parameters
    ----------
    area_before_mm2, area_after_mm2 : float, enamel that the shooting camera sees of the solved model
    shadow_before_mm, shadow_after_mm : float or None, how far the shadow of the lip comes down the upper
        central incisors under the lamp, mean height; None where none of them shows
    behind_before_mm, behind_after_mm : float or None, how far the upper incisal edge stands behind the upper
        lip along forward; None where the rig names no upper corner or no lip stands above it
    behind_measured : Estimate or None, the same as the offset says it truly is
    before, after, measured : Look
    """

    area_before_mm2: float
    area_after_mm2: float
    shadow_before_mm: float | None
    shadow_after_mm: float | None
    behind_before_mm: float | None
    behind_after_mm: float | None
    behind_measured: Estimate | None
    before: Look
    after: Look
    measured: Look


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
    head = block.head
    before = np.array(fit.parameters[:COUNT])
    before[[P.FORWARD_MM, P.RIGHT_MM, P.UP_MM]] = 0.0
    after, true = before.copy(), before.copy()
    after[P.FORWARD_MM], true[P.FORWARD_MM] = moved_mm, fit.offset.value
    at = head.place(0.5 * (head.row_centre(True) + head.row_centre(False))[None], False, before)[0]
    tilt = np.deg2rad(LAMP_ABOVE_DEG)
    light = lamp(at, np.cos(tilt) * head.forward + np.sin(tilt) * head.up, head.up)
    beside = 0.2 * head.forward + 0.5 * head.up + 0.85 * head.right
    side_light = lamp(at, beside / np.linalg.norm(beside), head.up)
    side = far_camera(at, head.right, head.up, half_mm=PROFILE_MM, side_px=_PROFILE_PX)
    profile = Grid.of(side, Window(0, 0, _PROFILE_PX, _PROFILE_PX))
    surfaces = [Surface(head.placed(p), head.faces, head.face_part) for p in (before, after)]
    surfaces.append(_measured_surface(block))
    fronts = [relief(block.grid, surface, light) for surface in surfaces]
    shown = _round_mouth(block, at)
    edge, lip = _edge_and_lip(head)
    looks = []
    for surface, front, place in zip(surfaces, fronts, (before, after, true), strict=True):
        # what lies on the viewer's side of the midline is cut away, or cheeks would hide the teeth
        half = surface.cut(at, -head.right)
        marks = [
            None if point is None else side.project(head.place(point[None], with_teeth, place))[0]
            for point, with_teeth in ((lip, False), (edge, True))
        ]
        looks.append(Look(front.shade[shown], relief(profile, half, side_light).shade, *marks))
    behind = None if edge is None or lip is None else float((lip - edge) @ head.forward)
    return Sunken(
        _enamel_mm2(fronts[0]),
        _enamel_mm2(fronts[1]),
        _shadow_mm(fronts[0], head, at),
        _shadow_mm(fronts[1], head, at),
        behind,
        None if behind is None else behind - moved_mm,
        None if behind is None else Estimate(behind - fit.offset.value, fit.offset.sd),
        *looks,
    )


def _enamel_mm2(seen: Relief) -> float:
    return float(seen.area_mm2[(seen.part == UPPER) | (seen.part == LOWER)].sum())


def _shadow_mm(seen: Relief, head: Head, at_mm: Array) -> float | None:
    """Give the mean height of the shadow on the upper incisors: its area over the width of what shows."""
    aside = (seen.points_mm - at_mm) @ head.right
    teeth = (seen.part == UPPER) & (np.abs(np.nan_to_num(aside, nan=np.inf)) < INCISORS_MM)
    if not teeth.any():
        return None
    width_mm = float(np.ptp(aside[teeth]))
    return float(seen.area_mm2[teeth & ~seen.lit].sum()) / width_mm if width_mm > 1.0 else None


def _round_mouth(block: DepthBlock, at_mm: Array) -> tuple[slice, slice]:
    """Give the part of the block's window that shows the mouth and a little round it."""
    window = block.grid.window
    middle = block.grid.camera.project(at_mm[None])[0] - (window.left, window.top)
    half = FRONT_MM / block.mm_per_px * np.array([1.0, 0.75])
    low = np.maximum(np.floor(middle - half), 0).astype(int)
    high = np.minimum(np.ceil(middle + half), (window.width, window.height)).astype(int)
    return slice(low[1], high[1]), slice(low[0], high[0])


def _measured_surface(block: DepthBlock) -> Surface:
    """Give the measured map as triangles between neighbouring readings.

    A light blur keeps its noise from drowning its shape.
    """
    from scipy.ndimage import gaussian_filter

    known = np.isfinite(block.measured_mm)
    share = gaussian_filter(known.astype(float), _MAP_BLUR_PX)
    total = gaussian_filter(np.where(known, block.measured_mm, 0.0), _MAP_BLUR_PX)
    depth = np.where(share > 0.3, total / np.maximum(share, 1e-9), np.nan)
    rays = np.concatenate([block.grid.slopes, np.ones((*depth.shape, 1))], -1)
    local = (rays * np.nan_to_num(depth, nan=-1.0)[..., None]).reshape(-1, 3)
    points = block.grid.camera.camera_from_reference.inverse().apply(local)
    number = np.arange(depth.size).reshape(depth.shape)
    a, b, c, d = number[:-1, :-1], number[:-1, 1:], number[1:, :-1], number[1:, 1:]
    faces = np.concatenate([np.stack(t, -1).reshape(-1, 3) for t in ((a, b, c), (b, d, c))])
    corner = depth.ravel()[faces]
    good = np.isfinite(corner).all(1) & (np.ptp(np.nan_to_num(corner), axis=1) < _JUMP_MM)
    return Surface(points, faces[good].astype(np.int32), np.full(int(good.sum()), SKIN))


def _edge_and_lip(head: Head) -> tuple[Array | None, Array | None]:
    """Give the middle of the upper incisal edge and the foremost point of the upper lip above it, mm."""
    edge = [point for code, point in head.corners.items() if is_upper(code) and code.endswith("m")]
    edge = edge or [point for code, point in head.corners.items() if is_upper(code)]
    if not edge:
        return None, None
    at = np.mean(edge, axis=0)
    skin = head.points_mm[np.unique(head.faces[head.face_part == SKIN])]
    arm = skin - at
    above = arm @ head.up
    middle = (np.abs(arm @ head.right) < MIDLINE_MM) & (above > 0)
    if not middle.any():
        return at, None
    lip = np.flatnonzero(middle & (above < above[middle].min() + LIP_MM))
    return at, skin[lip[np.argmax(arm[lip] @ head.forward)]]
