"""The annotation as a state machine: what is asked for, what is ringed, what undo brings back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from bite.annotate.state.clicks import Clicks, ViewClicks, changed_view
from bite.annotate.state.history import History
from bite.annotate.state.order import is_corner, neighbour, next_open, short_name
from bite.annotate.state.view import Point
from bite.files.corners import CornerState
from bite.geometry.teeth import is_upper

MOVED_LEAST_PX = 3.0
"""Screen pixels a taken mark must be pulled before it moves: a click on it must not shift it."""


@dataclass(frozen=True, slots=True)
class PictureSize:
    """One view's name and size."""

    name: str
    width_px: int
    height_px: int

    def holds(self, at: Point) -> bool:
        """Tell whether a place lies on the picture."""
        return -0.5 <= at[0] <= self.width_px - 0.5 and -0.5 <= at[1] <= self.height_px - 0.5


@dataclass(frozen=True, slots=True)
class _Snapshot:
    """All that undo brings back: the clicks, and where the person was when they were made."""

    clicks: Clicks
    view: int
    asked: str | None
    ringed: str | None


@dataclass(frozen=True, slots=True)
class _Pull:
    """A pressed button: the mark that follows it, how far from its middle it was taken, if it has moved."""

    name: str
    offset: Point
    pressed: Point
    moving: bool


