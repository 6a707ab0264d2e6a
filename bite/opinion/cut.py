"""The mouth cut along forward through the middle of an upper central crown: lines over height.

Everything is told in the solved model's own directions, in mm from the solved incisal edge there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.fit.depth_block import DepthBlock
from bite.fit.head import Head
from bite.fit.parameters import HEAD_SHIFT, HEAD_TURN
from bite.geometry.render import Grid, Window, render
from bite.geometry.rigid import Array, frozen, rotation_from_vector
from bite.geometry.teeth import LOWER, SKIN, UPPER
from bite.opinion.relief import FAR_MM, far_camera

HALF_MM, PIXEL_MM = 20.0, 0.1
"""Half height of the cut, and its step."""
HALF_CROWN_MM = 4.3
"""Half the width of an upper central crown: 8.5 to 8.7 mm (reference/crown_widths.toml). It says where a
crown's middle lies when the rig names one of its two corners."""
BEHIND_MM, BEFORE_MM = 10.0, 30.0
"""Lips stand between these behind and before the incisal edge; the back of a neck or a throat does not (our
choice)."""
HIGH_MM, LIP_MM = 20.0, 8.0
"""A lip ends at most this far above the incisal edge, and is the skin this far above its end (our choice)."""
EDGE_MM = 3.0
"""The incisal edge is the lowest of the crown within this of the height of its corners (our choice)."""
ASIDE_MM = 0.8
"""Readings this far beside the cut stand for it; at least those of the nearest column (our choice)."""


@dataclass(frozen=True, slots=True)
class Cut:
    """Lips and teeth of the solved model before any move, and what was measured; mm from the incisal edge.

    Parameters
    ----------
    tooth : str, ISO 3950 number of the crown that is cut
    up_mm : array, shape (n,), falling
    skin_mm : array, shape (n,): how far forward the foremost skin stands, NaN for none
    upper_mm, lower_mm : array, shape (2, n): back and front of the rows, NaN for none
    lip_mm : array, shape (2,), or None: forward and up of the upper lip's foremost point
    measured_mm : array, shape (k, 2): forward and up of what was measured, from top to bottom
    """

    tooth: str
    up_mm: Array
    skin_mm: Array
    upper_mm: Array
    lower_mm: Array
    lip_mm: Array | None
    measured_mm: Array


def mouth_cut(block: DepthBlock, parameters: Array) -> Cut | None:
    """Cut the solved model as it was given, and what was measured, with the head where the fit put it.

    Parameters
    ----------
    block : DepthBlock
    parameters : array, shape (14,), of the fit; only the head's place is read

    Returns
    -------
    Cut, or None where the rig names no upper corner or no crown is met there
    """
    head = block.head
    crown = _crown(head)
    if crown is None:
        return None
    tooth, at = crown
    half = round(HALF_MM / PIXEL_MM)
    arm = head.points_mm - at
    place = np.stack([arm @ head.right, arm @ head.up, arm @ head.forward], axis=1)[head.faces]
    low, high = place.min(axis=1), place.max(axis=1)
    near = (low[:, 0] < 1.0) & (high[:, 0] > -1.0) & (np.abs(0.5 * (low + high))[:, 1] < 2 * HALF_MM)
    near &= (high[:, 2] > -BEHIND_MM) & (low[:, 2] < BEFORE_MM)
    rows = {part: near & (head.face_part == part) for part in (SKIN, UPPER, LOWER)}
    front = {part: _line(head, at, faces, half, ahead=True) for part, faces in rows.items()}
    back = {part: _line(head, at, rows[part], half, ahead=False) for part in (UPPER, LOWER)}
    up = PIXEL_MM * (half - np.arange(2 * half + 1.0))
    crowned = np.flatnonzero(np.isfinite(front[UPPER]) & (np.abs(up) < EDGE_MM))
    if not crowned.size:
        return None
    edge = np.array([front[UPPER][crowned[-1]], up[crowned[-1]]])
    lines = [
        np.where((line > edge[0] - BEHIND_MM) & (line < edge[0] + BEFORE_MM), line, np.nan) - edge[0]
        for line in (front[SKIN], back[UPPER], front[UPPER], back[LOWER], front[LOWER])
    ]
    up = up - edge[1]
    lip = _lip(up, lines[0], lines[2])
    return Cut(
        tooth=tooth,
        up_mm=frozen(up),
        skin_mm=frozen(lines[0]),
        upper_mm=frozen(np.stack(lines[1:3])),
        lower_mm=frozen(np.stack(lines[3:5])),
        lip_mm=None if lip is None else frozen(lip),
        measured_mm=frozen(_measured(block, parameters, at) - edge),
    )


