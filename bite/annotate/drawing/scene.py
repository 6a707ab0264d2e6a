"""What is to be seen on the screen, and where the pointer is: handed to what draws."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from bite.annotate.drawing.beside import Beside
from bite.annotate.drawing.depth_layer import DepthLayer
from bite.annotate.drawing.overlay import NO_OVERLAY, Overlay
from bite.annotate.drawing.panel import PanelFacts
from bite.annotate.drawing.pyramid import Lift, Pyramid
from bite.annotate.state.clicks import ViewClicks
from bite.annotate.state.sheet import Sheet
from bite.annotate.state.view import Point, ViewTransform
from bite.geometry.rigid import Array


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """All that is to be seen, apart from the loupe. Identical parts are not drawn again.

    Parameters
    ----------
    picture : Pyramid
    view : ViewTransform
    lift : Lift
    layer : DepthLayer or None
    clicks : ViewClicks, of this view
    ringed : str or None
    before, after : where the solved model has its corners; empty when not shown
    sights : lines on which items of the other view must lie, by item
    other : str, the other view's name
    beside : Beside or None, the other view's picture, small
    panel : PanelFacts
    aim : Point or None, screen place of a cursor that keys move
    sheet : Sheet or None, lies over the picture
    overlay : Overlay, the solved mouth in or over the picture
    """

    picture: Pyramid
    view: ViewTransform
    lift: Lift
    layer: DepthLayer | None
    clicks: ViewClicks
    ringed: str | None
    before: Mapping[str, Point]
    after: Mapping[str, Point]
    sights: Mapping[str, Array]
    other: str
    beside: Beside | None
    panel: PanelFacts
    sheet: Sheet | None
    overlay: Overlay = NO_OVERLAY
    aim: Point | None = None

    def same_base(self, last: Scene) -> bool:
        """Tell whether the picture lies as it did."""
        mine = (self.view, self.lift)
        same = self.picture is last.picture and self.layer is last.layer
        return same and mine == (last.view, last.lift) and self.overlay.same_base(last.overlay)

    def same_marks(self, last: Scene) -> bool:
        """Tell whether all marks are as they were."""
        mine = (self.clicks, self.ringed, self.before, self.after, self.other, self.sheet, self.aim)
        theirs = (last.clicks, last.ringed, last.before, last.after, last.other, last.sheet, last.aim)
        same = self.sights is last.sights and self.overlay.same_marks(last.overlay)
        return same and mine == theirs


@dataclass(frozen=True, slots=True)
class Pointer:
    """Where the pointer is: on the screen, in the picture, and what a click would set."""

    screen: Point
    picture: Point
    label: str
    told: str = ""
    """in place of the picture place"""
