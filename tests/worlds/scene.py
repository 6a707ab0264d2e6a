"""One frame of a world, drawn from a seed: the true scene, the solved model, the cameras.

The true scene does not depend on how the sensor reads it nor on what the solver got wrong, so that worlds
which differ in these alone see the same heads.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from tests.worlds import head as heads
from tests.worlds.camera import WorldCamera
from tests.worlds.crowns import TeethMesh, draw_rows, scanned, teeth_mesh
from tests.worlds.description import World
from tests.worlds.skin_error import misplaced, rotation, solved_skin

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

PARTS = ("skin", "upper", "lower", "gum")
SKIN, UPPER, LOWER, GUM = range(4)
_FLIP = np.diag([1.0, -1.0, -1.0])
_PHOTO_BENDS = (0.04, -0.05, 0.0005, -0.0003)
_DEPTH_BENDS = (0.02, -0.03, -0.0004, 0.0002)


@dataclass(frozen=True, slots=True)
class Scene:
    """The true scene in mouth space (x to the performer's left, y up, z out), and the camera's pose.

    ``plain_mm``: where each vertex of the skin lies on the plain head at rest; ``lining``: which are
    inside the mouth.
    """

    skin_mm: Array
    rest_skin_mm: Array
    plain_mm: Array
    lining: NDArray[np.bool_]
    skin_faces: Ints
    teeth: TeethMesh
    solved_teeth: TeethMesh
    landmarks: dict[str, int]
    camera_from_mouth: Array
    photo: WorldCamera
    second: WorldCamera | None
    depth: WorldCamera
    """as it is; what is written of it may be wrong"""
    drawn: dict[str, float]

    @property
    def vertices_mm(self) -> Array:
        """All vertices, skin first, mouth space."""
        return np.concatenate([self.skin_mm, self.teeth.vertices_mm])

    @property
    def faces(self) -> Ints:
        """All triangles: skin, upper, lower, gum."""
        shift = len(self.skin_mm)
        return np.concatenate([self.skin_faces, *(self.teeth.faces[p] + shift for p in PARTS[1:])])

    @property
    def part(self) -> NDArray[np.int8]:
        """Part of each triangle, an index into PARTS."""
        sizes = [len(self.skin_faces), *(len(self.teeth.faces[p]) for p in PARTS[1:])]
        return np.repeat(np.arange(4, dtype=np.int8), sizes)

    def in_camera(self, mouth_mm: Array) -> Array:
        """Give points of mouth space in the reference camera's frame."""
        return mouth_mm @ self.camera_from_mouth[:3, :3].T + self.camera_from_mouth[:3, 3]


@dataclass(frozen=True, slots=True)
class Solved:
    """The solved model, mouth space, its stated pose, and how far its teeth must move forward, mm."""

    skin_mm: Array
    teeth_mm: Array
    pose: Array
    offset_mm: float


def scene_key(world: World) -> int:
    """A number that worlds have in common when their true scenes and cameras are drawn alike."""
    shot = replace(world.shot, registration_px=0.0, focal_share=0.0)
    parts = (world.head, world.mouth, world.teeth, shot, world.hair, world.picture)
    return crc32(repr((parts, world.sensor.focal_px, world.sensor.size_px)).encode())


def scene_rng(world: World, number: int, step: str) -> np.random.Generator:
    """Randomness of one step of the true scene: the same for worlds whose true scenes are drawn alike."""
    return np.random.default_rng([scene_key(world), number, crc32(step.encode())])


def own_rng(world: World, number: int, step: str) -> np.random.Generator:
    """Randomness of one step that belongs to this world alone."""
    return np.random.default_rng([crc32(world.name.encode()), number, crc32(step.encode())])


def draw_scene(world: World, number: int, wheel: Path) -> Scene:
    """Draw the true scene of a world's frame."""
    rng = scene_rng(world, number, "scene")
    mouth, shot = world.mouth, world.shot
    upper, lower, jet, bite = (
        float(rng.uniform(*span))
        for span in (mouth.upper_mm, mouth.lower_mm, mouth.overjet_mm, mouth.overbite_mm)
    )
    head = heads.load(wheel)
    shape = heads.draw_shape(head, rng, world.head.spread, upper, lower)
    rows = draw_rows(rng, jet, bite)
    solved_rows = draw_rows(rng, jet, bite) if world.teeth.generic else rows
    if world.teeth.scanned_mm:
        solved_rows = scanned(rows, scene_rng(world, number, "scan"), world.teeth.scanned_mm)
    distance, turn, nod, tilt = (
        float(rng.uniform(*span)) for span in (shot.distance_mm, shot.turn_deg, shot.nod_deg, shot.tilt_deg)
    )
    pose = np.eye(4)
    about_x, about_y, about_z = (np.radians(a) * np.eye(3)[k] for k, a in enumerate((nod, turn, tilt)))
    pose[:3, :3] = rotation(about_z) @ rotation(about_y) @ rotation(about_x) @ _FLIP
    pose[:3, 3] = [rng.uniform(-6, 6), rng.uniform(-6, 6), distance]
    width, height = world.picture.size_px
    photo = WorldCamera(
        width, height, world.picture.focal_px, (width / 2 - 0.5, height / 2 - 0.5), _PHOTO_BENDS
    )
    second = None
    if shot.second_view_mm:
        # turned so that both look at the mouth
        angle = np.arctan2(shot.second_view_mm, distance)
        turned = rotation(np.array([0.0, angle, 0.0]))
        second = WorldCamera(
            width,
            height,
            world.picture.focal_px,
            (width / 2 - 0.5, height / 2 - 0.5),
            _PHOTO_BENDS,
            turned,
            -turned @ np.array([shot.second_view_mm, 0.0, 0.0]),
        )
    across, down = world.sensor.size_px
    depth = WorldCamera(
        across,
        down,
        world.sensor.focal_px,
        (across / 2 - 0.5 + rng.uniform(-3, 3), down / 2 - 0.5 + rng.uniform(-3, 3)),
        _DEPTH_BENDS,
        translation_mm=-np.array(shot.depth_camera_mm),
    )
    return Scene(
        skin_mm=shape.parted_mm,
        rest_skin_mm=shape.rest_mm,
        plain_mm=head.plain_mm,
        lining=head.lining,
        skin_faces=head.faces,
        teeth=teeth_mesh(rows, worn_mm=world.teeth.worn_mm),
        solved_teeth=teeth_mesh(solved_rows, scale=world.teeth.solved_scale),
        landmarks=head.landmarks,
        camera_from_mouth=pose,
        photo=photo,
        second=second,
        depth=depth,
        drawn={
            "overjet_mm": jet,
            "overbite_mm": bite,
            "distance_mm": distance,
            "turn_deg": turn,
            "nod_deg": nod,
            "upper_rim_mm": upper,
            "lower_rim_mm": lower,
        },
    )


def draw_solved(world: World, number: int, scene: Scene) -> Solved:
    """Draw what the solver made of the scene."""
    rng = own_rng(world, number, "solved")
    offset = float(rng.uniform(*world.offset_mm))
    skin = solved_skin(scene.skin_mm, scene.plain_mm, scene.skin_faces, world.skin, rng)
    teeth = scene.solved_teeth.vertices_mm - [0.0, 0.0, offset]
    pose = misplaced(scene.camera_from_mouth, scene.camera_from_mouth[:3, 3], world.skin, rng)
    return Solved(skin, teeth, pose, offset)
