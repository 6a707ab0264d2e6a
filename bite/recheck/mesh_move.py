"""How far the digital teeth themselves were moved between two solved models of one rig."""

from __future__ import annotations

import numpy as np

from bite.fit.head import Head
from bite.geometry.rigid import align
from bite.geometry.teeth import LOWER, SKIN, UPPER


def move_in_mesh_mm(before: Head, after: Head) -> float | None:
    """Give how far forward the teeth stand in one model against another, mm, once their skins are aligned.

    None where a model has no surface, or the two differ in their vertices.
    """
    if not len(before.faces) or len(before.points_mm) != len(after.points_mm):
        return None
    part = before.face_part
    skin = np.unique(before.faces[part == SKIN])
    teeth = np.unique(before.faces[(part == UPPER) | (part == LOWER)])
    carried = align(before.points_mm[skin], after.points_mm[skin]).rigid.apply(before.points_mm[teeth])
    return float(((after.points_mm[teeth] - carried) @ after.forward).mean())
