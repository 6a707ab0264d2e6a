"""A take in memory: lips part, teeth meet and part, the head moves. Frames worth choosing, and traps.

A few states of the mouth are rendered; every frame is one of them seen through the head's own motion in the
picture's plane, blurred by that very motion for half a frame's time, exposed and clipped. So teeth, lips and
skin keep their texture wherever they go, and where each corner truly lies is known in every frame.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from bite.files.corners import CornerPoint
from bite.geometry.camera import Camera
from bite.geometry.rigid import Array, frozen, rotation_from_vector
from demo_bite.scene.anatomy import Anatomy, draw_anatomy
from demo_bite.scene.assemble import Head, build_head
from demo_bite.scene.cameras import place_head
from demo_bite.scene.clicks import click_corners
from demo_bite.scene.picture import develop, head_light
from demo_bite.scene.settings import Bite, Clicks, Detail, Mouth, PictureSettings, Settings, Shot

_MARGIN_PX = 30
_CONDYLE_BACK_MM, _CONDYLE_UP_MM = 95.0, 40.0
"""Where the jaw turns, from the incisors: round figures, invented."""
_SHUTTER = 0.5
"""Share of a frame's time in which light is gathered."""
_DASH = (1.0, 2.0, 2.6, 1.6, 0.6)
"""Way of the head in the blurred frames, in steps of its greatest speed."""
_FAIR, _WIDE, _AJAR, _GAP = 3, 5, 6, 7
_SHUT = Mouth(upper_mm=0.6, lower_mm=0.4, half_width_mm=24.0, corner_lift_mm=0.5)
_GRIN = Mouth(upper_mm=9.5, lower_mm=7.5, half_width_mm=30.0, corner_lift_mm=3.0)


class Planted(StrEnum):
    """What a frame of a take was made to be."""

    BEST = "best"
    FAIR = "fair"
    LIPS = "lips in the way"
    GAP = "sharp but not biting"
    AJAR = "teeth apart, though the edges still overlap"
    BLURRED = "biting but blurred"
    CLIPPED = "biting but clipped"


@dataclass(frozen=True, slots=True)
class TakeSettings:
    """Size of the picture, px, its focal length, and how the trap frames are spoilt."""

    width_px: int = 208
    height_px: int = 160
    focal_px: float = 700.0
    distance_mm: float = 300.0
    sway_px: float = 2.5
    dash_px: float = 11.0
    """speed of the head in blurred frames, px per frame"""
    exposure: float = 0.75
    flash: float = 3.6
    """clipped frames get so many times the light"""
    noise: float = 1.5
    detail: Detail = Detail.MEDIUM
    clicks: Clicks = field(default_factory=lambda: Clicks(0.2, 0.3, 0.6))


@dataclass(frozen=True, slots=True)
class SimulatedFrameOfTake:
    """One frame: picture (uint8 RGB), what it was made to be, true corners, px, and the head's motion, px."""

    number: int
    image: NDArray[np.uint8]
    planted: Planted
    corners_px: Mapping[str, Array]
    motion_px: Array