def _crown(head: Head) -> tuple[str, Array] | None:
    """Give an upper central crown that the rig names corners of, and the middle of its incisal edge, mm."""
    for tooth, outward in (("11", -head.right), ("21", head.right)):
        named = [(code[-1], point) for code, point in head.corners.items() if code[:-1] == tooth]
        if len(named) == 2:
            return tooth, np.mean([point for _, point in named], axis=0)
        if named:
            side, point = named[0]
            return tooth, point + (HALF_CROWN_MM if side == "m" else -HALF_CROWN_MM) * outward
    return None


def _line(head: Head, at_mm: Array, faces: NDArray[np.bool_], half: int, *, ahead: bool) -> Array:
    """Give how far forward a surface's foremost or hindmost point stands at each height, shape (n,)."""
    side = 2 * half + 1
    camera = far_camera(
        at_mm, head.forward if ahead else -head.forward, head.up, half_mm=0.5 * PIXEL_MM * side, side_px=side
    )
    grid = Grid.of(camera, Window(half, 0, 1, side))
    local = camera.camera_from_reference.apply(head.points_mm)
    depth = render(grid, local, head.faces[faces]).depth_mm[:, 0]
    return np.asarray((FAR_MM - depth) if ahead else (depth - FAR_MM))


def _lip(up_mm: Array, skin_mm: Array, tooth_mm: Array) -> Array | None:
    """Find the foremost point of the upper lip: the first skin before teeth on the way up from the edge."""
    before = np.isfinite(skin_mm) & ~(tooth_mm > skin_mm) & (up_mm > 0)
    if not before.any():
        return None
    end = up_mm[before].min()
    if end > HIGH_MM:
        return None
    lip = np.flatnonzero(before & (up_mm < end + LIP_MM))
    first = lip[np.argmax(skin_mm[lip])]
    return np.array([skin_mm[first], up_mm[first]])


def _measured(block: DepthBlock, parameters: Array, at_mm: Array) -> Array:
    """Give forward and up of readings near the cut, one a height of a depth pixel, shape (k, 2)."""
    head, step = block.head, block.mm_per_px
    rays = np.concatenate([block.grid.slopes, np.ones((*block.measured_mm.shape, 1))], -1)
    known = np.isfinite(block.measured_mm)
    local = rays[known] * block.measured_mm[known][:, None]
    placed = block.grid.camera.camera_from_reference.inverse().apply(local)
    turn = rotation_from_vector(parameters[HEAD_TURN])
    own = (placed - head.centre_mm - parameters[HEAD_SHIFT]) @ turn + head.centre_mm - at_mm
    aside, up, forward = own @ head.right, own @ head.up, own @ head.forward
    near = (np.abs(aside) < max(ASIDE_MM, 0.75 * step)) & (np.abs(up) < HALF_MM)
    near &= (forward > -BEHIND_MM) & (forward < BEFORE_MM)
    height = np.floor(up[near] / step).astype(int)
    found = [
        (np.median(forward[near][height == one]), np.median(up[near][height == one]))
        for one in np.unique(height)[::-1]
    ]
    return np.array(found).reshape(-1, 2)

