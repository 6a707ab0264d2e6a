"""Where the picture lies on the screen: one map for picture, marks and clicks alike."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import hypot

NEAREST_SCALE, FARTHEST_SCALE = 64.0, 0.02
"""Screen pixels a picture pixel: nearer shows nothing more, farther loses the face (our choice)."""
Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Area:
    """A rectangle of the screen, px: left and top included, right and bottom not."""

    left: int
    top: int
    right: int
    bottom: int

    @property
    def width(self) -> int:
        """Columns."""
        return max(0, self.right - self.left)

    @property
    def height(self) -> int:
        """Rows."""
        return max(0, self.bottom - self.top)

    def holds(self, point: Point) -> bool:
        """Tell whether a screen point lies inside."""
        return (
            self.left - 0.5 <= point[0] < self.right - 0.5 and self.top - 0.5 <= point[1] < self.bottom - 0.5
        )

    def within(self, other: Area) -> Area:
        """Give the part that lies inside another area; empty areas have no width or no height."""
        left, top = max(self.left, other.left), max(self.top, other.top)
        return Area(
            left, top, max(left, min(self.right, other.right)), max(top, min(self.bottom, other.bottom))
        )

    def joined(self, other: Area) -> Area:
        """Give the smallest area that holds both."""
        return Area(
            min(self.left, other.left),
            min(self.top, other.top),
            max(self.right, other.right),
            max(self.bottom, other.bottom),
        )

    def grown(self, by: int) -> Area:
        """Give the area with a rim added."""
        return Area(self.left - by, self.top - by, self.right + by, self.bottom + by)


@dataclass(frozen=True, slots=True)
class ViewTransform:
    """Screen place = scale * picture place + shift; whole numbers are pixel centres on both sides.

    Examples
    --------
    >>> view = ViewTransform(2.0, 10.0, 20.0)
    >>> view.to_screen((5.0, 6.0)), view.to_picture((20.0, 32.0))
    ((20.0, 32.0), (5.0, 6.0))
    """

    scale: float
    shift_x: float
    shift_y: float

    def to_screen(self, point: Point) -> Point:
        """Give where a picture place is drawn."""
        return self.scale * point[0] + self.shift_x, self.scale * point[1] + self.shift_y

    def to_picture(self, point: Point) -> Point:
        """Give the picture place under a screen place, to the fraction of a pixel."""
        return (point[0] - self.shift_x) / self.scale, (point[1] - self.shift_y) / self.scale

    def panned(self, dx: float, dy: float) -> ViewTransform:
        """Move the picture over the screen."""
        return replace(self, shift_x=self.shift_x + dx, shift_y=self.shift_y + dy)

    def zoomed(self, factor: float, at: Point) -> ViewTransform:
        """Change the scale; the picture place under the screen place ``at`` stays there."""
        scale = min(max(self.scale * factor, FARTHEST_SCALE), NEAREST_SCALE)
        x, y = self.to_picture(at)
        return ViewTransform(scale, at[0] - scale * x, at[1] - scale * y)

    def kept_in_sight(self, width_px: int, height_px: int, area: Area) -> ViewTransform:
        """Pull the picture back where less than a quarter of the area's shorter side would still show it."""
        rim = 0.25 * min(area.width, area.height)
        left, top = self.to_screen((-0.5, -0.5))
        right, bottom = self.to_screen((width_px - 0.5, height_px - 0.5))
        dx = max(0.0, area.left + min(rim, right - left) - right) + min(
            0.0, area.right - min(rim, right - left) - left
        )
        dy = max(0.0, area.top + min(rim, bottom - top) - bottom) + min(
            0.0, area.bottom - min(rim, bottom - top) - top
        )
        return self.panned(dx, dy) if dx or dy else self


def fit_view(width_px: int, height_px: int, area: Area) -> ViewTransform:
    """Show the whole picture, centred in the area."""
    room_x, room_y = max(1.0, area.width), max(1.0, area.height)
    scale = min(room_x / width_px, room_y / height_px)
    return centred_view(((width_px - 1) / 2, (height_px - 1) / 2), scale, area)


def centred_view(point: Point, scale: float, area: Area) -> ViewTransform:
    """Show a picture place in the middle of the area at a scale."""
    middle = (area.left + area.right - 1) / 2, (area.top + area.bottom - 1) / 2
    return ViewTransform(scale, middle[0] - scale * point[0], middle[1] - scale * point[1])


def view_of_points(points: list[Point], area: Area, *, room: float = 2.4) -> ViewTransform:
    """Show some picture places with room around them, at most 24 screen pixels a picture pixel."""
    xs, ys = [p[0] for p in points], [p[1] for p in points]
    wide, high = max(xs) - min(xs) + 1.0, max(ys) - min(ys) + 1.0
    scale = min(area.width / (room * wide), area.height / (room * high), 24.0)
    return centred_view(((max(xs) + min(xs)) / 2, (max(ys) + min(ys)) / 2), scale, area)


def mark_near(places: Mapping[str, Point], view: ViewTransform, at: Point, reach_px: float) -> str | None:
    """Give the mark whose middle is nearest to a screen place, within reach; None where there is none.

    Examples
    --------
    >>> mark_near({"11d": (10.0, 10.0), "11m": (14.0, 10.0)}, ViewTransform(2.0, 0.0, 0.0), (27.0, 20.0), 4.0)
    '11m'
    """
    away: dict[str, float] = {}
    for name, place in places.items():
        x, y = view.to_screen(place)
        away[name] = hypot(at[0] - x, at[1] - y)
    nearest = min(away, key=lambda name: (away[name], name)) if away else None
    return nearest if nearest is not None and away[nearest] <= reach_px else None
