"""One simulated bite frame: true head, sensor, clicks, and the model that a solver would hand over."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.files.corners import CornerPoint, LandmarkPoint
from bite.geometry.camera import Camera
from bite.geometry.render import face_normals
from bite.geometry.rigid import Array, Rigid, frozen, rotation_from_vector
from bite.geometry.teeth import CORNERS
from demo_bite.scene.anatomy import Anatomy, draw_anatomy
from demo_bite.scene.assemble import GROUPS, Head, build_head
from demo_bite.scene.cameras import make_cameras, place_head, region
from demo_bite.scene.clicks import click_corners, click_landmarks
from demo_bite.scene.sensor import sense
from demo_bite.scene.settings import Settings


@dataclass(frozen=True, slots=True)
class SimulatedView:
    """One view: its camera, the clicks in it, and its picture (uint8 RGB) where one was asked for."""

    name: str
    camera: Camera
    corners: Mapping[str, CornerPoint]
    landmarks: Mapping[str, LandmarkPoint]
    image: NDArray[np.uint8] | None


@dataclass(frozen=True, slots=True)
class Truth:
    """What was planted. Moving the solved teeth by ``t_mm`` along forward carries them onto the true ones.

    Directions are unit vectors and positions mm in the reference camera frame; ``solved_from_true`` is the
    misalignment of the whole solved head (it acts on reference camera coordinates, after the teeth were
    displaced). ``corners_mm``, shape (8, 3), are the true corners in the order of
    ``bite.geometry.teeth.CORNERS``.
    """

    t_mm: float
    right_mm: float
    up_mm: float
    enamel_bias_mm: float
    smoothing_px: float
    overjet_mm: float
    overbite_mm: float
    occlusal_pitch_rad: float
    forward: Array
    right: Array
    up: Array
    corners_mm: Array
    camera_from_head: Rigid
    solved_from_true: Rigid


@dataclass(frozen=True, slots=True)
class SimulatedFrame:
    """A bite frame in memory; all positions mm.

    Parameters
    ----------
    true_mm : array, shape (n, 3), the true head in the reference camera frame
    solved_mm : array, shape (n, 3), the solved model in the reference camera frame
    rest_mm : array, shape (n, 3), the rig's neutral export in its own axes (x right, y up, z to the viewer)
    faces : array, shape (m, 3); face_part : array, shape (m,), index into ``bite.geometry.teeth.PARTS``
    groups : mapping from group name to face numbers
    corner_vertices, landmark_vertices : vertex numbers
    forward_rest, up_rest : unit vectors in the rest export's axes
    depth_mm : array, shape (height, width), NaN where there is no reading; None where no map was asked for
    depth_camera : equal to ``views[0].camera`` where the map is registered to that view
    """

    settings: Settings
    head: Head
    true_mm: Array
    solved_mm: Array
    rest_mm: Array
    faces: NDArray[np.int32]
    face_part: NDArray[np.int64]
    groups: Mapping[str, NDArray[np.int64]]
    corner_vertices: Mapping[str, int]
    landmark_vertices: Mapping[str, int]
    forward_rest: Array
    up_rest: Array
    views: tuple[SimulatedView, ...]
    depth_mm: Array | None
    depth_camera: Camera
    truth: Truth


def simulate(
    rng: np.random.Generator,
    settings: Settings | None = None,
    *,
    anatomy: Anatomy | None = None,
) -> SimulatedFrame:
    """Simulate one bite frame; the same generator state and settings give the same frame.

    Parameters
    ----------
    anatomy : Anatomy, optional
        The performer; drawn from the published spreads when not given.
    """
    settings = settings or Settings()
    if anatomy is None:
        anatomy = draw_anatomy(rng, settings.bite)
    head = build_head(anatomy, settings.mouth, settings.detail)
    scene = head
    if settings.scene_detail not in (None, settings.detail):
        scene = build_head(anatomy, settings.mouth, settings.scene_detail)
    camera_from_head = place_head(rng, settings)
    cameras, depth_camera = make_cameras(settings, camera_from_head)
    true_mm = camera_from_head.apply(head.vertices)
    scene_mm = camera_from_head.apply(scene.vertices)
    right = np.cross(head.up, head.forward)
    shift = settings.t_mm * head.forward + settings.right_mm * right + settings.up_mm * head.up

    rest_mm = head.rest_vertices.copy()
    rest_mm[head.with_teeth] -= shift
    solved_head = head.vertices + _skin_error(rng, settings, head)
    solved_head[head.with_teeth] -= shift
    solved_from_true = _misalignment(rng, settings, camera_from_head.translation_mm)
    solved_mm = solved_from_true.apply(camera_from_head.apply(solved_head))

    tips, met_mm = None, scene_mm
    if settings.beard is not None:
        from demo_bite.scene.beard import before_the_skin, tips_mm

        tips = tips_mm(settings.beard, scene, camera_from_head, cameras[0])
        met_mm = camera_from_head.apply(before_the_skin(tips, scene))
    depth_mm = None
    mouth_mm = camera_from_head.translation_mm
    if settings.depth:
        depth_mm = sense(
            rng,
            settings.sensor,
            camera=depth_camera,
            points_mm=depth_camera.camera_from_reference.apply(met_mm),
            faces=scene.faces,
            face_part=scene.face_part,
            window=region(depth_camera, mouth_mm, settings.shot.region_mm),
        )
        depth_mm.setflags(write=False)
    views = []
    for k, camera in enumerate(cameras):
        corners = click_corners(rng, settings.clicks, scene, scene_mm, camera)
        landmarks = click_landmarks(rng, settings.clicks, head.landmarks, true_mm, camera)
        image = None
        if settings.picture is not None:
            from demo_bite.scene.picture import take_picture

            image = take_picture(
                rng,
                settings.picture,
                head=scene,
                camera_from_head=camera_from_head,
                camera=camera,
                hair=None if settings.beard is None else tips / settings.beard.height_mm,
            )
        views.append(SimulatedView(("front", "side", "other")[k], camera, corners, landmarks, image))
    truth = Truth(
        t_mm=settings.t_mm,
        right_mm=settings.right_mm,
        up_mm=settings.up_mm,
        enamel_bias_mm=settings.sensor.enamel_bias_mm,
        smoothing_px=settings.sensor.smoothing_px,
        overjet_mm=anatomy.overjet_mm,
        overbite_mm=anatomy.overbite_mm,
        occlusal_pitch_rad=anatomy.occlusal_pitch_rad,
        forward=frozen(camera_from_head.turn(head.forward)),
        right=frozen(camera_from_head.turn(right)),
        up=frozen(camera_from_head.turn(head.up)),
        corners_mm=frozen(true_mm[[head.corners[code] for code in CORNERS]]),
        camera_from_head=camera_from_head,
        solved_from_true=solved_from_true,
    )
    return SimulatedFrame(
        settings=settings,
        head=head,
        true_mm=frozen(true_mm),
        solved_mm=frozen(solved_mm),
        rest_mm=frozen(rest_mm),
        faces=head.faces,
        face_part=head.face_part,
        groups={name: np.flatnonzero(head.face_group == k) for k, name in enumerate(GROUPS)},
        corner_vertices=head.corners,
        landmark_vertices=head.landmarks,
        forward_rest=frozen(head.forward),
        up_rest=frozen(head.up),
        views=tuple(views),
        depth_mm=depth_mm,
        depth_camera=depth_camera,
        truth=truth,
    )


def _skin_error(rng: np.random.Generator, settings: Settings, head: Head) -> Array:
    """Give the waves (and the lips' own error) of the solved skin along its normal, shape (n, 3), mm."""
    solve = settings.solve
    count = 4
    direction = rng.normal(size=(count, 3))
    direction /= np.linalg.norm(direction, axis=1)[:, None]
    phase = rng.uniform(0, 2 * np.pi, count)
    angle = 2 * np.pi / solve.wave_length_mm * head.vertices @ direction.T + phase
    height = solve.waves_mm * np.sqrt(2 / count) * np.sin(angle).sum(1)
    near_lips = np.exp(-((head.vertices[:, 0] / 32) ** 4) - ((head.vertices[:, 1] - 1) / 20) ** 4)
    offset = height[:, None] * vertex_normals(head.vertices, head.faces)
    offset[:, 2] += solve.lip_error_mm * near_lips
    upper_lip = np.exp(-((head.vertices[:, 0] / 32) ** 4) - ((head.vertices[:, 1] - 5) / 7) ** 4)
    offset[:, 1] += solve.lip_slide_mm * upper_lip
    offset[head.with_teeth] = 0.0
    return offset


def _misalignment(rng: np.random.Generator, settings: Settings, mouth_mm: Array) -> Rigid:
    solve = settings.solve
    turn = rotation_from_vector(np.deg2rad(rng.normal(0.0, solve.turn_sd_deg, 3)))
    shift = rng.normal(0.0, solve.shift_sd_mm, 3)
    return Rigid(frozen(turn), frozen(mouth_mm - turn @ mouth_mm + shift))


def vertex_normals(vertices: Array, faces: NDArray[np.integer]) -> Array:
    """Give area-weighted unit normals of vertices, shape (n, 3)."""
    by_face = face_normals(vertices, faces)
    total = np.zeros_like(vertices)
    for k in range(3):
        for axis in range(3):
            total[:, axis] += np.bincount(faces[:, k], weights=by_face[:, axis], minlength=len(vertices))
    return total / (np.linalg.norm(total, axis=1)[:, None] + 1e-12)
