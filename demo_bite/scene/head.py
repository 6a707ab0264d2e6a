"""The skin of the head: rings around the mouth, from the inner wall of the lips to the edge of a mask.

Head frame, mm: x to the viewer's right, y up, z towards the viewer; the origin is midway between the mesial
corners of the upper central incisors. The rest pose and the bite pose have the same vertices: each is given
by its ring and its angle around the mouth. The shape is invented; only the measures in ``anatomy`` are
published ones.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.geometry.rigid import Array
from demo_bite.scene.anatomy import Anatomy
from demo_bite.scene.settings import Mouth

_AXIS_Z = -85.0


@dataclass(frozen=True, slots=True)
class Rings:
    """How many vertices: around the mouth, and rings of inner wall, lip roll, red, near and far skin."""

    around: int
    wall: int
    roll: int
    red: int
    near: int
    far: int

    @property
    def total(self) -> int:
        """All rings."""
        return self.wall + self.roll + self.red + self.near + self.far


@dataclass(frozen=True, slots=True)
class Skin:
    """Skin in one pose, with the numbers that name its places.

    ``lip`` is 0 on skin, 1 on the red of the lips and 2 on the inner wall, per vertex.
    """

    vertices: Array
    faces: NDArray[np.int32]
    landmarks: dict[str, int]
    lip: Array


@dataclass(frozen=True, slots=True)
class _Pose:
    half_width: float
    upper: float
    lower: float
    middle: float
    lift: float
    stand_upper: float
    stand_lower: float
    roll: float
    red_upper: float
    red_lower: float
    squareness: float


def build_skin(anatomy: Anatomy, mouth: Mouth | None, rings: Rings) -> Skin:
    """Build the skin in the bite pose, or with closed lips when ``mouth`` is None."""
    pose = _pose(anatomy, mouth)
    theta = np.arange(rings.around) * 2 * np.pi / rings.around
    near, lip = _around_mouth(anatomy, pose, rings, theta)
    far = _beyond(anatomy, rings, theta)
    vertices = np.concatenate([near, far]).reshape(-1, 3)
    number = np.arange(len(vertices)).reshape(rings.total, rings.around)
    a, b = number[:-1], number[1:]
    c, d = np.roll(b, -1, 1), np.roll(a, -1, 1)
    faces = np.concatenate([np.stack([a, b, c], -1).reshape(-1, 3), np.stack([a, c, d], -1).reshape(-1, 3)])
    lip = np.concatenate([lip, np.zeros(rings.far)])
    return Skin(
        vertices,
        faces.astype(np.int32),
        _landmarks(rings),
        np.repeat(lip, rings.around),
    )


def _pose(anatomy: Anatomy, mouth: Mouth | None) -> _Pose:
    if mouth is None:
        stand = anatomy.relaxed_lip_stand_mm
        # the lips overlap by a tenth of a millimetre, or a line of sight would slip between them
        return _Pose(25.0, -0.05, -0.05, -1.5, -0.5, stand, stand - 1.0, 3.0, 7.0, 8.5, 1.0)
    middle = (mouth.upper_mm - mouth.lower_mm) / 2
    half = (mouth.upper_mm + mouth.lower_mm) / 2
    stand = anatomy.lip_stand_mm
    openness = float(np.clip(half / 7.0, 0.2, 1.0))
    return _Pose(
        mouth.half_width_mm, half, half, middle, mouth.corner_lift_mm,
        stand, stand - 0.8, 2.1, 5.0 - 1.0 * openness, 6.0 - 1.2 * openness, 0.85,
    )  # fmt: skip


def _around_mouth(anatomy: Anatomy, pose: _Pose, rings: Rings, theta: Array) -> tuple[Array, Array]:
    """Place the rings from the inner wall of the lips to the border where the mouth's motion ends."""
    cos, sin = np.cos(theta), np.sin(theta)
    rise = np.sign(sin) * np.abs(sin) ** pose.squareness
    height = np.where(sin > 0, pose.upper, pose.lower)
    edge_x = pose.half_width * cos
    edge_y = pose.middle + height * rise + pose.lift * cos**4
    border_x, border_y = _border(theta)
    along = np.hypot(border_x - edge_x, border_y - edge_y)
    fullness = 0.22 + 0.78 * np.abs(sin) ** 0.8
    roll = pose.roll * fullness
    # the bow of the upper lip: two peaks beside a dip at the midline
    bow = np.where(
        sin > 0, 0.9 * np.exp(-(((np.abs(edge_x) - 5) / 3.5) ** 2)) - 0.5 * np.exp(-((edge_x / 2.5) ** 2)), 0
    )
    red = (np.where(sin > 0, pose.red_upper, pose.red_lower) + bow) * np.abs(sin) ** 0.8 + 0.3

    s, depth, lip = [], [], []
    for k in range(rings.wall):
        back = 1 - k / rings.wall
        s.append(roll + 10.0 * back)
        depth.append(2 * roll + (0.3 + 9.0 * cos**4) * back)
        lip.append(2.0)
    for k in range(rings.roll):
        phi = -np.pi / 2 + np.pi * k / (rings.roll - 1)
        s.append(roll * (1 - np.cos(phi)))
        depth.append(roll * (1 - np.sin(phi)))
        lip.append(2.0 if phi < -0.5 else 1.0)
    for k in range(rings.red):
        share = (k + 1) / rings.red
        s.append(roll + red * share)
        depth.append(-1.0 * fullness * np.sin(np.pi * share) ** 0.9 + 0.35 * share)
        lip.append(1.0)
    for k in range(rings.near):
        share = (k + 1) / rings.near
        start = roll + red
        s.append(start + (along - start) * share**1.25)
        depth.append(np.full_like(s[-1], 0.35 * (1 - share) ** 2))
        lip.append(0.0)
    share = np.array(s) / along
    x = edge_x + (border_x - edge_x) * share
    y = edge_y + (border_y - edge_y) * share
    own = np.stack([x, y, _mouth_surface(anatomy, pose, x, y)], -1)
    alpha, level = _unroll(x, y)
    face = _face(anatomy, alpha, level)
    keep = np.clip((1 - share) / 0.62, 0, 1)
    keep = (keep**2 * (3 - 2 * keep))[..., None]
    points = keep * own + (1 - keep) * face
    points[..., 2] -= np.array(depth)
    points[..., 2] += _creases(points[..., 0], points[..., 1], pose)
    return points, np.array(lip)


