"""The small drawing of the front teeth: which corner is asked for, and which are dealt with."""

from __future__ import annotations

import numpy as np

from bite.annotate.drawing.draw_marks import Brush
from bite.annotate.drawing.lettering import Colour, Pixels, colour_of, text_width, write
from bite.annotate.state.clicks import ViewClicks
from bite.annotate.state.order import is_corner
from bite.annotate.state.view import Area, Point, ViewTransform
from bite.files.corners import CornerState
from bite.geometry.teeth import LANDMARKS, LOWER_CORNERS, UPPER_CORNERS, is_upper
from bite.plots.style import ENAMEL, INK, MEASURED

ASKED = colour_of("#D55E00")
_LINE = colour_of(INK)
_UPPER_WIDE, _LOWER_WIDE, _LAST_WIDE = 8.6, 5.4, 6.2
"""Mm of a drawing that shows which tooth is asked for: about the published widths, and no measure (our
choice)."""
_UPPER_HIGH, _LOWER_HIGH, _OPEN = 10.5, 8.5, 2.6
"""Mm of that drawing, an open mouth (our choice)."""
_HALF_WIDE = _UPPER_WIDE + _LAST_WIDE + 1.0


def corner_places(area: Area) -> dict[str, Point]:
    """Give where each corner lies in the drawing, px of the screen."""
    scale, middle = _scale(area)
    x0, y0 = middle
    found: dict[str, Point] = {}
    for codes, wide, y in (
        (UPPER_CORNERS, _UPPER_WIDE, -_OPEN / 2),
        (LOWER_CORNERS, _LOWER_WIDE, _OPEN / 2),
    ):
        for code, across in zip(codes, (-wide, -0.45, 0.45, wide), strict=True):
            found[code] = (x0 + scale * across, y0 + scale * y)
    return found


def item_at(area: Area, point: Point, reach_px: float) -> str | None:
    """Give the corner of the drawing nearest to a screen place, within reach."""
    places = corner_places(area)
    away = {name: float(np.hypot(point[0] - x, point[1] - y)) for name, (x, y) in places.items()}
    nearest = min(away, key=lambda name: away[name])
    return nearest if away[nearest] <= reach_px else None


def draw_teeth(
    target: Pixels, area: Area, clicks: ViewClicks, asked: str | None, *, unit: float = 1.0
) -> None:
    """Draw the teeth as the picture shows them (unmirrored), what is done, and what is asked for.

    Parameters
    ----------
    target : array, shape (height, width, 4), of which ``area`` is a part
    """
    brush = Brush(target, Area(0, 0, target.shape[1], target.shape[0]), ViewTransform(1.0, 0.0, 0.0), unit)
    scale, (x0, y0) = _scale(area)
    for upper in (True, False):
        wide, high = (_UPPER_WIDE, _UPPER_HIGH) if upper else (_LOWER_WIDE, _LOWER_HIGH)
        way = -1.0 if upper else 1.0
        edge = y0 + scale * way * _OPEN / 2
        for side in (-1.0, 1.0):
            for inner, w, h in ((0.0, wide, high), (wide, _LAST_WIDE if upper else 5.6, high * 0.9)):
                _crown(
                    brush,
                    (x0 + scale * side * (inner + 0.08), edge),
                    side * scale * (w - 0.16),
                    way * scale * h,
                )
    size = round(11 * unit)
    y = area.top + 1
    write(target, "performer's right", (area.left + 4, y), size, (90, 90, 90))
    wide_px = text_width("performer's left", size)
    write(target, "performer's left", (area.right - wide_px - 6, y), size, (90, 90, 90))
    for name, place in corner_places(area).items():
        _mark(brush, name, place, clicks, unit)
    if asked is not None and is_corner(asked):
        _arrow(brush, corner_places(area)[asked], is_upper(asked), unit)


