"""Where light comes from: a room with a key and a fill, or small lamps on the cameras' own bar. Invented."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bite.geometry.rigid import Array, Rigid
from demo_bite.scene.paint import Paint
from demo_bite.scene.settings import Lamp

# key from the upper left behind the camera, a weaker fill from the right; directions from the head, camera
# axes
_ROOM = ((np.array([-0.50, -0.62, -0.60]), 1.45), (np.array([0.75, -0.15, -0.64]), 0.55))
_AMBIENT, _DIM = 0.42, 0.05
"""What comes from everywhere: in a room, and on a dark stage with nothing but the lamps."""
_FULL_MM = 200.0
"""A lamp's strength is told at this distance and falls with its square."""
_WET = 4.0
"""A lamp is small: what it mirrors in wet enamel and lips is so many times as tight and as strong."""


@dataclass(frozen=True, slots=True)
class Shading:
    """What light makes of places: on their colour, and beside it as gloss, shape (n,)."""

    diffuse: Array
    shine: Array


def shade(
    lamps: tuple[Lamp, ...], view_from_reference: Rigid, place_mm: Array, normal: Array, painted: Paint
) -> Shading:
    """Light places.

    Parameters
    ----------
    lamps : tuple of Lamp, in the reference camera's frame; none is a lit room
    view_from_reference : Rigid
    place_mm, normal : arrays, shape (n, 3), in the view's own frame
    """
    view = -place_mm / np.linalg.norm(place_mm, axis=1)[:, None]
    diffuse = np.full(len(place_mm), _DIM if lamps else _AMBIENT) * (0.75 - 0.25 * normal[:, 1])
    shine = np.zeros(len(place_mm))
    for direction, strength in () if lamps else _ROOM:
        to_light = np.broadcast_to(direction / np.linalg.norm(direction), normal.shape)
        _add(diffuse, shine, to_light, view, normal, strength, painted.sharpness)
    for lamp in lamps:
        towards = view_from_reference.apply(np.array(lamp.at_mm)) - place_mm
        away = np.linalg.norm(towards, axis=1)
        strength = lamp.strength * (_FULL_MM / away) ** 2
        own = np.zeros(len(place_mm))
        _add(diffuse, own, towards / away[:, None], view, normal, strength, _WET * painted.sharpness)
        shine += _WET * own
    return Shading(diffuse, shine)


def _add(
    diffuse: Array,
    shine: Array,
    to_light: Array,
    view: Array,
    normal: Array,
    strength: float | Array,
    sharpness: Array,
) -> None:
    half = to_light + view
    half /= np.linalg.norm(half, axis=1)[:, None]
    # light creeps a little round edges of skin and enamel
    diffuse += strength * np.clip(((normal * to_light).sum(1) + 0.15) / 1.15, 0, None)
    shine += strength * np.clip((normal * half).sum(1), 0, 1) ** sharpness