def _border(theta: Array) -> tuple[Array, Array]:
    return 50.0 * np.cos(theta), np.where(np.sin(theta) > 0, 36.0, 31.0) * np.sin(theta)


def _mouth_surface(anatomy: Anatomy, pose: _Pose, x: Array, y: Array) -> Array:
    """Give the front of the lips and around them, before the roll: a profile bent round the arch."""
    from scipy.interpolate import PchipInterpolator

    sn = anatomy.subnasale_in_front_mm
    lower_edge, upper_edge = pose.middle - pose.lower, pose.middle + pose.upper
    at = [-60, -33, lower_edge - 12, lower_edge - 3, upper_edge + 3, 23, 40]
    z = [2, 7 + anatomy.chin_mm, 3.5, pose.stand_lower, pose.stand_upper, sn, sn + 4]
    at[5] = max(at[5], at[4] + 8)
    curve = PchipInterpolator(at, z)
    return np.asarray(curve(np.clip(y, -60, 40)) - 0.0145 * x**2)


def _creases(x: Array, y: Array, pose: _Pose) -> Array:
    """Give the fold from the wing of the nose past the corner of the mouth, and the philtrum."""
    share = np.clip((28 - y) / 34, 0, 1)
    fold_x = 17 + (pose.half_width + 9 - 17) * share**0.8
    depth = np.where((y < 30) & (y > -14), np.sin(np.pi * np.clip((y + 14) / 44, 0, 1)), 0.0)
    fold = (
        -1.1 * depth * np.exp(-(((np.abs(x) - fold_x) / 2.6) ** 2)) * (0.5 + 0.04 * (pose.upper + pose.lower))
    )
    top = pose.middle + pose.upper
    philtrum = np.clip((y - top - 5) / 4, 0, 1) * np.clip((22 - y) / 3, 0, 1)
    return np.asarray(
        fold + philtrum * (0.5 * np.exp(-(((np.abs(x) - 4.5) / 2.0) ** 2)) - 0.6 * np.exp(-((x / 2.6) ** 2)))
    )


_LEVELS = (-118.0, -78, -62, -52, -44, -33, -15, 5, 25, 50, 76, 95, 122, 148, 168, 179, 184)
_WIDTHS = (60.0, 46, 44.5, 45.5, 50, 53.5, 58.5, 62, 65.5, 69, 71, 72, 72, 63, 46, 27, 6)
_FRONTS = (-46.0, -50, -47, -33, -6, 4, 1, 6, 9, 9, 3, 8, 4, -14, -38, -60, -80)


def _width(level: Array) -> Array:
    from scipy.interpolate import PchipInterpolator

    return np.asarray(PchipInterpolator(_LEVELS, _WIDTHS)(level))


def _unroll(x: Array, y: Array) -> tuple[Array, Array]:
    """Give the angle round the head's upright axis, and the height, of a place on the front of the face."""
    return np.arcsin(np.clip(x / _width(y), -0.98, 0.98)), y


def _face(anatomy: Anatomy, alpha: Array, level: Array) -> Array:
    """Give the head's surface at an angle round its axis and a height, without the mouth."""
    from scipy.interpolate import PchipInterpolator

    front = PchipInterpolator(_LEVELS, _FRONTS)(level)
    width = _width(level)
    cos, sin = np.cos(alpha), np.sin(alpha)
    z = _AXIS_Z + np.where(cos > 0, (front - _AXIS_Z) * np.abs(cos) ** 0.86, -80 * np.abs(cos))
    x = width * sin
    z = z + _features(anatomy, x, level) * np.clip(cos * 2, 0, 1)
    ear = np.exp(-(((np.abs(alpha) - 1.66) / 0.17) ** 4) - (((level - 58) / 27) ** 4))
    x = x + np.sign(alpha) * ear * 11
    cap = np.clip((level - cap_level(alpha)) / 5, 0, 1) * 2.5
    return np.stack([x * anatomy.width_scale, level + 0 * x, z + cap * np.clip(cos + 0.3, 0, 1)], -1)