@dataclass(frozen=True, slots=True)
class SimulatedTake:
    """A take whose frames are made one by one, as often as they are asked for.

    Parameters
    ----------
    clicked : int, the frame that somebody clicked once, a fair one
    clicks : what was clicked in it
    planted : what each frame was made to be
    """

    settings: TakeSettings
    anatomy: Anatomy
    clicked: int
    clicks: Mapping[str, CornerPoint]
    planted: tuple[Planted, ...]
    states: tuple[_State, ...]
    order: tuple[int, ...]
    moves: Array
    exposures: Array
    seed: int

    def frames(self) -> Iterator[SimulatedFrameOfTake]:
        """Make the frames, first to last."""
        for number in range(len(self.planted)):
            yield self.frame(number)

    def frame(self, number: int) -> SimulatedFrameOfTake:
        """Make one frame; the same one gives the same pixels."""
        import cv2

        settings, state = self.settings, self.states[self.order[number]]
        matrix = self._matrix(number)
        size, edge = (settings.width_px, settings.height_px), cv2.BORDER_REPLICATE
        light = cv2.warpAffine(state.light, matrix, size, flags=cv2.INTER_CUBIC, borderMode=edge)
        before, after = self._matrix(max(number - 1, 0)), self._matrix(min(number + 1, len(self.planted) - 1))
        middle = np.append(state.corners_px["11d"], 1.0)
        motion = 0.5 * (after - before) @ middle
        picture = PictureSettings(
            exposure=float(self.exposures[number]),
            noise=settings.noise,
            motion_px=(float(_SHUTTER * motion[0]), float(_SHUTTER * motion[1])),
        )
        rng = np.random.default_rng([self.seed, number])
        corners = {code: matrix @ np.append(place, 1.0) for code, place in state.corners_px.items()}
        image = develop(rng, picture, np.asarray(light, dtype=np.float64))
        return SimulatedFrameOfTake(number, image, self.planted[number], corners, motion)

    def _matrix(self, number: int) -> Array:
        """Give picture from rendered state: the head's shift, tilt and approach about the mouth."""
        right, down, tilt, nearer = self.moves[number]
        size = np.array([self.settings.width_px, self.settings.height_px])
        cos, sin = (1 + nearer) * np.cos(tilt), (1 + nearer) * np.sin(tilt)
        turn = np.array([[cos, -sin], [sin, cos]])
        centre = size / 2
        shift = centre + np.array([right, down]) - turn @ (centre + _MARGIN_PX)
        return np.column_stack([turn, shift])


@dataclass(frozen=True, slots=True)
class _State:
    light: NDArray[np.float32]
    corners_px: Mapping[str, Array]
    head: Head


