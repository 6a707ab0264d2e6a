"""The loupe: the picture under the pointer enlarged, beside the pointer and never under the hand."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bite.annotate.drawing.lettering import Colour, Pixels, colour_of, line_height, text_width, write
from bite.annotate.drawing.pyramid import Pyramid, lift_in_place
from bite.annotate.state.view import Area, Point, ViewTransform
from bite.plots.style import INK, MEASURED

WHITE: Colour = (255, 255, 255)
"""Lines and letters over a photograph of lips and shade."""
DARK = colour_of(INK)
_AWAY_PX = 44
"""Screen pixels between pointer and loupe, so that the hand hides neither (our choice)."""
_ZOOMS = (4.0, 8.0, 16.0, 24.0)
"""Steps, so that the loupe does not swim as the view zooms (our choice)."""


@dataclass(frozen=True, slots=True)
class Loupe:
    """Where the loupe lies and what it shows.

    Parameters
    ----------
    area : Area, on the screen, its caption below the picture included
    window : Area, the part that shows the picture
    view : ViewTransform, from picture to screen inside the window
    at : Point, the picture place under its cross-hair
    """

    area: Area
    window: Area
    view: ViewTransform
    at: Point


def place_loupe(pointer: Point, at: Point, scale: float, area: Area, *, unit: float = 1.0) -> Loupe:
    """Put the loupe above the pointer; where there is no room above, beside it, away from the nearer border.

    A hand that points comes from below: the loupe never lies below the pointer nor over it.

    Parameters
    ----------
    pointer : screen place
    at : picture place to be shown in the middle
    scale : float, the main view's screen pixels a picture pixel
    area : Area, where the picture is shown
    unit : float, size of the whole drawing
    """
    side, caption, away = round(190 * unit) | 1, line_height(round(13 * unit)) + 4, round(_AWAY_PX * unit)
    side = max(41, min(side, area.width // 3, area.height // 2 - caption) | 1)
    high = side + caption
    x, y = round(pointer[0]), round(pointer[1])
    if y - away - high >= area.top:
        top = y - away - high
        left = x + away // 2 if x + away // 2 + side <= area.right else x - away // 2 - side
    else:
        top = area.top
        left = x + away if x + away + side <= area.right else x - away - side
    left = min(max(left, area.left), area.right - side)
    window = Area(left, top, left + side, top + side)
    zoom = next((z for z in _ZOOMS if z >= 1.6 * scale), _ZOOMS[-1])
    middle = left + side // 2, top + side // 2
    view = ViewTransform(zoom, middle[0] - zoom * at[0], middle[1] - zoom * at[1])
    return Loupe(Area(left, top, left + side, top + high), window, view, at)


def draw_loupe(
    target: Pixels,
    loupe: Loupe,
    pyramid: Pyramid,
    table: Pixels | None,
    label: str,
    *,
    unit: float = 1.0,
    told: str = "",
) -> None:
    """Draw the enlarged picture and its caption; marks and the cross-hair come on top.

    Parameters
    ----------
    target : array, shape (height, width, 4), the whole screen
    label : str, what the click would set, beside the picture place
    told : str, in place of the picture place
    """
    box = loupe.window
    part = np.empty((box.height, box.width, 4), np.uint8)
    pyramid.lay(part, loupe.view, box, smooth=True)
    lift_in_place(part, table)
    target[box.top : box.bottom, box.left : box.right] = part
    size = round(13 * unit)
    caption = target[box.bottom : loupe.area.bottom, box.left : box.right]
    caption[...] = (*DARK, 255)
    place = told or f"{loupe.at[0]:.1f}, {loupe.at[1]:.1f}"
    write(target, place, (box.left + 5, box.bottom + 2), size, WHITE)
    if label:
        wide = text_width(label, size, True)
        write(
            target,
            label,
            (max(box.left, box.right - wide - 8), box.bottom + 2),
            size,
            (255, 214, 120),
            bold=True,
        )


def draw_cross_hair(target: Pixels, loupe: Loupe, *, unit: float = 1.0) -> None:
    """Draw the cross-hair, open in the middle so that it hides nothing, and the rim."""
    import cv2

    box = loupe.window
    x, y = box.left + box.width // 2, box.top + box.height // 2
    # thick lines end in caps: they must stay inside
    open_, far = max(5, round(7 * unit)), box.width // 2 - 4
    for colour, thick in ((WHITE, 3), (colour_of(MEASURED.colour), 1)):
        for start, end in (
            ((x - far, y), (x - open_, y)),
            ((x + open_, y), (x + far, y)),
            ((x, y - far), (x, y - open_)),
            ((x, y + open_), (x, y + far)),
        ):
            cv2.line(target, start, end, (*colour, 255), thick)
    cv2.circle(target, (x, y), 1, (*colour_of(MEASURED.colour), 255), -1)
    area = loupe.area
    framed = target[area.top : area.bottom, area.left : area.right, :3]
    # by slices: OpenCV's rectangle reaches a pixel out of the area that is redrawn
    for rim in (framed[:2], framed[-2:], framed[:, :2], framed[:, -2:]):
        rim[...] = WHITE