def undone_landmarks(clicks: ViewClicks) -> int:
    """Count the landmarks that are not clicked."""
    return sum(name not in clicks.landmarks for name in LANDMARKS)


def _scale(area: Area) -> tuple[float, Point]:
    high = _UPPER_HIGH + _LOWER_HIGH + _OPEN
    scale = min(area.width / (2 * _HALF_WIDE), (area.height * 0.90) / high)
    middle_y = area.bottom - 2 - scale * (_LOWER_HIGH + _OPEN / 2)
    return scale, ((area.left + area.right) / 2, middle_y)


def _crown(brush: Brush, start: Point, wide: float, high: float) -> None:
    """Draw one crown from its edge at the middle side; rounder at the outer corner, narrower at the gum."""
    import cv2

    u = np.linspace(0.0, 1.0, 25)
    drop = 0.05 * np.exp(-u / 0.05) + 0.10 * np.exp(-(1 - u) / 0.08)
    edge = np.column_stack([start[0] + wide * u, start[1] + high * drop])
    gum = np.column_stack(
        [start[0] + wide * (0.93 - 0.86 * u), start[1] + high * (1 - 0.18 * (2 * u - 1) ** 2)]
    )
    outline = np.round(np.concatenate([edge, gum]) * 16).astype(np.int32)[:, None]
    cv2.fillPoly(brush.target, [outline], (*colour_of(ENAMEL), 255), cv2.LINE_AA, 4)
    cv2.polylines(brush.target, [outline], True, (*_LINE, 255), 1, cv2.LINE_AA, 4)


def _mark(brush: Brush, name: str, at: Point, clicks: ViewClicks, unit: float) -> None:
    """Draw what is known of a corner: open when not clicked, and one shape for each state."""
    import cv2

    state, blue = clicks.state_of(name), colour_of(MEASURED.colour)
    r = 4.2 * unit
    centre, radius = (round(at[0] * 16), round(at[1] * 16)), round(r * 16)
    white: Colour = (255, 255, 255)
    if state is CornerState.HIDDEN:
        for a, b in (((-r, -r), (r, r)), ((-r, r), (r, -r))):
            brush.outlined([(at[0] + a[0], at[1] + a[1]), (at[0] + b[0], at[1] + b[1])], (90, 90, 90))
        return
    if state is CornerState.COVERED:
        cv2.ellipse(brush.target, centre, (radius, radius), 0, 0, 180, (*blue, 255), -1, cv2.LINE_AA, 4)
        brush.line([(at[0] - r, at[1]), (at[0] + r, at[1])], blue, 2)
        return
    cv2.circle(brush.target, centre, radius, (*(white if state is None else blue), 255), -1, cv2.LINE_AA, 4)
    ring = (130, 130, 130) if state is None else blue
    cv2.circle(brush.target, centre, radius, (*ring, 255), max(1, round(unit)), cv2.LINE_AA, 4)
    if state is CornerState.UNSURE:
        cv2.circle(brush.target, centre, radius // 2, (*white, 255), -1, cv2.LINE_AA, 4)


def _arrow(brush: Brush, at: Point, upper: bool, unit: float) -> None:
    """Ring the corner that is asked for and point at it from inside its own crown."""
    import cv2

    x, y = at
    cv2.circle(
        brush.target,
        (round(x * 16), round(y * 16)),
        round(8 * unit * 16),
        (*ASKED, 255),
        round(2.4 * unit),
        cv2.LINE_AA,
        4,
    )
    away = (-1.0 if upper else 1.0) * unit
    tail, tip = y + 34 * away, y + 11 * away
    brush.line([(x, tail), (x, tip)], ASKED, round(3 * unit))
    head = np.array([[x, tip], [x - 5 * unit, tip + 7 * away], [x + 5 * unit, tip + 7 * away]])
    cv2.fillPoly(brush.target, [np.round(head * 16).astype(np.int32)[:, None]], (*ASKED, 255), cv2.LINE_AA, 4)
