"""Do clicks span what their names span on the model? Rows swapped, distal corners called mesial.

The model's own widths are the measure, not a population's: the rows of one mouth differ by half, so that no
lens or unit that passed the other checks makes one look like the other.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from bite.errors import InputError
from bite.evidence.mouth.spans import seen_points
from bite.files.bundle import BiteFrame
from bite.fit.head import Head
from bite.geometry.teeth import LOWER_CORNERS, UPPER_CORNERS

ALIKE, UNLIKE = 0.15, 0.3
"""Two widths are the same within the first share, and differ from the second on: the outer corners of upper
centrals stand 1.6 times as far apart as those of lower ones (reference/crown_widths.toml; the shares are our
choice)."""
TOUCH = 0.3
"""Mesial corners of neighbours stand within this share of the outer corners' distance: 5 mm above, 3 mm
below, a wide gap between front teeth (our choice)."""


def refuse_names_of_others(frame: BiteFrame, head: Head | None) -> None:
    """Raise where seen clicks of a row stand as another row's do, or distal ones as mesial ones, or so.

    Parameters
    ----------
    frame : BiteFrame
    head : Head or None, near its place in the reference camera

    Raises
    ------
    InputError
    """
    corners = frame.views[0].corners
    if head is None or corners is None:
        return
    spans = _spans_mm(frame, head)
    own = {
        row: float(np.linalg.norm(head.corners[row[3]] - head.corners[row[0]]))
        for row in (UPPER_CORNERS, LOWER_CORNERS)
        if row[0] in head.corners and row[3] in head.corners
    }
    if len(own) == 2:
        _refuse_rows(corners.path, spans, own[UPPER_CORNERS], own[LOWER_CORNERS])
    for row, width in own.items():
        _refuse_sides(corners.path, spans, row, width)


def _spans_mm(frame: BiteFrame, head: Head) -> Mapping[tuple[str, str], float]:
    """Give how far two seen clicks stand apart at the model's incisors, mm."""
    points, camera = seen_points(frame, 0), frame.views[0].camera
    found = {}
    for row in (UPPER_CORNERS, LOWER_CORNERS):
        held = [head.corners[code] for code in row if code in head.corners]
        if not held:
            continue
        away = float(camera.camera_from_reference.apply(np.array(held))[:, 2].mean())
        for a, b in ((row[0], row[3]), (row[1], row[2])):
            if a in points and b in points and away > 1.0:
                ends = camera.point_at(np.array([points[a][0], points[b][0]]), np.full(2, away))
                found[a, b] = float(np.linalg.norm(ends[1] - ends[0]))
    return found


def _refuse_rows(path: object, spans: Mapping[tuple[str, str], float], upper: float, lower: float) -> None:
    """Refuse a lower row as wide as the upper one of this very model, beside a narrow upper one or none."""
    wide = spans.get((LOWER_CORNERS[0], LOWER_CORNERS[3]))
    narrow = spans.get((UPPER_CORNERS[0], UPPER_CORNERS[3]))
    if wide is None or abs(wide / lower - 1.0) < UNLIKE or abs(wide / upper - 1.0) > ALIKE:
        return
    if narrow is None or abs(narrow / lower - 1.0) < ALIKE:
        raise InputError(
            str(path),
            "points (rows swapped)",
            f"41d and 31d stand {wide:.1f} mm apart, as 11d and 21d of the solved model do ({upper:.1f} mm); "
            f"its 41d and 31d stand {lower:.1f} mm apart",
            "swap the rows: 11 and 21 are the upper teeth, 41 and 31 the lower ones",
        )


def _refuse_sides(
    path: object, spans: Mapping[tuple[str, str], float], row: tuple[str, ...], width: float
) -> None:
    """Refuse mesial corners a crown's width off the middle, and distal ones beside each other."""
    distal, mesial = spans.get((row[0], row[3])), spans.get((row[1], row[2]))
    if mesial is not None and abs(mesial / width - 1.0) < UNLIKE and (distal is None or distal < mesial):
        raise InputError(
            str(path),
            "points (mesial for distal)",
            f"{row[1]} and {row[2]} stand {mesial:.1f} mm apart, as {row[0]} and {row[3]} of the solved "
            f"model do ({width:.1f} mm); mesial corners of neighbours nearly touch",
            f"call these corners {row[0]} and {row[3]}: d is the corner away from the middle of the mouth",
        )
    if distal is not None and distal < TOUCH * width and (mesial is None or mesial > distal):
        raise InputError(
            str(path),
            "points (distal for mesial)",
            f"{row[0]} and {row[3]} stand {distal:.1f} mm apart, needed {width:.1f} mm as on the solved "
            "model; so near each other stand the mesial corners of neighbours",
            f"call these corners {row[1]} and {row[2]}: m is the corner towards the middle of the mouth",
        )
