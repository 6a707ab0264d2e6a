"""Corners clicked in one frame of a take, carried to the others, each with an sd that grows on the way.

From frame to frame the row is followed by optical flow. In every frame it is also matched against the clicked
picture itself, which takes drift away; where that fails the sd grows with each step. Where neither finds the
teeth, they are looked for again. A lower tooth that disappears under the upper edge does so wherever that
edge goes, while the rows overlap. Landmarks on lips and skin are not carried: they move on their own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import partial

import numpy as np
from numpy.typing import NDArray

from bite.choose.carry_start import Anchor, anchor_of, grey
from bite.choose.row_match import Piece, RowMatch, find_again, likeness, match_row, piece_around
from bite.evidence.clicks.for_fit import SIGMA_DISTAL_PX, SIGMA_MESIAL_PX, UNSURE_FACTOR
from bite.evidence.clicks.tooth_row import usable_points
from bite.evidence.picture.luminance import Picture
from bite.files.corners import Corners, CornerState
from bite.geometry.rigid import frozen
from bite.geometry.teeth import CORNERS, is_upper

MATCH_SD_CROWNS, UNLIKE_SD_CROWNS = 0.008, 0.35
"""What a match leaves open, in crown widths, and what it adds for each unit that likeness falls short of 1:
other lips and another light move edges a little. Set on seven simulated takes, counted on others by
tests/coverage/choose.py."""
STEP_SD_CROWNS = 0.012
"""What each step without such a match adds, in quadrature."""
LEAST_LIKENESS, LEAST_LIKENESS_STEPPED = 0.55, 0.75
"""Correlation below which a row is not the clicked one; more is asked where it was followed step by step
alone (our choice)."""
_AGAIN_LIKENESS = 0.6
"""A row found less alike than this is looked for once more from the clicked frame (our choice)."""
_WIDE_CROWNS, _WIDE_STEPS = 1.0, 6
"""A wider window finds more, and looks at lips and at the other row as well: it counts as so many steps."""
_REACH_CROWNS = 2.0
"""Farthest way of the teeth from one frame to the next."""
_JUMP_CROWNS, _JUMP_SD = 0.12, 3.0
"""A corner does not jump by an eighth of a crown, or by 3 of its own sds, from one frame to the next (our
choice)."""
_COVERED_SD_CROWNS = 0.05
"""Where a lower tooth disappears under the upper edge moves along that edge when the jaw does."""


class Lost(StrEnum):
    """Why a corner is not carried."""

    TEETH = "the teeth were not found again"
    ROW = "the lower row was not found again"
    NEVER = "it was hidden where it was clicked"


@dataclass(frozen=True, slots=True)
class CarriedPoint:
    """One corner in another frame, px; ``sigma_px`` holds the click and the way, ``way_px`` the way alone."""

    x_px: float
    y_px: float
    state: CornerState
    sigma_px: float
    way_px: float


@dataclass(frozen=True, slots=True)
class Carried:
    """All corners in one frame.

    Parameters
    ----------
    points : mapping from code to CarriedPoint
    lost : mapping from code to Lost
    upper, lower : RowMatch or None, the rows from the clicked picture
    likeness : float or None, of the upper teeth with the clicked ones, 1 the same
    matched : bool, against the clicked picture itself, not only from frame to frame
    steps_unmatched : int, frames since such a match
    jaw_drop_px, jaw_drop_sd_px : float or None, how much lower the lower row stands than where it was clicked
    last : RowMatch, where the upper row was seen last
    piece : Piece, of this frame
    """

    points: Mapping[str, CarriedPoint]
    lost: Mapping[str, Lost]
    upper: RowMatch | None
    lower: RowMatch | None
    likeness: float | None
    matched: bool
    steps_unmatched: int
    jaw_drop_px: float | None
    jaw_drop_sd_px: float | None
    last: RowMatch
    piece: Piece


def start_carry(image: Picture, corners: Corners) -> tuple[Anchor, Carried]:
    """Take the clicked frame as the start.

    Raises
    ------
    DegenerateGeometryError
        When the upper corners do not determine the row.
    """
    anchor = anchor_of(image, corners)
    still = RowMatch(frozen(np.eye(3)[:2]), 0.0, len(anchor.upper_px))
    low = None if not len(anchor.lower_px) else RowMatch(still.placed, 0.0, len(anchor.lower_px))
    return anchor, _carried(anchor, anchor.piece, still, low, 1.0, True, 0, clicked=True)


def carry_on(anchor: Anchor, before: Carried, image: Picture) -> Carried:
    """Carry the corners from a neighbouring frame into this one.

    Parameters
    ----------
    anchor : Anchor
    before : Carried, of the neighbour nearer to the clicked frame
    image : array, shape (h, w, 3), uint8, RGB
    """
    light, crown, last = grey(image), anchor.crown_px, before.last
    piece = piece_around(light, last.place(anchor.middle_px[None])[0], crown)
    expected = last.place(anchor.upper_px)
    stepped = None
    if before.upper is not None:
        shift, _ = find_again(
            before.piece, _moved(anchor, before), piece, guess=np.zeros(2), reach_px=_REACH_CROWNS * crown
        )
        follow = partial(match_row, before.piece, expected, piece, expected + shift, anchor.upper_px, crown)
        stepped = follow() or follow(window_crowns=_WIDE_CROWNS)
    guess = stepped or last
    matched = match_row(
        anchor.piece, anchor.upper_px, piece, guess.place(anchor.upper_px), anchor.upper_px, crown
    )
    if matched is not None and stepped is not None:
        jump = float(
            np.hypot(*(matched.place(anchor.middle_px[None]) - stepped.place(anchor.middle_px[None]))[0])
        )
        own = STEP_SD_CROWNS * crown * np.sqrt(before.steps_unmatched + 1.0)
        if jump > max(_JUMP_CROWNS * crown, _JUMP_SD * own):
            matched = None
    upper, steps = matched or stepped, 0 if matched is not None else before.steps_unmatched + 1
    alike = None if upper is None else likeness(anchor.piece, piece, upper, anchor.core)
    if alike is None or alike < (LEAST_LIKENESS if matched is not None else LEAST_LIKENESS_STEPPED):
        upper, piece = _again(anchor, light, piece)
        steps = 0
        alike = None if upper is None else likeness(anchor.piece, piece, upper, anchor.core)
    elif upper is stepped and stepped is not None and stepped.window_crowns == _WIDE_CROWNS:
        steps += _WIDE_STEPS
    if upper is None:
        return _nothing(anchor, last, piece, before.steps_unmatched + 1)
    lower = _lower(anchor, before, piece, upper)
    return _carried(anchor, piece, upper, lower, alike, steps == 0, steps)


def _moved(anchor: Anchor, carried: Carried) -> NDArray[np.bool_]:
    """Give the clicked area of upper teeth where it lies in another frame's piece."""
    import cv2

    match = carried.last.placed
    to_piece = match.copy()
    to_piece[:, 2] += match[:, :2] @ anchor.piece.origin - carried.piece.origin
    side = carried.piece.plane.shape[0]
    return np.asarray(cv2.warpAffine(anchor.core.astype(np.uint8), to_piece, (side, side)) > 0)


