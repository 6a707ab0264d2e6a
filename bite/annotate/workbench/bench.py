"""One frame on the bench: its state, the pointer, and saves and checks between."""

from __future__ import annotations

from collections.abc import Sequence

from bite.annotate.drawing.aids import Aids
from bite.annotate.drawing.overlay import Overlays, laid_in
from bite.annotate.drawing.panel import drawing_area
from bite.annotate.drawing.scene import Pointer, Scene
from bite.annotate.drawing.screen import Screen
from bite.annotate.drawing.teeth_drawing import item_at
from bite.annotate.state.answer import Answer
from bite.annotate.state.clicks import Clicks
from bite.annotate.state.desk import Desk, PictureSize
from bite.annotate.state.frames import Frames, clicked_told
from bite.annotate.state.keys import Action
from bite.annotate.state.live import LiveCheck
from bite.annotate.state.looking import Looking
from bite.annotate.state.mistakes import MistakeWatch
from bite.annotate.state.sheet import Sheet, kept_sheet
from bite.annotate.state.view import Point, ViewTransform, mark_near
from bite.annotate.store.corner_files import CornerStore, SaveStatus
from bite.annotate.store.offer import Offer
from bite.annotate.store.saving import Notes, Saver
from bite.annotate.workbench.actions import WHEEL_FACTOR, act, want_frame
from bite.annotate.workbench.mouth_places import MouthPlaces
from bite.annotate.workbench.seen import loupe_pointer, scene_of
from bite.annotate.workbench.sheets import press_on_sheet
from bite.files.bundle import BiteFrame

GRAB_PX = 6.0
"""A press this near to a mark's middle takes hold of it, screen pixels."""