def cap_level(alpha: Array) -> Array:
    """Give the height of the lower rim of the knitted cap at an angle round the head."""
    return np.asarray(114 - 16 * (1 - np.cos(0.9 * alpha)))


def _bump(x: Array, y: Array, at: tuple[float, float], size: tuple[float, float]) -> Array:
    return np.asarray(np.exp(-(((np.abs(x) - at[0]) / size[0]) ** 2) - (((y - at[1]) / size[1]) ** 2)))


def _features(anatomy: Anatomy, x: Array, y: Array) -> Array:
    """Give nose, eyes, brows, cheeks and chin as heights above the smooth face."""
    from scipy.interpolate import PchipInterpolator

    n = anatomy.nose_scale
    ridge = PchipInterpolator(
        (18, 23.5, 27, 31, 36, 44, 60, 76, 90, 110), (0, 0.6, 11, 19, 20.5, 17, 9.5, 3.5, 0.5, 0)
    )
    spread = np.interp(y, (25, 38, 60, 80), (7.5, 8.0, 6.5, 7.5))
    across = np.exp(-(np.abs(x / spread) ** 2.4))
    height = n * ridge(np.clip(y, 18, 110)) * across
    height += n * 9.5 * _bump(x, y, (12.5, 32), (5.0, 5.5))
    height -= 3.0 * _bump(x, y, (6.5, 26.5), (3.0, 2.2))
    height -= 12.0 * _bump(x, y, (30, 73), (16, 11))
    height += 9.0 * np.sqrt(np.clip(1 - ((np.abs(x) - 31.5) / 15) ** 2 - ((y - 72) / 10.5) ** 2, 0, 1))
    height += 4.0 * _bump(x, y, (25, 88), (18, 6))
    height += 6.0 * _bump(x, y, (42, 47), (18, 15))
    height -= 2.5 * _bump(x, y, (46, 8), (12, 16))
    height += (6.0 + anatomy.chin_mm) * np.exp(-((x / 17) ** 2) - (((y + 33) / 10) ** 2))
    return np.asarray(height)


def _beyond(anatomy: Anatomy, rings: Rings, theta: Array) -> Array:
    """Place the rings from the mouth's border to the edge of the mask: neck, crown and behind the ears."""
    border_x, border_y = _border(theta)
    alpha_0, level_0 = _unroll(border_x, border_y)
    cos, sin = np.cos(theta), np.sin(theta)
    reach = 1 / (np.abs(cos) ** 4 + np.abs(sin) ** 4) ** 0.25
    alpha_1 = 2.15 * cos * reach
    level_1 = np.where(sin > 0, 183.0, 117.0) * sin * reach
    share = (np.arange(1, rings.far + 1) / rings.far)[:, None]
    grow = 0.55 * share + 0.45 * share**2
    return _face(anatomy, alpha_0 + (alpha_1 - alpha_0) * grow, level_0 + (level_1 - level_0) * grow)


def _landmarks(rings: Rings) -> dict[str, int]:
    """Give the vertices that carry landmarks on the lips; those of nose and chin are found on the surface."""
    quarter = rings.around // 4
    lip_edge = rings.wall + rings.roll // 2
    border = rings.wall + rings.roll + rings.red - 1
    return {
        "cheilion_left": lip_edge * rings.around,
        "cheilion_right": lip_edge * rings.around + 2 * quarter,
        "labrale_superius": border * rings.around + quarter,
        "labrale_inferius": border * rings.around + 3 * quarter,
    }


def midline_landmarks(rest: Skin, rings: Rings) -> dict[str, int]:
    """Find tip of the nose, base of the nose and chin along the midline of the rest pose."""
    above = np.arange(rings.total) * rings.around + rings.around // 4
    below = above + rings.around // 2
    up, down = rest.vertices[above], rest.vertices[below]
    first = rings.wall + rings.roll + rings.red
    nose = first + int(np.argmax(np.where(up[first:, 1] < 55, up[first:, 2], -np.inf)))
    # the base of the nose: the deepest bend between lip and tip, farthest behind the chord between them
    lip, tip = up[first], up[nose]
    chord = (tip - lip)[1:] / np.linalg.norm((tip - lip)[1:])
    between = up[first:nose, 1:] - lip[1:]
    subnasale = first + int(np.argmax(chord[1] * between[:, 0] - chord[0] * between[:, 1]))
    chin_z = np.where((down[:, 1] < -22) & (down[:, 1] > -45), down[:, 2], -np.inf)
    chin_z[:first] = -np.inf
    return {
        "pronasale": int(above[nose]),
        "subnasale": int(above[subnasale]),
        "pogonion": int(below[int(np.argmax(chin_z))]),
    }
