"""What a person would click: corners that can be seen, the upper edge's crossing where covered."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from bite.files.corners import CornerPoint, CornerState, LandmarkPoint
from bite.geometry.camera import Camera
from bite.geometry.render import Grid, Window, render
from bite.geometry.rigid import Array, frozen
from bite.geometry.teeth import DISTAL_CORNERS, SKIN, UPPER, is_upper
from demo_bite.scene.assemble import Head
from demo_bite.scene.settings import Clicks

_ZOOM = 3.0
_BEHIND_MM = 0.3
_SEEN = -1


class _Sight:
    """Which part hides a point from a camera: a z-buffer of the mouth, three times finer than the picture."""

    def __init__(self, head: Head, points_mm: Array, camera: Camera) -> None:
        self._camera = camera
        self._local = camera.camera_from_reference.apply(points_mm)
        mouth = np.flatnonzero((head.vertex_group == 1) | (head.vertex_group == 2))
        pixels = camera.project_local(self._local[mouth])
        self._corner = np.floor(np.nanmin(pixels, 0)) - 6
        size = np.ceil((np.nanmax(pixels, 0) + 6 - self._corner) * _ZOOM).astype(int)
        zoom = np.array(
            [[_ZOOM, 0, -_ZOOM * self._corner[0]], [0, _ZOOM, -_ZOOM * self._corner[1]], [0, 0, 1]]
        )
        fine = Camera(int(size[0]), int(size[1]), frozen(zoom @ camera.matrix), camera.distortion)
        rendered = render(Grid.of(fine, Window(0, 0, int(size[0]), int(size[1]))), self._local, head.faces)
        self._depth = rendered.depth_mm
        self._part = np.where(rendered.face >= 0, head.face_part[rendered.face], _SEEN)

    def hidden_by(self, points_mm: Array) -> tuple[Array, Array]:
        """Give pixels, shape (n, 2), and the hiding part of each point, -1 for none."""
        local = self._camera.camera_from_reference.apply(points_mm)
        pixels = self._camera.project_local(local)
        place = np.rint((pixels - self._corner) * _ZOOM).astype(int)
        rows = np.clip(place[:, 1], 0, self._depth.shape[0] - 1)
        columns = np.clip(place[:, 0], 0, self._depth.shape[1] - 1)
        in_front = self._depth[rows, columns] < local[:, 2] - _BEHIND_MM
        return pixels, np.where(in_front, self._part[rows, columns], _SEEN)


def click_corners(
    rng: np.random.Generator, clicks: Clicks, head: Head, points_mm: Array, camera: Camera
) -> dict[str, CornerPoint]:
    """Click all eight corners in one view.

    Parameters
    ----------
    points_mm : array, shape (n, 3), mm, the true head in the reference frame
    """
    sight = _Sight(head, points_mm, camera)
    found = {}
    for code, vertex in head.corners.items():
        sigma = clicks.distal_px if code in DISTAL_CORNERS else clicks.mesial_px
        error = rng.normal(0.0, sigma, 2)
        pixels, hider = sight.hidden_by(points_mm[[vertex]])
        if hider[0] == SKIN:
            found[code] = CornerPoint(CornerState.HIDDEN)
        elif is_upper(code) or hider[0] != UPPER:
            x, y = pixels[0] + error
            found[code] = CornerPoint(CornerState.SEEN, float(x), float(y), sigma)
        else:
            found[code] = _covered(sight, points_mm[head.sides[code]], error, sigma)
    return found


def _covered(sight: _Sight, side_mm: Array, error: Array, sigma_px: float) -> CornerPoint:
    """Walk down the side of a lower crown to where it comes out from under the upper edge."""
    length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(side_mm, axis=0), axis=1))])
    fine = np.arange(0.0, length[-1], 0.03)
    walk = np.stack([np.interp(fine, length, side_mm[:, k]) for k in range(3)], -1)
    pixels, hider = sight.hidden_by(walk)
    out = np.flatnonzero(hider != UPPER)
    if not out.size or hider[out[0]] == SKIN:
        return CornerPoint(CornerState.HIDDEN)
    x, y = pixels[out[0]] + error
    return CornerPoint(CornerState.COVERED, float(x), float(y), sigma_px)


def click_landmarks(
    rng: np.random.Generator, clicks: Clicks, landmarks: Mapping[str, int], points_mm: Array, camera: Camera
) -> dict[str, LandmarkPoint]:
    """Click the soft-tissue landmarks in one view."""
    pixels = camera.project(points_mm[list(landmarks.values())])
    pixels = pixels + rng.normal(0.0, clicks.landmark_px, pixels.shape)
    return {
        name: LandmarkPoint(float(x), float(y), clicks.landmark_px)
        for name, (x, y) in zip(landmarks, pixels, strict=True)
    }
