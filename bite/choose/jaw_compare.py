"""Whether the jaw stands lower in one frame than in another, though no opening shows in either.

Upper incisors overlap the lower ones by some millimetres, so that teeth may be apart by as much without a
gap in sight. Where the jaw alone went down, what lies below the upper edge (crowns, gum, lip) is the same
picture a little lower. A lower lip that was drawn down alone looks nearly so; only frames with one smile
should be compared, and what is found is a doubt and no proof. Pairs are compared directly: a chain from frame
to frame would add up how lips creep.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.choose.carry_start import grey
from bite.evidence.clicks.tooth_row import ToothRow
from bite.evidence.picture.luminance import Picture
from bite.geometry.rigid import Array
from bite.geometry.teeth import UPPER_CENTRAL

_CROWN_PX = 24.0
"""Width of a crown in the common picture that frames are brought into."""
_ASIDE, _FROM, _TO = 2.2, 0.18, 1.35
"""The lower row in crowns: half its width, and from where to where below the upper edge."""
_REACH = 0.75
"""Largest drop looked for, in crowns: 6 mm, the largest overbite that is usual."""
_ASIDE_REACH = 0.15
"""Crowns by which the upper row may have moved sideways between two frames (our choice)."""
_FINE_CROWNS, _COARSE_CROWNS = 0.35, 1.0
"""Light is evened over more than a third of a crown and its spread over a whole one: teeth stay, shading
goes."""
_ABOVE = 1.7
"""Crowns, gum and lip above the edge, in crowns."""
_STILL_MM = 0.4
"""An upper smile that moved by more is another smile (our choice: less than the tolerance)."""
LEAST_LIKENESS, SAME_SMILE = 0.9, 0.95
"""Correlation that a lower row must keep to be compared, and from which a smile counts as the same (our
choice)."""


@dataclass(frozen=True, slots=True)
class LowerFace:
    """What lies around the upper edge, in a common picture: across the row, and down from its first line.

    ``plane`` begins at the edge; ``above`` ends there: crowns, gum and upper lip.
    """

    plane: NDArray[np.uint8]
    above: NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class JawDrop:
    """How much lower the second frame's jaw stands, mm, and how alike the two look (correlation)."""

    drop_mm: float
    likeness: float


def lower_face(image: Picture, row: ToothRow) -> LowerFace:
    """Bring what lies around the upper edge into the common picture.

    Parameters
    ----------
    image : array, shape (h, w, 3), uint8, RGB
    row : ToothRow, px
    """
    import cv2

    unit = row.crown_width_px / _CROWN_PX
    aside, reach = (_ASIDE + _ASIDE_REACH) * _CROWN_PX, (_TO + _REACH) * _CROWN_PX
    rise = int(_ABOVE * _CROWN_PX)
    size = (2 * int(aside) + 1, rise + int(reach) + 1)
    axes = unit * np.column_stack([row.across, row.down])
    start = row.upper_edge_px.mean(0) - axes @ (int(aside), rise)
    to_picture = np.column_stack([axes, start])
    light = grey(image)
    if unit > 1.5:
        light = np.asarray(cv2.GaussianBlur(light, (0, 0), 0.4 * unit), dtype=np.uint8)
    flat = cv2.warpAffine(
        light,
        to_picture,
        size,
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )
    even: Array = np.asarray(flat, dtype=np.float32)
    even = even - cv2.GaussianBlur(even, (0, 0), _FINE_CROWNS * _CROWN_PX)
    spread = np.sqrt(cv2.GaussianBlur(even**2, (0, 0), _COARSE_CROWNS * _CROWN_PX))
    plane = np.asarray(np.clip(128.0 + 50.0 * even / (spread + 3.0), 0, 255), dtype=np.uint8)
    return LowerFace(plane[rise:], plane[:rise])


def same_smile(one: LowerFace, other: LowerFace) -> bool:
    """Tell whether upper lip and crowns look alike and stand alike, to within 0.4 mm."""
    import cv2

    way = int(np.ceil(_STILL_MM / UPPER_CENTRAL.mean_mm * _CROWN_PX)) + 2
    template = one.above[way:-way]
    score = cv2.matchTemplate(other.above[:, :], template, cv2.TM_CCOEFF_NORMED)[:, 0]
    best = int(np.argmax(score))
    shift_mm = (best - way) / _CROWN_PX * UPPER_CENTRAL.mean_mm
    return bool(score[best] >= SAME_SMILE and abs(shift_mm) <= _STILL_MM)


def jaw_drop(higher: LowerFace, lower: LowerFace) -> JawDrop:
    """Look for one frame's lower row in another, at its place or lower.

    Parameters
    ----------
    higher : LowerFace, whose jaw stands as high or higher
    lower : LowerFace
    """
    import cv2

    margin = int((_ASIDE + _ASIDE_REACH) * _CROWN_PX) - int(_ASIDE * _CROWN_PX)
    top, bottom = int(_FROM * _CROWN_PX), int(_TO * _CROWN_PX)
    template = higher.plane[top:bottom, margin : higher.plane.shape[1] - margin]
    score = cv2.matchTemplate(lower.plane[top:], template, cv2.TM_CCOEFF_NORMED)
    _, best, _, (_, down) = cv2.minMaxLoc(score)
    shift = float(down) + _between(np.asarray(score[:, int(np.argmax(score[down]))], dtype=np.float64), down)
    return JawDrop(shift / _CROWN_PX * UPPER_CENTRAL.mean_mm, float(best))


def _between(column: Array, at: int) -> float:
    """Give where a parabola through three scores has its top, from the middle one."""
    if not 0 < at < len(column) - 1:
        return 0.0
    before, here, after = (float(v) for v in column[at - 1 : at + 2])
    bend = before - 2 * here + after
    return 0.0 if bend >= 0 else float(np.clip(0.5 * (before - after) / bend, -0.5, 0.5))
