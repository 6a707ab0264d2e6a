"""Do a rig's numbers, parts and directions fit the teeth of its rest export? Else it is refused.

A wrong number here would be taken for a wrong bite later on, and a wrong direction for a mirrored picture.
"""

from __future__ import annotations

from typing import NoReturn

import numpy as np
from numpy.typing import NDArray

from bite.errors import InputError
from bite.files.rig import Rig
from bite.geometry.mesh import Mesh
from bite.geometry.rigid import Array
from bite.geometry.teeth import LOWER, PARTS, UPPER, is_upper

FROM_EDGE_MM = 3.0
"""How far from the incisal edge beside it an incisal angle may lie: the rounding of a worn central incisor is
half as large, a crown three times as high (our choice)."""
BESIDE_MM = 2.0
"""Within so little sideways of a corner its row has one height."""
ARCH_MM = 8.0
"""Least depth of a row from which its incisors tell front from back (our choice)."""
FRONT = 0.35
"""Share of the row's depth, from its back, behind which no incisor stands (our choice)."""
ABOVE_MM = 2.0
"""Middles of two rows of crowns stand some 8 mm apart in height; within so little they say nothing of which
way is up (our choice)."""
_ROWS = {UPPER: "upper", LOWER: "lower"}


def check_teeth(rest: Mesh, rig: Rig, labels: NDArray[np.int8]) -> None:
    """Refuse a rig whose corners are not on their own row's incisal edge, or with a direction turned round.

    Parameters
    ----------
    rest : Mesh, the rest export
    rig : Rig
    labels : array, shape (faces of rest,), as `bite.files.rig_parts.part_labels` gives them

    Raises
    ------
    InputError
        Naming the key of the rig file that is at fault.
    """
    own = {label: np.unique(rest.faces[labels == label]) for label in (UPPER, LOWER)}
    _check_rows(rig, rest, own, labels)
    _check_forward(rig, rest, own)
    _check_up(rig, rest, own)
    _check_edges(rig, rest, own)


def _check_rows(
    rig: Rig, rest: Mesh, own: dict[int, NDArray[np.int32]], labels: NDArray[np.int8]
) -> None:
    """Each corner's vertex belongs to a face of its own row."""
    inside = {
        code: bool(np.isin(number, own[UPPER if is_upper(code) else LOWER]))
        for code, number in rig.corners.items()
    }
    wrong = [code for code, fine in inside.items() if not fine]
    if not wrong:
        return
    crossed = [
        code for code in wrong if np.isin(rig.corners[code], own[LOWER if is_upper(code) else UPPER])
    ]
    if len(crossed) == len(inside) and len({is_upper(code) for code in crossed}) == 2:
        what = "upper and lower look swapped: each row's corners are vertices of the other row"
        raise InputError(rig.path, "[parts] upper", what, "swap upper and lower in [parts]")
    code = wrong[0]
    number = rig.corners[code]
    row = "upper" if is_upper(code) else "lower"
    faces = np.flatnonzero((rest.faces == number).any(1))
    named = PARTS[int(labels[faces[0]])] if faces.size and labels[faces[0]] >= 0 else "no part"
    what = f"vertex {number} of {rig.rest.name} belongs to {named}, needed one of the {row} teeth"
    _refuse_number(rig, rest, own, code, what)


def _check_forward(rig: Rig, rest: Mesh, own: dict[int, NDArray[np.int32]]) -> None:
    """Incisors stand at the front of their row."""
    for label, row in _ROWS.items():
        numbers = [number for code, number in rig.corners.items() if is_upper(code) == (label == UPPER)]
        if not numbers:
            continue
        along = rest.vertices_mm[own[label]] @ rig.forward
        back, front = float(along.min()), float(along.max())
        at = float((rest.vertices_mm[numbers] @ rig.forward).mean())
        if front - back > ARCH_MM and at - back < FRONT * (front - back):
            turned = ", ".join(f"{-x + 0.0:.6g}" for x in rig.forward)
            what = (
                f"points into the mouth: the {row} incisors' corners lie {front - at:.0f} mm behind the "
                f"foremost of the {row} teeth in that direction, needed at their front"
            )
            mend = f"write the direction out of the mouth, such as [{turned}], in the axes of the rest export"
            raise InputError(rig.path, "forward", what, mend)


def _check_up(rig: Rig, rest: Mesh, own: dict[int, NDArray[np.int32]]) -> None:
    """Upper teeth stand above lower ones."""
    upper, lower = (rest.vertices_mm[own[label]].mean(0) @ rig.up for label in (UPPER, LOWER))
    if lower - upper > ABOVE_MM:
        turned = ", ".join(f"{-x + 0.0:.6g}" for x in rig.up)
        raise InputError(
            rig.path,
            "up",
            f"points down: the upper teeth lie {lower - upper:.0f} mm below the lower ones in that "
            "direction, needed above",
            f"write the direction from the lower to the upper teeth, such as [{turned}], in the axes of the "
            "rest export",
        )


def _check_edges(rig: Rig, rest: Mesh, own: dict[int, NDArray[np.int32]]) -> None:
    """Incisal angles lie at the incisal edge."""
    for code, number in rig.corners.items():
        off = _from_edge_mm(rig, rest, own, code, number)
        if off > FROM_EDGE_MM:
            row = "upper" if is_upper(code) else "lower"
            what = (
                f"vertex {number} of {rig.rest.name} lies {off:.1f} mm from the {row} incisal edge beside "
                f"it, needed an incisal angle (within {FROM_EDGE_MM:g} mm)"
            )
            _refuse_number(rig, rest, own, code, what)


def _from_edge_mm(
    rig: Rig, rest: Mesh, own: dict[int, NDArray[np.int32]], code: str, number: int
) -> float:
    """Give how far a vertex lies from its row's edge at the same place; infinite off the row."""
    label = UPPER if is_upper(code) else LOWER
    if not 0 <= number < len(rest.vertices_mm) or not np.isin(number, own[label]):
        return float("inf")
    right = np.cross(rig.up, rig.forward)
    to_edge = -rig.up if label == UPPER else rig.up
    row: Array = rest.vertices_mm[own[label]]
    at = rest.vertices_mm[number]
    beside = row[np.abs((row - at) @ right) <= BESIDE_MM]
    return float(((beside - at) @ to_edge).max())


def _refuse_number(
    rig: Rig, rest: Mesh, own: dict[int, NDArray[np.int32]], code: str, what: str
) -> NoReturn:
    """Say which number was probably meant: all of them one off, or else the nearest on the edge."""
    mend = "take the vertex number from the file itself, counted from 0"
    for step in (-1, 1):
        moved = [_from_edge_mm(rig, rest, own, c, n + step) for c, n in rig.corners.items()]
        if max(moved) <= FROM_EDGE_MM:
            mend = (
                f"all numbers of [corners] look {'one too high' if step < 0 else 'one too low'} (OBJ counts "
                "from 1, this file from 0): "
                f"write {rig.corners[code] + step} for {code}, and so on"
            )
    raise InputError(rig.path, f"[corners] {code}", what, mend)
