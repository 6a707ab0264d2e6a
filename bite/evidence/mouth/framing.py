"""How the head stands before the reference camera: distance, turn, tilt, roll, room around the mouth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bite.evidence.mouth.place import Mouth
from bite.files.bundle import BiteFrame
from bite.fit.head import Head
from bite.geometry.rigid import Array


@dataclass(frozen=True, slots=True)
class Framing:
    """Where head and mouth are; None where not known.

    Parameters
    ----------
    distance_mm : of the incisors from the camera
    turn_deg : of the head to the side, from the camera's line of sight; 0 is straight
    below_deg : how far the camera stands below the occlusal plane, looking up; negative from above
    roll_deg : of the tooth row in the picture
    border_mm : from the mouth to the nearest border of the picture
    under_mm : room below the mouth, along the picture's down direction of the teeth
    mouth_px : distance between the corners of the mouth, where clicked
    """

    distance_mm: float | None
    turn_deg: float | None
    below_deg: float | None
    roll_deg: float
    border_mm: float
    under_mm: float
    mouth_px: float | None


def framing_of(frame: BiteFrame, head: Head | None, mouth: Mouth) -> Framing:
    """Describe how the head is framed in the reference view."""
    view = frame.views[0]
    size = np.array([view.camera.width_px, view.camera.height_px], dtype=float)
    middle = np.asarray(mouth.row.upper_edge_px.mean(0))
    border_px = float(min(middle.min(), (size - 1.0 - middle).min()))
    marks = view.corners.landmarks if view.corners is not None else {}
    mouth_px = None
    if "cheilion_right" in marks and "cheilion_left" in marks:
        right, left = marks["cheilion_right"], marks["cheilion_left"]
        mouth_px = float(np.hypot(left.x_px - right.x_px, left.y_px - right.y_px))
    turn = below = None
    if head is not None:
        to_camera = -head.centre_mm / np.linalg.norm(head.centre_mm)
        ahead, aside, above = (float(to_camera @ axis) for axis in (head.forward, head.right, head.up))
        turn = float(np.degrees(np.arctan2(aside, ahead)))
        below = float(-np.degrees(np.arctan2(above, np.hypot(ahead, aside))))
    return Framing(
        mouth.distance_mm,
        turn,
        below,
        float(np.degrees(np.arctan2(mouth.row.across[1], mouth.row.across[0]))),
        border_px * mouth.mm_per_px,
        _to_border(middle, np.asarray(mouth.row.down), size) * mouth.mm_per_px,
        mouth_px,
    )


def _to_border(start: Array, direction: Array, size: Array) -> float:
    """Give how far a ray runs inside the picture, px."""
    reach = [
        ((size[k] - 1.0 if direction[k] > 0 else 0.0) - start[k]) / direction[k]
        for k in range(2)
        if abs(direction[k]) > 1e-9
    ]
    return float(max(0.0, min(reach)))