class Workbench:
    """One frame on the bench.

    Parameters
    ----------
    frame : BiteFrame, as read from disk
    stores : sequence of CornerStore, one a view
    start : Clicks, what was clicked before
    live : LiveCheck or None
    notes : Notes, optional
    answer : Answer, optional, what holds while no check can run
    command : str, what to type once nothing more is to be clicked

    ``frames`` and ``wanted`` are the sitting's: all frames, and the one that a key or a click asked for.
    """

    def __init__(
        self,
        frame: BiteFrame,
        stores: Sequence[CornerStore],
        start: Clicks,
        live: LiveCheck | None,
        notes: Notes | None = None,
        *,
        answer: Answer | None = None,
        command: str = "",
    ) -> None:
        self.frame, self.stores, self.notes = frame, tuple(stores), notes or Notes()
        sizes = [PictureSize(v.name, v.image.shape[1], v.image.shape[0]) for v in frame.views]
        self.desk = Desk(sizes, start)
        self._live = live
        self.answer = answer
        self.command = command
        self._saver = Saver(stores, start)
        self._asked_revision = -1
        self.watch = MistakeWatch()
        self.screen = Screen(1280, 800)
        self.looking = Looking(self.desk.pictures, self.screen.picture)
        self.pointer: Point | None = None
        self.panning: Point | None = None
        self.aids = Aids(frame)
        self.mouth = MouthPlaces(frame, self.aids)
        self.overlays = Overlays()
        self.sheet: Sheet | None = None
        self.aiming = False
        self.frames: Frames | None = None
        self.wanted: int | None = None
        self.closing, self.given_up, self._finished = False, False, False
        self._opened: set[int] = set()
        self.offer = Offer(stores, start)
        if self.offer:
            self.sheet = kept_sheet(self.offer.rows(), clicked_told(start))

    @property
    def transform(self) -> ViewTransform:
        """Where the present view's picture lies on the screen."""
        return self.looking.at(self.desk.view)

    def resize(self, width_px: int, height_px: int, *, least_unit: float = 1.0) -> None:
        """Take a new size of the screen, physical pixels."""
        self.screen = Screen(width_px, height_px, least_unit=least_unit)
        self.looking.resize(self.screen.picture)
        self.open_on_mouth()

    def press(self, at: Point) -> None:
        """Press the main button at a screen place."""
        self.pointer = at
        if self.sheet is not None:
            press_on_sheet(self, self.sheet, at)
        elif self.screen.picture.holds(at):
            place = self.transform.to_picture(at)
            self.desk.press(place, self.mark_at(at), at_screen=at)
        else:
            item = item_at(drawing_area(self.screen.panel, self.screen.unit), at, 16 * self.screen.unit)
            if item is not None:
                self.desk.ask(item)

    def press_pan(self, at: Point) -> None:
        """Press a button that moves the picture."""
        free = self.sheet is None and self.screen.picture.holds(at)
        self.panning = at if free else None

    def move(self, at: Point | None) -> None:
        """Move the pointer; None where it leaves the window."""
        if self.aiming and at is None:
            return
        self.aiming = False
        self.pointer = at
        if at is None:
            return
        if self.panning is not None:
            self.looking.pan(self.desk.view, at[0] - self.panning[0], at[1] - self.panning[1])
            self.panning = at
        elif self.desk.pulling is not None:
            self.desk.pull_to(self.transform.to_picture(at), at_screen=at)

    def release(self) -> None:
        """Release all buttons."""
        self.panning = None
        self.desk.let_go()

    def wheel(self, at: Point, steps: float) -> None:
        """Turn the wheel: positive steps zoom in."""
        if self.screen.picture.holds(at) and self.sheet is None:
            self.looking.zoom(self.desk.view, WHEEL_FACTOR**steps, at)

    def act(self, action: Action) -> None:
        """Do what a key asks for."""
        act(self, action)

    def step_frames(self, steps: int) -> None:
        """Ask for a frame some steps on or back, or for the last one on that way."""
        if self.frames is None or not self.frames.several:
            return
        index = min(max(self.frames.at + steps, 0), len(self.frames.stands) - 1)
        want_frame(self, index if index != self.frames.at else self.frames.at + steps)

    def render(self) -> bool:
        """Have the solved mouth of the last answer drawn; tell whether there is one."""
        looks = None if self.answer is None else self.answer.looks
        if looks is None:
            return False
        images = {view.name: view.image for view in self.frame.views}
        self.overlays.make(self.answer, lambda: laid_in(images, looks()))
        return True

    def show_mouth(self) -> None:
        """Show the clicked corners, or else where the solved model has them."""
        places = self.mouth.found(self.desk, self.answer)
        if len(places) < 2:
            self.desk.said = "no corners and no solved model to tell where the mouth is: zoom with the wheel"
            return
        self.looking.show_points(self.desk.view, places)

    def open_on_mouth(self) -> None:
        """Show a picture that is seen for the first time where its mouth is."""
        index = self.desk.view
        if index in self._opened:
            return
        self._opened.add(index)
        places = self.mouth.found(self.desk, self.answer)
        if len(places) >= 2:
            self.looking.show_points(index, places)

    def scene(self) -> Scene:
        """Give what is to be seen now."""
        return scene_of(self)

    def loupe_pointer(self) -> Pointer | None:
        """Give where the loupe looks: at the mark that is pulled, else at the pointer."""
        return loupe_pointer(self)

    def settle(self) -> None:
        """Save what changed and put the question to the check; call it after drawing."""
        if self.desk.pulling is None:
            self.save()
        self._ask()

    def take_over(self, desk: Desk) -> None:
        """Go on with what was done in this frame before, undo steps too, where the disk still holds it."""
        if desk.clicks == self.desk.clicks:
            self.desk = desk
            self._saver.on_disk(desk.clicks)

    def _ask(self) -> None:
        if (
            self._live is not None
            and self.desk.revision != self._asked_revision
            and self.desk.pulling is None
        ):
            self._asked_revision = self.desk.revision
            self._live.ask(self.desk.revision, self.desk.clicks)

    def save(self, *, again: bool = False) -> None:
        """Write the corner files of the views whose clicks changed, and of those that failed before."""
        if self._saver.save(self.desk.clicks, again=again):
            self.desk.said = "not saved: the reason stands above"
        elif again and self.save_status.saved:
            self.desk.said = "saved"

    def finish(self) -> None:
        """Save what is not saved, under another name where its own cannot be written, and end the worker."""
        if self._finished:
            return
        self._finished = True
        self.desk.let_go()
        self.save()
        if not self.given_up:
            for line in self._saver.save_beside(self.desk.clicks):
                self.notes.add(line)
        if self._live is not None:
            self._live.close()

    @property
    def save_status(self) -> SaveStatus:
        """Whether all is on disk, and if not, why."""
        return self._saver.status(self.desk.view)

    def poll(self) -> bool:
        """Take a finished answer over; tell whether there is something new to be seen."""
        return self._take_answer() | self.overlays.poll()

    def _take_answer(self) -> bool:
        if self._live is None:
            return False
        # what was clicked before asks for an answer too
        self._ask()
        done = self._live.take()
        if done is None:
            return False
        self.answer = done.answer
        if self.overlays.on:
            self.render()
        return True

    @property
    def busy(self) -> bool:
        """Whether the present clicks have no answer yet."""
        return self._live is not None and (self._live.busy or self.desk.revision != self._asked_revision)

    def mark_at(self, at: Point) -> str | None:
        """Give the mark that a press at a screen place takes hold of."""
        return mark_near(self.desk.here.places, self.transform, at, GRAB_PX * self.screen.unit)
