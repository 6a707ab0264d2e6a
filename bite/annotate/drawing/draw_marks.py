"""Marks on the picture: clicked corners, the solved model's corners, lines of sight from the other view.

Each has a shape and a word beside its colour, and is open in the middle: the place itself stays in sight.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from bite.annotate.drawing.lettering import Colour, Pixels, colour_of, text_width, write_on_halo
from bite.annotate.state.clicks import ViewClicks
from bite.annotate.state.order import is_corner, short_name, side_in_picture
from bite.annotate.state.view import Area, Point, ViewTransform
from bite.files.corners import CornerState
from bite.geometry.teeth import is_upper
from bite.plots.style import AFTER, BEFORE, MEASURED

_SHIFT = 4
"""Bits of a pixel's fraction that OpenCV draws with: a sixteenth."""
WHITE: Colour = (255, 255, 255)
"""The halo about dark lines."""
BLACK: Colour = (20, 20, 20)
"""Near black: the halo about light lines, so that they show on teeth and on lips alike."""
CLICKED = colour_of(MEASURED.colour)
SOLVED_BEFORE = colour_of(BEFORE.colour)
SOLVED_AFTER = colour_of(AFTER.colour)
SIGHT = colour_of("#F0E442")


@dataclass(frozen=True, slots=True)
class Brush:
    """Where marks go: a part of the screen, the map from the picture, and the size of the drawing."""

    target: Pixels
    area: Area
    view: ViewTransform
    unit: float

    def at(self, place: Point) -> Point:
        """Give where a picture place lies in the target."""
        x, y = self.view.to_screen(place)
        return x - self.area.left, y - self.area.top

    def shows(self, place: Point, rim: float = 30.0) -> bool:
        """Tell whether a mark there could be seen."""
        x, y = self.at(place)
        return -rim <= x <= self.area.width + rim and -rim <= y <= self.area.height + rim

    def line(self, points: Sequence[Point], colour: Colour, thick: int, *, closed: bool = False) -> None:
        """Draw a smooth line through places of the target, in sixteenths of a pixel."""
        import cv2

        bent = np.round(np.array(points, float).clip(-4e4, 4e4) * (1 << _SHIFT)).astype(np.int32)[:, None]
        cv2.polylines(self.target, [bent], closed, (*colour, 255), thick, cv2.LINE_AA, _SHIFT)

    def outlined(
        self, points: Sequence[Point], colour: Colour, *, closed: bool = False, halo: Colour = WHITE
    ) -> None:
        """Draw a line with a rim, to be seen on bright and on dark."""
        thick = max(2, round(2 * self.unit))
        self.line(points, halo, thick + 2, closed=closed)
        self.line(points, colour, thick, closed=closed)


def draw_clicks(brush: Brush, clicks: ViewClicks, ringed: str | None, *, names: bool = True) -> None:
    """Draw all clicked marks of a view; the ringed one gets a second ring."""
    for name, place in clicks.places.items():
        if not brush.shows(place):
            continue
        x, y = brush.at(place)
        _draw_click(brush, (x, y), clicks.state_of(name), ringed=name == ringed)
    if names:
        _name_clicks(brush, clicks)


def _draw_click(brush: Brush, at: Point, state: CornerState | None, *, ringed: bool) -> None:
    r = 8.0 * brush.unit
    if ringed:
        brush.outlined(_circle(at, r + 5.5 * brush.unit), WHITE, closed=True, halo=BLACK)
    if state is None:
        x, y = at
        brush.outlined([(x, y - r), (x + r, y), (x, y + r), (x - r, y)], CLICKED, closed=True)
    elif state is CornerState.UNSURE:
        for start in np.arange(0.0, 2 * np.pi, np.pi / 3):
            brush.outlined(_circle(at, r, start, start + np.pi / 5), CLICKED)
    elif state is CornerState.COVERED:
        # the upper edge as a bar, the tooth that comes out from under it as an open bow below
        brush.outlined([(at[0] - r, at[1] - 0.35 * r), (at[0] + r, at[1] - 0.35 * r)], CLICKED)
        brush.outlined(_circle(at, r, 0.0, np.pi), CLICKED)
    else:
        brush.outlined(_circle(at, r), CLICKED, closed=True)
    _dot(brush, at)


def _dot(brush: Brush, at: Point) -> None:
    import cv2

    x, y = round(at[0] * (1 << _SHIFT)), round(at[1] * (1 << _SHIFT))
    for colour, radius in ((WHITE, 2.1), (CLICKED, 1.2)):
        cv2.circle(
            brush.target, (x, y), round(radius * (1 << _SHIFT)), (*colour, 255), -1, cv2.LINE_AA, _SHIFT
        )


def _circle(at: Point, radius: float, start: float = 0.0, end: float = 2 * np.pi) -> list[Point]:
    angle = np.linspace(start, end, max(6, int(abs(end - start) * 6)) + 1)
    return [(at[0] + radius * float(np.cos(a)), at[1] + radius * float(np.sin(a))) for a in angle]