class Desk:
    """The clicks of a frame while somebody works on them.

    ``asked`` is the item that the next click sets, ``ringed`` the mark that was touched last: state keys,
    arrows and the edge fit act on it. ``revision`` grows with each change of the clicks, undo and redo
    included.

    Parameters
    ----------
    pictures : sequence of PictureSize, one a view, the reference view first
    start : Clicks, one entry a view
    """

    def __init__(self, pictures: Sequence[PictureSize], start: Clicks) -> None:
        self.pictures = tuple(pictures)
        self._history = History(_Snapshot(start, 0, next_open(start[0].done), None))
        self._pull: _Pull | None = None
        self.revision = 0
        self.said = ""

    @property
    def clicks(self) -> Clicks:
        """The clicks of all views."""
        return self._history.present.clicks

    @property
    def view(self) -> int:
        """Which view is worked on."""
        return self._history.present.view

    @property
    def here(self) -> ViewClicks:
        """The clicks of the view that is worked on."""
        return self.clicks[self.view]

    @property
    def picture(self) -> PictureSize:
        """Name and size of the view that is worked on."""
        return self.pictures[self.view]

    @property
    def asked(self) -> str | None:
        """The item that the next click sets; None when all are dealt with."""
        return self._history.present.asked

    @property
    def ringed(self) -> str | None:
        """The mark that was touched last."""
        return self._history.present.ringed

    @property
    def pulling(self) -> str | None:
        """The mark that follows the pressed button."""
        return self._pull.name if self._pull is not None else None

    @property
    def history_depth(self) -> tuple[int, int]:
        """How many steps can be undone and redone."""
        return self._history.depth

    def press(self, at: Point, mark: str | None, *, at_screen: Point = (0.0, 0.0)) -> bool:
        """Press the button: take hold of a mark, or set the item asked for; tell whether clicks changed.

        Parameters
        ----------
        at : picture place, px
        mark : the mark under the pointer, if any
        at_screen : the pointer's place on the screen, px
        """
        if mark is not None:
            x, y = self.here.places[mark]
            self._pull = _Pull(mark, (x - at[0], y - at[1]), at_screen, False)
            self._go(asked=self.asked, ringed=mark)
            self.said = f"{short_name(mark)} taken hold of: pull it, or move it with the arrows"
            return False
        return self.place(at, at_screen=at_screen, pulled=True)

    def place(self, at: Point, *, at_screen: Point = (0.0, 0.0), pulled: bool = False) -> bool:
        """Set the item asked for at a picture place, whatever is near it. Tell whether the clicks changed."""
        if self.asked is None:
            self.said = "all is clicked: take hold of a mark to move it, or press N to ask for one again"
            return False
        if not self.picture.holds(at):
            self.said = f"{short_name(self.asked)}: that place lies outside the picture"
            return False
        name = self.asked
        again = name in self.here.done
        view = self.here.placed(name, at)
        if pulled:
            self._pull = _Pull(name, (0.0, 0.0), at_screen, True)
        following = next_open(view.done, after=name)
        self._step(f"{short_name(name)} {'moved' if again else 'set'}", view)
        self._go(asked=following, ringed=name)
        self.said = f"{short_name(name)} {'moved' if again else 'set'}: arrows move it by 0.1 px"
        return True

    def pull_to(self, at: Point, *, at_screen: Point = (0.0, 0.0)) -> bool:
        """Move the pointer with the button pressed. Tell whether a mark moved."""
        pull = self._pull
        if pull is None:
            return False
        if not pull.moving:
            away = max(abs(at_screen[0] - pull.pressed[0]), abs(at_screen[1] - pull.pressed[1]))
            if away < MOVED_LEAST_PX:
                return False
            self._history.step(f"{short_name(pull.name)} moved", self._history.present)
            self._pull = _Pull(pull.name, pull.offset, pull.pressed, True)
        size = self.picture
        x = min(max(at[0] + pull.offset[0], -0.5), size.width_px - 0.5)
        y = min(max(at[1] + pull.offset[1], -0.5), size.height_px - 0.5)
        self._amend(self.here.placed(pull.name, (x, y)))
        return True

    def let_go(self) -> bool:
        """Release the button; tell whether a mark had been moved or set by it."""
        pull, self._pull = self._pull, None
        return pull is not None and pull.moving

    def nudge(self, dx: float, dy: float) -> bool:
        """Move the ringed mark by a fraction of a picture pixel."""
        name = self.ringed
        place = self.here.places.get(name) if name is not None else None
        if name is None or place is None:
            self.said = "no mark is ringed: click one first"
            return False
        at = (place[0] + dx, place[1] + dy)
        if not self.picture.holds(at):
            self.said = f"{short_name(name)} is at the picture's border"
            return False
        self._step(f"{short_name(name)} moved by {max(abs(dx), abs(dy)):g} px", self.here.placed(name, at))
        self.said = f"{short_name(name)} at {at[0]:.2f}, {at[1]:.2f}"
        return True

    def move_ringed(self, at: Point, told: str) -> bool:
        """Put the ringed mark elsewhere, as one step of its own."""
        if self.ringed is None or not self.picture.holds(at):
            return False
        self._step(told, self.here.placed(self.ringed, at))
        return True

    def state_ringed(self, state: CornerState) -> bool:
        """Give the ringed corner another state."""
        name = self.ringed
        if name is None or name not in self.here.places:
            self.said = f"no mark is ringed: click the corner first, then say that it is {state}"
            return False
        if not is_corner(name):
            self.said = f"{short_name(name)} is a landmark: it has no state"
            return False
        if state is CornerState.COVERED and is_upper(name):
            self.said = (
                f"{name} stays {self.here.state_of(name)}: covered is for a lower tooth whose side goes "
                "under the upper edge. Not a clear corner: U. Not to be seen: P or N to it, then H"
            )
            return False
        if self.here.state_of(name) is state:
            self.said = f"{name} is {state} already"
            return False
        self._step(f"{name} {state}", self.here.stated(name, state))
        self.said = f"{name} is {state}"
        return True

    def take(self, clicks: Clicks, told: str) -> None:
        """Put other clicks in place of all, as one step that undo takes back."""
        now = self._history.present
        self._history.step(told, _Snapshot(clicks, now.view, next_open(clicks[now.view].done), None))
        self.revision += 1
        self.said = f"{told} (Z takes that back)"

    def hide_asked(self) -> bool:
        """Note that the corner asked for cannot be seen, and go on."""
        name = self.asked
        if name is None or not is_corner(name):
            self.said = "only a corner can be hidden; a landmark that cannot be seen is left out"
            return False
        view = self.here.stated(name, CornerState.HIDDEN)
        self._step(f"{name} hidden", view)
        self._go(asked=next_open(view.done, after=name), ringed=None)
        self.said = f"{name} is hidden (Z takes that back)"
        return True

    def remove_ringed(self) -> bool:
        """Take the ringed mark away and ask for it again."""
        name = self.ringed
        if name is None or name not in self.here.done:
            self.said = "no mark is ringed: click one first"
            return False
        self._step(f"{short_name(name)} removed", self.here.without(name))
        self._go(asked=name, ringed=None)
        self.said = f"{short_name(name)} removed (Z brings it back)"
        return True

    def ask(self, name: str) -> None:
        """Ask for an item; where it is clicked already, ring it."""
        self._go(asked=name, ringed=name if name in self.here.places else self.ringed)
        self.said = ""

    def ask_neighbour(self, step: int) -> None:
        """Ask for the next item in the order, or the one before."""
        self.ask(neighbour(self.asked, step))

    def switch_view(self) -> bool:
        """Go to the next view of a stereo frame."""
        if len(self.pictures) < 2:
            self.said = "this frame has one picture only"
            return False
        view = (self.view + 1) % len(self.pictures)
        now = self._history.present
        self._history.amend(_Snapshot(now.clicks, view, next_open(now.clicks[view].done), None))
        self.said = f"picture {self.picture.name}"
        return True

    def undo(self) -> bool:
        """Take the last change back."""
        return self._travel(self._history.undo(), "undone", "nothing left to undo")

    def redo(self) -> bool:
        """Make the change that was taken back last again."""
        return self._travel(self._history.redo(), "done again", "nothing left to do again")

    def _travel(self, told: str | None, way: str, none_left: str) -> bool:
        self._pull = None
        if told is None:
            self.said = none_left
            return False
        self.said = f"{way}: {told}" + (f" (picture {self.picture.name})" if len(self.pictures) > 1 else "")
        self.revision += 1
        return True

    def _step(self, told: str, view: ViewClicks) -> None:
        now = self._history.present
        clicks = changed_view(now.clicks, now.view, view)
        self._history.step(told, _Snapshot(clicks, now.view, now.asked, now.ringed))
        self.revision += 1

    def _go(self, *, asked: str | None, ringed: str | None) -> None:
        now = self._history.present
        self._history.amend(_Snapshot(now.clicks, now.view, asked, ringed))

    def _amend(self, view: ViewClicks) -> None:
        now = self._history.present
        self._history.amend(
            _Snapshot(changed_view(now.clicks, now.view, view), now.view, now.asked, now.ringed)
        )
        self.revision += 1