def simulate_take(seed: int, settings: TakeSettings | None = None) -> SimulatedTake:
    """Simulate a take of about 40 frames with one run of best frames and every kind of trap."""
    settings = settings or TakeSettings()
    rng = np.random.default_rng(seed)
    anatomy = draw_anatomy(rng, Bite())
    shot = Settings(shot=Shot(distance_mm=settings.distance_mm))
    camera_from_head = place_head(rng, shot)
    mouth_px = camera_from_head.translation_mm[:2] / settings.distance_mm * settings.focal_px
    width, height = settings.width_px + 2 * _MARGIN_PX, settings.height_px + 2 * _MARGIN_PX
    centre = np.array([width, height]) / 2 - mouth_px
    matrix = np.array([[settings.focal_px, 0, centre[0]], [0, settings.focal_px, centre[1]], [0, 0, 1.0]])
    camera = Camera(width, height, frozen(matrix), frozen((0.0, 0.0, 0.0, 0.0)))

    gap_mm = max(anatomy.overbite_mm, 0.0) + rng.uniform(1.5, 3.0)
    ajar_mm = 0.6 * max(anatomy.overbite_mm, 0.0)
    plan = [(openness, 0.0) for openness in (0.08, 0.3, 0.5, 0.65, 0.82, 1.0)]
    plan += [(1.0, ajar_mm), (1.0, gap_mm)]
    states = []
    for openness, drop in plan:
        head = _with_jaw_down(build_head(anatomy, _between(_SHUT, _GRIN, openness), settings.detail), drop)
        light = head_light(head, camera_from_head=camera_from_head, camera=camera)
        places = camera.project(camera_from_head.apply(head.vertices[list(head.corners.values())]))
        states.append(_State(light.astype(np.float32), dict(zip(head.corners, places, strict=True)), head))
    order, planted = _timeline(rng)
    moves, exposures = _moves(rng, settings, planted)
    fair = [k for k, what in enumerate(planted) if what is Planted.FAIR]
    clicked = fair[len(fair) // 2]
    take = SimulatedTake(
        settings, anatomy, clicked, {}, planted, tuple(states), order, moves, exposures, seed
    )
    state = states[order[clicked]]
    found = click_corners(
        rng, settings.clicks, state.head, camera_from_head.apply(state.head.vertices), camera
    )
    warp = take._matrix(clicked)
    clicks = {code: _moved(point, warp) for code, point in found.items()}
    return replace(take, clicks=clicks)


def _between(shut: Mouth, grin: Mouth, share: float) -> Mouth:
    return Mouth(
        shut.upper_mm + share * (grin.upper_mm - shut.upper_mm),
        shut.lower_mm + share * (grin.lower_mm - shut.lower_mm),
        shut.half_width_mm + share * (grin.half_width_mm - shut.half_width_mm),
        shut.corner_lift_mm + share * (grin.corner_lift_mm - shut.corner_lift_mm),
    )


def _with_jaw_down(head: Head, drop_mm: float) -> Head:
    """Turn the jaw about its joint until the lower incisors are ``drop_mm`` lower; lip and chin go along."""
    if drop_mm == 0:
        return head
    turn = rotation_from_vector(np.array([drop_mm / _CONDYLE_BACK_MM, 0.0, 0.0]))
    joint = np.array([0.0, _CONDYLE_UP_MM, -_CONDYLE_BACK_MM])
    vertices, group = head.vertices, head.vertex_group
    y = vertices[:, 1]
    share = np.zeros(len(vertices))
    share[(group == 2) | (group == 4)] = 1.0
    share[(group == 3) & (y < 0)] = 1.0
    skin = group == 0
    # the corners of the mouth stay, the middle of the lower lip and the chin follow, the neck does not
    below = np.clip((-y + 1.0) / 5.0, 0, 1) * np.clip((y + 100.0) / 45.0, 0, 1)
    aside = np.clip(1.25 - (np.abs(vertices[:, 0]) / 42.0) ** 2, 0, 1)
    share[skin] = (below * aside)[skin]
    turned = (vertices - joint) @ turn.T + joint
    return replace(head, vertices=vertices + share[:, None] * (turned - vertices))


def _timeline(rng: np.random.Generator) -> tuple[tuple[int, ...], tuple[Planted, ...]]:
    """Give state and purpose of each frame: lips part, then the parts of the take in any order."""
    parts = [
        [(_FAIR, Planted.FAIR)] * int(rng.integers(5, 8)),
        [(_AJAR, Planted.AJAR)] + [(_GAP, Planted.GAP)] * int(rng.integers(4, 7)) + [(_AJAR, Planted.AJAR)],
        [(_WIDE, Planted.BLURRED)] * len(_DASH),
        [(_WIDE, Planted.BEST)] * int(rng.integers(3, 6)),
        [(_WIDE, Planted.CLIPPED)] * int(rng.integers(3, 6)),
    ]
    order = [(state, Planted.LIPS) for state in (0, 1, 2) for _ in range(int(rng.integers(1, 4)))]
    for k in rng.permutation(len(parts)):
        order += parts[int(k)]
    order += [(2, Planted.LIPS), (1, Planted.LIPS), (0, Planted.LIPS)]
    # lips do not jump: a frame of every state between
    smooth = [order[0]]
    for state, what in order[1:]:
        last, here = min(smooth[-1][0], _WIDE), min(state, _WIDE)
        for between in range(last + 1, here) if here > last else range(last - 1, here, -1):
            smooth.append((between, Planted.LIPS))
        smooth.append((state, what))
    return tuple(state for state, _ in smooth), tuple(what for _, what in smooth)


def _moves(
    rng: np.random.Generator, settings: TakeSettings, planted: tuple[Planted, ...]
) -> tuple[Array, Array]:
    """Give right, down, tilt and approach of each frame, shape (n, 4), and exposure, shape (n,)."""
    count = len(planted)
    at = np.arange(count)
    moves = np.zeros((count, 4))
    for column, size in enumerate((settings.sway_px, settings.sway_px, np.deg2rad(1.5), 0.015)):
        phase, period = rng.uniform(0, 2 * np.pi), rng.uniform(45, 70)
        moves[:, column] = size * np.sin(2 * np.pi * at / period + phase)
    dash = np.array([what is Planted.BLURRED for what in planted])
    heading = rng.uniform(0, 2 * np.pi)
    # there and back within the blurred frames: a quick nod or shake
    run = np.where(dash, np.array(_DASH)[np.minimum(np.cumsum(dash), len(_DASH)) - 1], 0.0)
    moves[:, 0] += settings.dash_px * np.cos(heading) * run
    moves[:, 1] += settings.dash_px * np.sin(heading) * run
    exposures = np.where([what is Planted.CLIPPED for what in planted], settings.flash, 1.0)
    return moves, settings.exposure * exposures * rng.uniform(0.95, 1.05, count)


def _moved(point: CornerPoint, matrix: Array) -> CornerPoint:
    if point.x_px is None or point.y_px is None:
        return point
    x, y = matrix @ np.array([point.x_px, point.y_px, 1.0])
    return replace(point, x_px=float(x), y_px=float(y))
