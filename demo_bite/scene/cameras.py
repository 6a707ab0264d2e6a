"""Where the head stands and what looks at it."""

from __future__ import annotations

import numpy as np

from bite.geometry.camera import Camera
from bite.geometry.render import Window
from bite.geometry.rigid import Array, Rigid, frozen, rotation_from_vector
from demo_bite.scene.settings import Settings

_VIEW_FROM_HEAD_AXES = np.diag([1.0, -1.0, -1.0])


def place_head(rng: np.random.Generator, settings: Settings) -> Rigid:
    """Give camera_from_head: the mouth a little below the middle of the reference view."""
    shot = settings.shot
    drawn = rng.normal((0.0, 6.0, 0.0), (4.0, 3.0, 2.0))
    asked = (shot.turn_deg, shot.nod_deg, shot.tilt_deg)
    turn, nod, tilt = np.deg2rad([d if a is None else a for d, a in zip(drawn, asked, strict=True)])
    distance = rng.uniform(280.0, 330.0)
    aside = rng.normal(0.0, 3.0, 2)
    rotation = (
        rotation_from_vector(np.array([0.0, 0.0, -tilt]))
        @ rotation_from_vector(np.array([-nod, 0.0, 0.0]))
        @ rotation_from_vector(np.array([0.0, turn, 0.0]))
    )
    return Rigid(
        frozen(_VIEW_FROM_HEAD_AXES @ rotation),
        frozen([aside[0], 22.0 + aside[1], distance if shot.distance_mm is None else shot.distance_mm]),
    )


def make_cameras(settings: Settings, camera_from_head: Rigid) -> tuple[tuple[Camera, ...], Camera]:
    """Give the view cameras and the depth camera, which is the first view where nothing sets it apart."""
    sensor, picture, shot = settings.sensor, settings.picture, settings.shot
    own = (sensor.width_px, sensor.height_px, sensor.focal_px, sensor.distortion)
    view = own
    if picture is not None:
        view = (
            picture.width_px or sensor.width_px,
            picture.height_px or sensor.height_px,
            picture.focal_px or sensor.focal_px,
            picture.distortion,
        )
    mouth = np.array([0.0, 0.0, camera_from_head.translation_mm[2]])
    views = [_camera(*view, Rigid())]
    for k in range(1, shot.views):
        views.append(_camera(*view, _looking_at(np.array([k * shot.baseline_mm, 0.0, 0.0]), mouth)))
    if view == own and not any(shot.depth_camera_shift_mm):
        return tuple(views), views[0]
    placed = Rigid(translation_mm=frozen(-np.array(shot.depth_camera_shift_mm)))
    return tuple(views), _camera(*own, placed)


def _camera(width: int, height: int, focal: float, distortion: tuple[float, ...], placed: Rigid) -> Camera:
    # a principal point in the exact middle would hide a swap of x and y, so it sits a little off
    centre = (width - 1) / 2 + 0.007 * width, (height - 1) / 2 - 0.004 * height
    matrix = [[focal, 0.0, centre[0]], [0.0, focal * 1.002, centre[1]], [0.0, 0.0, 1.0]]
    return Camera(width, height, frozen(matrix), frozen(distortion), placed)


def _looking_at(centre_mm: Array, target_mm: Array) -> Rigid:
    z = target_mm - centre_mm
    z /= np.linalg.norm(z)
    x = np.cross([0.0, 1.0, 0.0], z)
    x /= np.linalg.norm(x)
    rotation = np.stack([x, np.cross(z, x), z])
    return Rigid(frozen(rotation), frozen(-rotation @ centre_mm))


def region(camera: Camera, centre_mm: Array, half_side_mm: float | None) -> Window:
    """Give the window of a camera that shows a square round a point of the reference frame."""
    if half_side_mm is None:
        return Window(0, 0, camera.width_px, camera.height_px)
    middle = camera.project(centre_mm[None])[0]
    half = half_side_mm * camera.focal_px / float(camera.camera_from_reference.apply(centre_mm)[2])
    left, top = np.clip(np.floor(middle - half), 0, (camera.width_px - 2, camera.height_px - 2)).astype(int)
    right, bottom = np.clip(
        np.ceil(middle + half), (left + 1, top + 1), (camera.width_px - 1, camera.height_px - 1)
    ).astype(int)
    return Window(int(left), int(top), int(right - left + 1), int(bottom - top + 1))