def _name_clicks(brush: Brush, clicks: ViewClicks) -> None:
    """Write each name beyond its row, upper ones above and lower ones below, apart from each other."""
    size = round(13 * brush.unit)
    high, away = round(1.25 * size), 15 * brush.unit
    places = {n: p for n, p in clicks.places.items() if brush.shows(p, 0.0)}
    for upper in (True, False):
        taken: list[Area] = []
        row = sorted((brush.at(p)[0], n) for n, p in places.items() if is_corner(n) and is_upper(n) == upper)
        for x, name in row:
            state = clicks.state_of(name)
            text = name if state in (CornerState.SEEN, None) else f"{name} {state}"
            wide = text_width(text, size, True)
            left = round(x - wide / 2)
            y = brush.at(places[name])[1]
            top = round(y - away - high if upper else y + away)
            label = Area(left, top, left + wide, top + high)
            for other in taken:
                common = label.within(other)
                if common.width and common.height:
                    top = other.top - high if upper else other.bottom
                    label = Area(left, top, left + wide, top + high)
            # the outermost label is met last
            taken = sorted([*taken, label], key=lambda area: -area.top if upper else area.top)
            write_on_halo(brush.target, text, (left, top), size, CLICKED, WHITE)
    for name, place in places.items():
        if not is_corner(name):
            x, y = brush.at(place)
            at = round(x + 13 * brush.unit), round(y - 0.7 * size)
            write_on_halo(brush.target, short_name(name), at, size, CLICKED, WHITE)


def draw_ghosts(
    brush: Brush, before: Mapping[str, Point], after: Mapping[str, Point], *, names: bool = False
) -> None:
    """Draw the solved model's corners: squares as they are, triangles as the present fit has them."""
    for places, colour, square in ((before, SOLVED_BEFORE, True), (after, SOLVED_AFTER, False)):
        for name, place in places.items():
            if not brush.shows(place):
                continue
            x, y = brush.at(place)
            brush.outlined(_ghost((x, y), 6.0 * brush.unit, square), colour, closed=True)
            if names:
                # beside the mark, outwards, since clicks have their names above and below; before over after
                size = round(10 * brush.unit)
                away = 9.0 * brush.unit
                left = side_in_picture(name) == "LEFT"
                aside = -away - text_width(name, size, True) if left else away
                at = round(x + aside), round(y - (1.3 * size if square else 0.1 * size))
                write_on_halo(brush.target, name, at, size, colour, WHITE)


def draw_ghost_words(brush: Brush, before: bool, after: bool) -> None:
    """Say at the lower border what the solved model's marks are."""
    size, left = round(12 * brush.unit), 90.0 * brush.unit
    y = brush.area.height - round(24 * brush.unit)
    for shown, colour, word, square in (
        (before, SOLVED_BEFORE, BEFORE.word, True),
        (after, SOLVED_AFTER, AFTER.word, False),
    ):
        if shown:
            brush.outlined(_ghost((left, y + 0.7 * size), 6.0 * brush.unit, square), colour, closed=True)
            at = round(left + 12 * brush.unit), y
            left += write_on_halo(brush.target, word, at, size, colour, WHITE)[0] + 34 * brush.unit


def draw_aim(brush: Brush, at: Point) -> None:
    """Draw the cursor that keys move: a cross that leaves its middle free."""
    x, y = at[0] - brush.area.left, at[1] - brush.area.top
    for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):
        start, end = 5 * brush.unit, 22 * brush.unit
        brush.outlined([(x + dx * start, y + dy * start), (x + dx * end, y + dy * end)], BLACK)


def _ghost(at: Point, r: float, square: bool) -> list[Point]:
    x, y = at
    if square:
        return [(x - r, y - r), (x + r, y - r), (x + r, y + r), (x - r, y + r)]
    return [(x, y - 1.2 * r), (x + 1.1 * r, y + 0.8 * r), (x - 1.1 * r, y + 0.8 * r)]


def draw_sights(brush: Brush, lines: Mapping[str, np.ndarray], other: str) -> None:
    """Draw, for items clicked in the other view alone, the line on which they must lie in this one.

    Parameters
    ----------
    lines : mapping from item to array, shape (n, 2), picture places
    other : str, the other view's name
    """
    size = round(12 * brush.unit)
    for name, bent in lines.items():
        places = [brush.at((float(x), float(y))) for x, y in bent if np.isfinite((x, y)).all()]
        for piece in _dashes(places, 9.0 * brush.unit):
            brush.outlined(piece, SIGHT, halo=BLACK)
        inside = [
            p for p in places if 40 < p[0] < brush.area.width - 200 and 20 < p[1] < brush.area.height - 40
        ]
        if inside:
            x, y = min(inside, key=lambda p: p[0])
            text = f"{short_name(name)} lies on this line, says {other}"
            write_on_halo(brush.target, text, (round(x), round(y + 6)), size, BLACK, SIGHT)


def _dashes(places: Sequence[Point], length: float) -> Iterable[list[Point]]:
    """Cut a line into dashes of about equal length with gaps between."""
    if len(places) < 2:
        return
    points = np.array(places)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    count = min(int(along[-1] / (2 * length)), 400)
    for k in range(count):
        ends = np.linspace(2 * k * length, (2 * k + 1) * length, 3)
        yield [
            (float(np.interp(e, along, points[:, 0])), float(np.interp(e, along, points[:, 1]))) for e in ends
        ]
