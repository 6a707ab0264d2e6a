"""What helps to see, and changes no click: brightness, depth readings, solved corners, lines of sight."""

from __future__ import annotations

from collections.abc import Mapping

from bite.annotate.drawing.beside import Beside
from bite.annotate.drawing.depth_layer import DepthLayer, depth_layer
from bite.annotate.drawing.pyramid import LIFT_WORDS, Lift, Pyramid
from bite.annotate.drawing.sights import sights_in
from bite.annotate.state.answer import Answer
from bite.annotate.state.clicks import Clicks
from bite.annotate.state.view import Point
from bite.files.bundle import BiteFrame
from bite.geometry.rigid import Array

_NOTHING: Mapping[str, Point] = {}


class Aids:
    """What is laid over the pictures of a frame, and how they are shown.

    Pictures, depth layers and lines are made when they are first wanted, and kept.
    """

    def __init__(self, frame: BiteFrame) -> None:
        self._frame = frame
        self._pyramids: dict[int, Pyramid] = {}
        self._layers: dict[int, DepthLayer | None] = {}
        self._sights: dict[int, tuple[Clicks, dict[str, Array]]] = {}
        self.lift, self.depth_on, self.ghosts = Lift.NONE, False, 0

    def picture(self, index: int) -> Pyramid:
        """Give a view's picture."""
        if index not in self._pyramids:
            self._pyramids[index] = Pyramid(self._frame.views[index].image)
        return self._pyramids[index]

    def layer(self, index: int) -> DepthLayer | None:
        """Give the depth layer of a view while it is switched on."""
        return self._layers.get(index) if self.depth_on else None

    def sights(self, index: int, clicks: Clicks) -> Mapping[str, Array]:
        """Give the lines of sight in a view; the same object while nothing changed."""
        known = self._sights.get(index)
        if known is None or known[0] is not clicks:
            known = self._sights[index] = (clicks, sights_in(self._frame, clicks, index))
        return known[1]

    def beside(self, index: int, clicks: Clicks) -> Beside | None:
        """Give what is shown small of the next view, beside the one that is worked in."""
        views = self._frame.views
        if len(views) < 2:
            return None
        other = (index + 1) % len(views)
        return Beside(views[other].name, self.picture(other), clicks[other], self.sights(other, clicks))

    def before(self, index: int, answer: Answer | None) -> Mapping[str, Point]:
        """Give where the solved model has its corners, whether shown or not."""
        return _NOTHING if answer is None else answer.before.get(self._frame.views[index].name, _NOTHING)

    def shown_ghosts(
        self, index: int, answer: Answer | None
    ) -> tuple[Mapping[str, Point], Mapping[str, Point]]:
        """Give the solved model's corners to be drawn, before and after the present fit."""
        if answer is None or not self.ghosts:
            return _NOTHING, _NOTHING
        after = answer.after.get(self._frame.views[index].name, _NOTHING)
        return self.before(index, answer), after if self.ghosts == 2 else _NOTHING

    def switch_lift(self) -> str:
        """Go to the next brightness; say which."""
        self.lift = Lift((self.lift + 1) % len(Lift))
        return LIFT_WORDS[self.lift] or "shown as stored"

    def switch_depth(self, index: int, middle: Point | None, reach_px: float | None = None) -> str:
        """Show or hide the depth readings of a view; say what is seen now.

        Parameters
        ----------
        middle, reach_px : the teeth, px, for the scale of colours; None where they are not known yet
        """
        if self.depth_on:
            self.depth_on = False
            return "depth readings off"
        if self._layers.get(index) is None:
            self._layers[index] = depth_layer(self._frame, self._frame.views[index], middle, reach_px)
        if self._layers[index] is None:
            return "this frame has no depth map that shows in this picture"
        self.depth_on = True
        return "depth readings shown"

    def switch_ghosts(self, index: int, answer: Answer | None) -> str:
        """Go on to the next of: none, before, before and after; say which."""
        if not self.before(index, answer):
            self.ghosts = 0
            if answer is None:
                return "the check has not said yet where the solved model has its corners"
            return "there is no solved model to show the corners of"
        assert answer is not None
        steps = 3 if answer.after.get(self._frame.views[index].name) else 2
        self.ghosts = (self.ghosts + 1) % steps
        return ("solved corners off", "solved corners before", "solved corners before and after")[self.ghosts]
