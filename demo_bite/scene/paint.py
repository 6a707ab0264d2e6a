"""What colour each place of a head is: invented paint, linear RGB."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bite.geometry.rigid import Array
from bite.geometry.teeth import LOWER, UPPER
from demo_bite.scene.anatomy import Anatomy
from demo_bite.scene.head import cap_level

_LIGHT_SKIN, _DARK_SKIN = np.array([0.72, 0.47, 0.36]), np.array([0.17, 0.085, 0.055])
_CAPS = (
    (0.05, 0.12, 0.22),
    (0.30, 0.05, 0.06),
    (0.06, 0.18, 0.12),
    (0.25, 0.17, 0.04),
    (0.12, 0.06, 0.16),
    (0.10, 0.10, 0.11),
)


@dataclass(frozen=True, slots=True)
class Places:
    """What the painter is told of each pixel, shape (n, ...), head frame, mm; see ``Head``."""

    at: Array
    normal: Array
    part: Array
    group: Array
    lip: Array
    from_edge_mm: Array
    """distance of a tooth's place from its row's edge line, along ``up``"""


@dataclass(frozen=True, slots=True)
class Paint:
    """Diffuse colour, shape (n, 3), and strength and sharpness of the gloss, shape (n,)."""

    colour: Array
    gloss: Array
    sharpness: Array


def paint(anatomy: Anatomy, places: Places) -> Paint:
    """Paint skin, lips, brows, eyes, cap, teeth, gums and the dark of the mouth."""
    skin = _skin(anatomy, places)
    red = np.clip(places.lip, 0, 1)[:, None]
    inside = np.clip(places.lip - 1, 0, 1)[:, None]
    tone = skin_tone(anatomy)
    lips = tone * np.array([0.80, 0.52, 0.52]) + np.array([0.025, 0.0, 0.004])
    colour = skin * (1 - red) + lips * red
    colour = colour * (1 - inside) + np.array([0.22, 0.055, 0.055]) * inside
    gloss = np.where(places.lip > 0.5, 0.10, 0.035)
    sharpness = np.where(places.lip > 0.5, 35.0, 12.0)

    tooth = (places.part == UPPER) | (places.part == LOWER)
    up = np.clip(places.from_edge_mm / 9.0, 0, 1)[:, None]
    enamel = np.array([0.72, 0.68, 0.58]) * (1 - up) + np.array([0.66, 0.57, 0.42]) * up
    enamel = np.where((places.part == LOWER)[:, None], enamel * 0.94, enamel)
    colour = np.where(tooth[:, None], enamel, colour)
    gloss, sharpness = np.where(tooth, 0.28, gloss), np.where(tooth, 90.0, sharpness)
    gum, dark = places.group == 3, places.group == 4
    colour = np.where(gum[:, None], np.array([0.36, 0.12, 0.12]), colour)
    gloss = np.where(gum, 0.10, gloss)
    colour = np.where(dark[:, None], np.array([0.045, 0.010, 0.010]), colour)
    gloss = np.where(dark, 0.0, gloss)
    return Paint(colour, gloss, sharpness)


def skin_tone(anatomy: Anatomy) -> Array:
    """Give a performer's skin colour, linear RGB."""
    share = anatomy.skin_tone
    return np.asarray(_LIGHT_SKIN ** (1 - share) * _DARK_SKIN**share)


def _soft(value: Array, width: float) -> Array:
    return np.asarray(np.clip(0.5 - value / width, 0, 1)[:, None])


def _skin(anatomy: Anatomy, places: Places) -> Array:
    x, y = places.at[:, 0] / anatomy.width_scale, places.at[:, 1]
    side = np.abs(x)
    tone = skin_tone(anatomy)
    mottle = np.sin(x * 0.31 + 1.7 * np.sin(y * 0.23)) * np.sin(y * 0.37 + 1.3 * np.sin(x * 0.19))
    colour = tone * (1 + 0.035 * mottle[:, None])
    flush = np.exp(-(((side - 40) / 16) ** 2) - (((y - 38) / 15) ** 2)) + 0.8 * np.exp(
        -((x / 11) ** 2) - (((y - 34) / 9) ** 2)
    )
    colour = colour * (1 - flush[:, None] * np.array([0.0, 0.14, 0.12]))
    hair = np.array([0.025, 0.017, 0.012])
    # brows, then the eye: white, iris, pupil, lid line
    middle = 87.5 - 0.011 * (side - 27) ** 2
    brow = np.maximum(np.abs(y - middle) - 2.3 * np.clip((48 - side) / 14, 0.1, 1), np.abs(side - 30) - 17)
    brow_mask = 0.85 * _soft(brow, 1.6)
    colour = colour * (1 - brow_mask) + hair * brow_mask
    ex, ey = side - 31.5, y - 71.5
    lid = np.abs(ex / 13.5) ** 2 + np.abs(ey / np.where(ey > 0, 5.2, 4.2)) ** 2
    opening = _soft((lid - 1) * 4, 1.0)
    white = np.array([0.62, 0.58, 0.54])
    iris = np.array([0.10, 0.13, 0.12]) if anatomy.skin_tone < 0.5 else np.array([0.06, 0.03, 0.018])
    radius = np.hypot(ex, ey - 0.5)
    eye = white * (1 - _soft(radius - 5.4, 0.8)) + iris * _soft(radius - 5.4, 0.8)
    eye = eye * (1 - _soft(radius - 2.2, 0.6)) + 0.01 * _soft(radius - 2.2, 0.6)
    colour = colour * (1 - opening) + eye * opening
    line = np.where(ey > -1, _soft(np.abs(lid - 1.12) * 5 - 0.75, 0.8)[:, 0], 0.0)[:, None]
    colour = colour * (1 - 0.9 * line) + hair * 0.9 * line
    nostril = 0.9 * _soft(np.hypot((side - 6.6) / 3.3, (y - 26.6) / 2.2) - 1, 0.5)
    colour = colour * (1 - nostril) + tone * 0.06 * nostril
    cap = np.array(_CAPS[anatomy.jitter_seed % len(_CAPS)])
    around = np.arctan2(places.at[:, 0], places.at[:, 2] + 85)
    ribs = 1 + 0.18 * np.sin(around * 90)
    on_cap = _soft(cap_level(around) + 1.5 - y, 1.0)
    colour = colour * (1 - on_cap) + (cap * ribs[:, None]) * on_cap
    collar = _soft(y + 92, 2.0)
    return np.asarray(colour * (1 - collar) + np.array([0.03, 0.03, 0.035]) * collar)
