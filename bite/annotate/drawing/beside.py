"""The other picture of a stereo pair, small, beneath the panel: to be looked at, not clicked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from bite.annotate.drawing.draw_marks import BLACK, WHITE, Brush, draw_clicks, draw_sights
from bite.annotate.drawing.lettering import Pixels, write_on_halo
from bite.annotate.drawing.pyramid import Pyramid
from bite.annotate.state.clicks import ViewClicks
from bite.annotate.state.order import is_corner
from bite.annotate.state.view import Area, fit_view, view_of_points
from bite.geometry.rigid import Array

HEIGHT_SHARE = 0.62
"""Height of the small picture against the panel's width."""
_FEWEST_TO_FRAME = 2
"""One click frames nothing."""


@dataclass(frozen=True, slots=True, eq=False)
class Beside:
    """The other view: name, picture, clicks, and lines on which what is clicked only here must lie."""

    name: str
    picture: Pyramid
    clicks: ViewClicks
    sights: Mapping[str, Array]

    def same(self, last: Beside | None) -> bool:
        """Tell whether it would look as it did."""
        if last is None:
            return False
        mine, theirs = (self.name, self.clicks), (last.name, last.clicks)
        return mine == theirs and self.picture is last.picture and self.sights is last.sights


def beside_area(panel: Area) -> Area:
    """Give the part of the panel that the small picture takes."""
    return Area(panel.left, panel.bottom - round(HEIGHT_SHARE * panel.width), panel.right, panel.bottom)


def draw_beside(target: Pixels, area: Area, beside: Beside, *, unit: float) -> None:
    """Draw the other picture round its own clicks, or whole while it has fewer than two."""
    # round the corners: landmarks lie all over the face
    places = [place for name, place in beside.clicks.places.items() if is_corner(name)]
    picture = beside.picture
    if len(places) >= _FEWEST_TO_FRAME:
        view = view_of_points(places, area, room=2.0)
    else:
        view = fit_view(picture.width_px, picture.height_px, area)
    pixels = np.empty((area.height, area.width, 4), np.uint8)
    picture.lay(pixels, view, area)
    brush = Brush(pixels, area, view, 0.55 * unit)
    draw_sights(brush, beside.sights, "")
    draw_clicks(brush, beside.clicks, None, names=False)
    told = f"view {beside.name} (V to work in it)"
    write_on_halo(pixels, told, (round(10 * unit), round(8 * unit)), round(11 * unit), BLACK, WHITE)
    target[area.top : area.bottom, area.left : area.right] = pixels