def _again(anchor: Anchor, light: NDArray[np.uint8], piece: Piece) -> tuple[RowMatch | None, Piece]:
    nowhere = piece.origin - anchor.piece.origin
    shift, alike = find_again(anchor.piece, anchor.core, piece, guess=nowhere, reach_px=None)
    if alike < _AGAIN_LIKENESS:
        return None, piece
    found = piece_around(light, anchor.middle_px + shift, anchor.crown_px)
    upper = match_row(
        anchor.piece, anchor.upper_px, found, anchor.upper_px + shift, anchor.upper_px, anchor.crown_px
    )
    if upper is None or likeness(anchor.piece, found, upper, anchor.core) < LEAST_LIKENESS:
        return None, piece
    return upper, found


def _lower(anchor: Anchor, before: Carried, piece: Piece, upper: RowMatch) -> RowMatch | None:
    """Find the lower row: from the neighbour where it was seen there, else from the clicked picture."""
    clicked, crown = anchor.lower_px, anchor.crown_px
    if not len(clicked):
        return None
    guess = upper.place(clicked)
    if before.lower is not None and before.upper is not None:
        lag = before.lower.place(clicked) - before.upper.place(clicked)
        found = match_row(anchor.piece, clicked, piece, guess + lag, clicked, crown)
        if found is not None:
            return found
        return match_row(before.piece, before.lower.place(clicked), piece, guess + lag, clicked, crown)
    return match_row(anchor.piece, clicked, piece, guess, clicked, crown)


def _carried(
    anchor: Anchor,
    piece: Piece,
    upper: RowMatch,
    lower: RowMatch | None,
    alike: float | None,
    matched: bool,
    steps: int,
    *,
    clicked: bool = False,
) -> Carried:
    crown, corners = anchor.crown_px, anchor.corners
    way_px = partial(_way_px, crown, steps, 1.0 if alike is None else alike)
    way = 0.0 if clicked else way_px(upper)
    drop, drop_sd = None, None
    if lower is not None:
        at = anchor.low_middle_px[None]
        drop = float((lower.place(at) - upper.place(at))[0] @ anchor.down)
        drop_sd = 0.0 if clicked else float(np.hypot(way, way_px(lower)))
    points: dict[str, CarriedPoint] = {}
    lost: dict[str, Lost] = {}
    for code, place in usable_points(corners, CORNERS).items():
        point = corners.points[code]
        covered = point.state is CornerState.COVERED
        match = upper if covered or is_upper(code) else lower
        if match is None:
            lost[code] = Lost.ROW
            continue
        own = point.sigma_px or (SIGMA_DISTAL_PX if code.endswith("d") else SIGMA_MESIAL_PX)
        own *= UNSURE_FACTOR if point.state is CornerState.UNSURE else 1.0
        x, y = match.place(place[None])[0]
        own_way = 0.0 if clicked else way_px(match)
        own_way = float(np.hypot(own_way, _COVERED_SD_CROWNS * crown)) if covered and not clicked else own_way
        points[code] = CarriedPoint(float(x), float(y), point.state, float(np.hypot(own, own_way)), own_way)
    lost |= {c: Lost.NEVER for c, p in corners.points.items() if p.state is CornerState.HIDDEN}
    return Carried(points, lost, upper, lower, alike, matched, steps, drop, drop_sd, upper, piece)


def _way_px(crown_px: float, steps: int, alike: float, match: RowMatch) -> float:
    """Give the sd that carrying has added, px."""
    fitted = match.rms_px * np.sqrt(4.0 / match.features)
    crowns = MATCH_SD_CROWNS**2 + (UNLIKE_SD_CROWNS * (1.0 - alike)) ** 2 + steps * STEP_SD_CROWNS**2
    return float(np.sqrt(crowns * crown_px**2 + fitted**2))


def _nothing(anchor: Anchor, last: RowMatch, piece: Piece, steps: int) -> Carried:
    lost = dict.fromkeys(usable_points(anchor.corners, CORNERS), Lost.TEETH)
    return Carried({}, lost, None, None, None, False, steps, None, None, last, piece)
