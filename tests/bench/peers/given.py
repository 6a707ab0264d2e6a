"""What every peer is given of a frame: the solved model in the camera's frame, the map, the clicks, the bias.

The solved model is seen by Embree's rays through the camera of the worlds; nothing of the program's fit is
used. Peers know the enamel bias that the device file states, as the program does.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from bite.evidence.model.head import solved_head
from bite.files.bundle import BiteFrame
from tests.worlds.camera import WorldCamera
from tests.worlds.rays import hit_faces

Array = NDArray[np.float64]
SKIN, UPPER, LOWER = 0, 1, 2
AROUND_MM = 20.0
"""Skin so far from the teeth is looked at, as the program does."""
RIM_PX = 2
"""Pixels so near another part, or a step, are left out: the sensor mixed them."""
STEP_MM = 2.0


@dataclass(frozen=True, slots=True)
class Given:
    """A frame for all peers; points in the depth camera's frame, mm.

    ``skin``, ``teeth``: pixels of the map (n, 2) whose solved part is that, clear of rims, with their
    measured depths; ``*_seen``: what the solved model shows of the part, denser than pixels.
    """

    camera: WorldCamera
    points_mm: Array
    faces: NDArray[np.int64]
    face_part: NDArray[np.int64]
    moves: NDArray[np.bool_]
    forward: Array
    right: Array
    up: Array
    centre_mm: Array
    bias_mm: float
    skin_px: Array
    teeth_px: Array
    skin_off_mm: Array
    teeth_off_mm: Array
    skin_mm: Array
    teeth_mm: Array
    skin_seen_mm: Array
    teeth_seen_mm: Array
    corners: Mapping[str, tuple[Array, Array]]
    """code: (point of the solved model, clicked pixel)"""


def given(frame: BiteFrame) -> Given:
    """Prepare a frame."""
    solved = solved_head(frame)
    camera, depth = frame.depth_camera, frame.depth_map
    if solved is None or camera is None or depth is None:
        raise ValueError("peers need a solved model and a depth map")
    head, turn = solved.head, camera.camera_from_reference
    lens = (
        camera.width_px,
        camera.height_px,
        camera.focal_px,
        (float(camera.matrix[0, 2]), float(camera.matrix[1, 2])),
        tuple(float(v) for v in camera.distortion[:4]),
    )
    own = WorldCamera(*lens)
    points = turn.apply(head.points_mm)
    faces, part = head.faces.astype(np.int64), head.face_part.astype(np.int64)
    teeth_points = points[np.unique(faces[(part == UPPER) | (part == LOWER)])]
    front = teeth_points[np.linalg.norm(teeth_points - turn.apply(head.centre_mm[None]), axis=1) < 25.0]
    middle = own.project(front).mean(0)
    half = int(np.ceil((25.0 + AROUND_MM) * own.focal_px / front[:, 2].mean()))
    left, top = np.maximum(middle.astype(int) - half, 0)
    right, low = np.minimum(middle.astype(int) + half, (own.width_px - 1, own.height_px - 1))
    columns, rows = np.meshgrid(np.arange(left, right + 1), np.arange(top, low + 1))
    pixels = np.column_stack([columns.ravel(), rows.ravel()]).astype(float)
    face, sharp = hit_faces(own, pixels, points, faces)
    shape = columns.shape
    seen_part = np.where(face >= 0, part[face], -1).reshape(shape)
    sharp = sharp.reshape(shape)
    measured = np.asarray(depth.depth_mm, dtype=float)[top : low + 1, left : right + 1]
    enamel = (seen_part == UPPER) | (seen_part == LOWER)
    span = ndimage.maximum_filter(np.nan_to_num(sharp), 3) - ndimage.minimum_filter(np.nan_to_num(sharp), 3)
    away_mm = ndimage.distance_transform_edt(~enamel) * front[:, 2].mean() / own.focal_px
    near = (span < STEP_MM) & (away_mm < AROUND_MM) & np.isfinite(measured)
    clear = {
        "skin": ndimage.binary_erosion(seen_part == SKIN, iterations=RIM_PX) & near,
        "teeth": ndimage.binary_erosion(enamel, iterations=RIM_PX) & near,
    }
    dense = np.concatenate([pixels + np.array([dx, dy]) for dx in (-0.25, 0.25) for dy in (-0.25, 0.25)])
    dense_face, dense_depth = hit_faces(own, dense, points, faces)
    dense_part = np.where(dense_face >= 0, part[dense_face], -1)
    dense_mm = own.rays(dense) * dense_depth[:, None]
    close = np.abs(dense_mm - turn.apply(head.centre_mm[None])).max(1) < 25.0 + AROUND_MM

    def of(name: str, bias_mm: float) -> tuple[Array, Array, Array]:
        mask = clear[name].ravel()
        depth_mm = measured.ravel()[mask] - bias_mm
        return pixels[mask], depth_mm - sharp.ravel()[mask], own.rays(pixels[mask]) * depth_mm[:, None]

    bias = frame.device.enamel_bias_mm or 0.0
    (skin_px, skin_off, skin_mm), (teeth_px, teeth_off, teeth_mm) = of("skin", 0.0), of("teeth", bias)
    clicks = frame.views[0].corners.points if frame.views[0].corners else {}
    return Given(
        camera=own,
        points_mm=points,
        faces=faces,
        face_part=part,
        moves=head.with_teeth,
        forward=turn.turn(head.forward),
        right=turn.turn(head.right),
        up=turn.turn(head.up),
        centre_mm=turn.apply(head.centre_mm[None])[0],
        bias_mm=bias,
        skin_px=skin_px,
        teeth_px=teeth_px,
        skin_off_mm=skin_off,
        teeth_off_mm=teeth_off,
        skin_mm=skin_mm,
        teeth_mm=teeth_mm,
        skin_seen_mm=dense_mm[(dense_part == SKIN) & close],
        teeth_seen_mm=dense_mm[((dense_part == UPPER) | (dense_part == LOWER)) & close],
        corners={
            code: (head.corners[code], np.array([p.x_px, p.y_px]))
            for code, p in clicks.items()
            if code in head.corners and p.x_px is not None
        },
    )
