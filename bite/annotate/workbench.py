"""One frame on the bench, without a toolkit: pointer and keys in, scenes out, saves and checks between."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from bite.annotate.drawing.aids import Aids
from bite.annotate.drawing.draw_sheet import page_count, row_at
from bite.annotate.drawing.overlay import Overlays, laid_in
from bite.annotate.drawing.panel import PanelFacts, drawing_area
from bite.annotate.drawing.screen import Pointer, Scene, Screen
from bite.annotate.drawing.teeth_drawing import item_at
from bite.annotate.state.answer import Answer
from bite.annotate.state.clicks import Clicks
from bite.annotate.state.desk import Desk, PictureSize
from bite.annotate.state.frames import Frames, clicked_told
from bite.annotate.state.keys import NUDGES, PANS, Action
from bite.annotate.state.live import LiveCheck
from bite.annotate.state.looking import Looking
from bite.annotate.state.mistakes import MistakeWatch
from bite.annotate.state.mouth import solved_places
from bite.annotate.state.order import short_name
from bite.annotate.state.sheet import (
    STEPS,
    Kind,
    Sheet,
    frames_sheet,
    help_sheet,
    kept_sheet,
    leaving_sheet,
)
from bite.annotate.state.snapping import snap_ringed
from bite.annotate.state.view import Point, ViewTransform, mark_near
from bite.annotate.store.corner_files import CornerStore, SaveStatus
from bite.annotate.store.offer import Offer
from bite.annotate.store.saving import Notes, Saver
from bite.files.bundle import BiteFrame
from bite.files.corners import CornerState

GRAB_PX = 6.0
"""A press this near to a mark's middle takes hold of it, screen pixels."""
AIM_FAR_PX = 20.0
"""Screen pixels that an arrow with Shift moves the cursor by: a few reach across the mouth (our choice)."""
PAN_SHARE = 0.15
"""Share of the picture's height on the screen that a key moves the picture by (our choice)."""
WHEEL_FACTOR = 1.25
"""Three steps of the wheel double the picture (our choice)."""
_STATES = {
    Action.SEEN: CornerState.SEEN,
    Action.UNSURE: CornerState.UNSURE,
    Action.COVERED: CornerState.COVERED,
}


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
        self._command = command
        self._saver = Saver(stores, start)
        self._asked_revision = -1
        self._watch = MistakeWatch()
        self.screen = Screen(1280, 800)
        self._looking = Looking(self.desk.pictures, self.screen.picture)
        self.pointer: Point | None = None
        self._panning: Point | None = None
        self.aids = Aids(frame)
        self.overlays = Overlays()
        self.sheet: Sheet | None = None
        self.aiming = False
        self.frames: Frames | None = None
        self.wanted: int | None = None
        self.closing, self._given_up, self._finished = False, False, False
        self._opened: set[int] = set()
        self._offer = Offer(stores, start)
        if self._offer:
            self.sheet = kept_sheet(self._offer.rows(), clicked_told(start))
        self._solved: Mapping[str, Mapping[str, Point]] | None = None

    @property
    def transform(self) -> ViewTransform:
        """Where the present view's picture lies on the screen."""
        return self._looking.at(self.desk.view)

    def resize(self, width_px: int, height_px: int, *, least_unit: float = 1.0) -> None:
        """Take a new size of the screen, physical pixels."""
        self.screen = Screen(width_px, height_px, least_unit=least_unit)
        self._looking.resize(self.screen.picture)
        self._open_on_mouth()

    def press(self, at: Point) -> None:
        """Press the main button at a screen place."""
        self.pointer = at
        if self.sheet is not None:
            self._press_on_sheet(self.sheet, at)
        elif self.screen.picture.holds(at):
            place = self.transform.to_picture(at)
            self.desk.press(place, self._mark_at(at), at_screen=at)
        else:
            item = item_at(drawing_area(self.screen.panel, self.screen.unit), at, 16 * self.screen.unit)
            if item is not None:
                self.desk.ask(item)

    def press_pan(self, at: Point) -> None:
        """Press a button that moves the picture."""
        free = self.sheet is None and self.screen.picture.holds(at)
        self._panning = at if free else None

    def move(self, at: Point | None) -> None:
        """Move the pointer; None where it leaves the window."""
        if self.aiming and at is None:
            return
        self.aiming = False
        self.pointer = at
        if at is None:
            return
        if self._panning is not None:
            self._looking.pan(self.desk.view, at[0] - self._panning[0], at[1] - self._panning[1])
            self._panning = at
        elif self.desk.pulling is not None:
            self.desk.pull_to(self.transform.to_picture(at), at_screen=at)

    def release(self) -> None:
        """Release all buttons."""
        self._panning = None
        self.desk.let_go()

    def wheel(self, at: Point, steps: float) -> None:
        """Turn the wheel: positive steps zoom in."""
        if self.screen.picture.holds(at) and self.sheet is None:
            self._looking.zoom(self.desk.view, WHEEL_FACTOR**steps, at)

    def act(self, action: Action) -> None:
        """Do what a key asks for."""
        if self.sheet is not None:
            self._act_on_sheet(self.sheet, action)
        elif action in NUDGES:
            self._arrow(*NUDGES[action])
        elif action in PANS:
            step = PAN_SHARE * self.screen.picture.height
            self._looking.pan(self.desk.view, PANS[action][0] * step, PANS[action][1] * step)
        elif action is Action.AIM:
            self._aim()
        elif action in _STATES:
            self.desk.state_ringed(_STATES[action])
        elif action is Action.SNAP:
            snap_ringed(self.desk, self.frame.views[self.desk.view].image)
        elif action is Action.DEPTH:
            self.desk.said = self.aids.switch_depth(self.desk.view, *self._teeth())
        elif action is Action.SAVE:
            self.save(again=True)
        elif action is Action.CLOSE:
            self._close()
        elif not self._act_on_desk(action):
            self._act_on_view(action)

    def _act_on_desk(self, action: Action) -> bool:
        desk = self.desk
        match action:
            case Action.UNDO:
                desk.undo()
            case Action.REDO:
                desk.redo()
            case Action.HIDDEN:
                desk.hide_asked()
            case Action.REMOVE:
                desk.remove_ringed()
            case Action.NEXT:
                desk.ask_neighbour(1)
            case Action.BACK:
                desk.ask_neighbour(-1)
            case Action.OTHER_VIEW:
                desk.switch_view()
                self._open_on_mouth()
            case Action.PLACE:
                self._place_here()
            case _:
                return False
        return True

    def _act_on_view(self, action: Action) -> None:
        area, view = self.screen.picture, self.desk.view
        middle = (area.left + area.right) / 2, (area.top + area.bottom) / 2
        at = self.pointer if self.pointer is not None and area.holds(self.pointer) else middle
        match action:
            case Action.NEARER:
                self._looking.zoom(view, WHEEL_FACTOR**2, at)
            case Action.FARTHER:
                self._looking.zoom(view, WHEEL_FACTOR**-2, at)
            case Action.FIT:
                self._looking.show_whole(view)
            case Action.ONE_TO_ONE:
                self._looking.zoom(view, 1.0 / self.transform.scale, at)
            case Action.MOUTH:
                self.show_mouth()
            case Action.BRIGHTER:
                self.desk.said = self.aids.switch_lift()
            case Action.GHOSTS:
                self.desk.said = self.aids.switch_ghosts(self.desk.view, self.answer)
            case Action.OUTLINE | Action.SHADED | Action.BLINK | Action.WIPE:
                self._act_on_overlay(action)
            case Action.HELP:
                self.sheet = help_sheet()
            case Action.LEAVE:
                self.desk.said = ""
            case Action.LIST if self.frames is not None and self.frames.several:
                self.sheet = frames_sheet(self.frames)
            case Action.NEXT_FRAME | Action.PREVIOUS_FRAME if self.frames is not None and self.frames.several:
                self._want(self.frames.at + (1 if action is Action.NEXT_FRAME else -1))
            case Action.LIST | Action.NEXT_FRAME | Action.PREVIOUS_FRAME:
                self.desk.said = "this is the only frame: name more, or a cast file, on the command line"
            case _:
                raise AssertionError(f"nothing is done for {action}")

    def _aim(self) -> None:
        """Put a cursor where the pointer is, or in the middle, for the arrows to move."""
        self.aiming = not self.aiming
        if not self.aiming:
            self.desk.said = "arrows move the ringed mark again"
            return
        if self.pointer is None or not self.screen.picture.holds(self.pointer):
            area = self.screen.picture
            self.pointer = (area.left + area.width // 2, area.top + area.height // 2)
        self.desk.said = "arrows move the cursor, with Shift far; Space clicks; A ends it"

    def _arrow(self, dx: float, dy: float) -> None:
        if not self.aiming or self.pointer is None:
            self.desk.nudge(dx, dy)
            return
        step, area = AIM_FAR_PX if max(abs(dx), abs(dy)) >= 1.0 else 1.0, self.screen.picture
        x = self.pointer[0] + step * ((dx > 0) - (dx < 0))
        y = self.pointer[1] + step * ((dy > 0) - (dy < 0))
        self.pointer = (
            min(max(x, area.left), area.right - 1.0),
            min(max(y, area.top), area.bottom - 1.0),
        )

    def _act_on_overlay(self, action: Action) -> None:
        if not self.overlays.on and not self._render():
            waits = self.busy and self.answer is None
            self.desk.said = (
                "the check has not answered yet" if waits else "there is no solved mouth to be shown"
            )
            return
        self.desk.said = self.overlays.act(action, self.desk.picture.name)

    def _render(self) -> bool:
        """Have the solved mouth of the last answer drawn; tell whether there is one."""
        looks = None if self.answer is None else self.answer.looks
        if looks is None:
            return False
        images = {view.name: view.image for view in self.frame.views}
        self.overlays.make(self.answer, lambda: laid_in(images, looks()))
        return True

    def step_frames(self, steps: int) -> None:
        """Ask for a frame some steps on or back, or for the last one on that way."""
        if self.frames is None or not self.frames.several:
            return
        index = min(max(self.frames.at + steps, 0), len(self.frames.stands) - 1)
        self._want(index if index != self.frames.at else self.frames.at + steps)

    def _want(self, index: int) -> None:
        assert self.frames is not None
        if 0 <= index < len(self.frames.stands):
            self.wanted = index
        else:
            self.desk.said = f"this is the {'first' if index < 0 else 'last'} frame; L lists all"

    def _close(self) -> None:
        """Close, where nothing would be lost by it; else ask."""
        self.desk.let_go()
        self.save()
        status = self.save_status
        if status.saved:
            self.closing = True
        else:
            self.sheet = leaving_sheet(status.why_not)

    def _act_on_sheet(self, sheet: Sheet, action: Action) -> None:
        """Obey a sheet's own keys; all others do nothing while it lies there."""
        if action is Action.LEAVE or (action is Action.LIST and sheet.kind is Kind.FRAMES):
            self.sheet = None
        elif sheet.kind is Kind.LEAVING:
            if action in (Action.BRIGHTER, Action.CLOSE):
                self._given_up = action is Action.CLOSE
                self.closing = True
        elif sheet.kind is Kind.KEPT:
            self._act_on_offer(action)
        elif action is Action.HELP and sheet.kind is Kind.HELP:
            last = sheet.page + 1 >= page_count(self.screen.picture, sheet, unit=self.screen.unit)
            self.sheet = None if last else sheet.moved(1)
        elif action is Action.PLACE and sheet.marked is not None:
            self._open_row(sheet.marked)
        elif action in STEPS:
            step = STEPS[action]
            self.sheet = sheet.moved(step if sheet.marked is not None else (-1, 1)[step > 0])

    def _act_on_offer(self, action: Action) -> None:
        if action is Action.PLACE:
            self.sheet = None
            self.desk.take(self._offer.over(self.desk.clicks), "the kept clicks were taken")
            self.save()
            if self.save_status.saved:  # else the copy is all there is of them
                self._offer.put_away()
        elif action is Action.REMOVE:
            self.sheet = None
            self.desk.said = "; ".join(self._offer.put_away())

    def _press_on_sheet(self, sheet: Sheet, at: Point) -> None:
        if sheet.kind in (Kind.LEAVING, Kind.KEPT):
            return
        row = row_at(self.screen.picture, sheet, at, unit=self.screen.unit)
        self.sheet = None
        if sheet.kind is Kind.FRAMES and row is not None:
            self._open_row(row)

    def _open_row(self, row: int) -> None:
        self.sheet = None
        if self.frames is not None and row != self.frames.at:
            self.wanted = row

    def show_mouth(self) -> None:
        """Show the clicked corners, or else where the solved model has them."""
        places = self._mouth_places()
        if len(places) < 2:
            self.desk.said = "no corners and no solved model to tell where the mouth is: zoom with the wheel"
            return
        self._looking.show_points(self.desk.view, places)

    def _open_on_mouth(self) -> None:
        """Show a picture that is seen for the first time where its mouth is."""
        index = self.desk.view
        if index in self._opened:
            return
        self._opened.add(index)
        places = self._mouth_places()
        if len(places) >= 2:
            self._looking.show_points(index, places)

    def _mouth_places(self) -> list[Point]:
        places = [p for name, p in self.desk.here.places.items() if name[0].isdigit()]
        if len(places) < 2:
            places = list(self.aids.before(self.desk.view, self.answer).values())
        if len(places) < 2:
            if self._solved is None:
                self._solved = solved_places(self.frame)
            places = list(self._solved.get(self.desk.picture.name, {}).values())
        return places

    def scene(self) -> Scene:
        """Give what is to be seen now."""
        desk, index, views = self.desk, self.desk.view, self.frame.views
        before, after = self.aids.shown_ghosts(index, self.answer)
        return Scene(
            picture=self.aids.picture(index),
            view=self.transform,
            lift=self.aids.lift,
            layer=self.aids.layer(index),
            clicks=desk.here,
            ringed=desk.ringed,
            before=before,
            after=after,
            sights=self.aids.sights(index, desk.clicks),
            other=views[(index + 1) % len(views)].name if len(views) > 1 else "",
            beside=self.aids.beside(index, desk.clicks),
            panel=self._facts(),
            sheet=self.sheet,
            aim=self.pointer if self.aiming else None,
            overlay=self.overlays.shown(
                desk.picture.name,
                self.aids.picture(index),
                None if self.pointer is None else self.pointer[0] - self.screen.picture.left,
            ),
        )

    def loupe_pointer(self) -> Pointer | None:
        """Give where the loupe looks: at the mark that is pulled, else at the pointer."""
        if self.pointer is None or self._panning is not None or self.overlays.wiping:
            return None
        pulled = self.desk.pulling
        place = self.desk.here.places.get(pulled) if pulled is not None else None
        near = self._mark_at(self.pointer) if pulled is None else None
        label = pulled or (f"hold {near}" if near else self.desk.asked) or ""
        here = place or self.transform.to_picture(self.pointer)
        layer, told = self.aids.layer(self.desk.view), ""
        if layer is not None:
            depth = layer.depth_at(here)
            told = "no reading" if depth is None else f"{depth:.2f} mm"
        return Pointer(self.pointer, here, short_name(label), told)

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
        if not self._given_up:
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
            self._render()
        return True

    @property
    def busy(self) -> bool:
        """Whether the present clicks have no answer yet."""
        return self._live is not None and (self._live.busy or self.desk.revision != self._asked_revision)

    def _then(self) -> str:
        if self.frames is not None and self.frames.next_undone is not None:
            return f"PgDn goes to the next frame ({self.frames.progress})"
        return f"Then, in the terminal: {self._command}" if self._command else ""

    def _facts(self) -> PanelFacts:
        desk, several = self.desk, len(self.desk.pictures) > 1
        return PanelFacts(
            progress=self.frames.progress if self.frames is not None and self.frames.several else "",
            then=self._then(),
            frame=self.frame.name,
            view=desk.picture.name,
            several_views=several,
            clicks=desk.here,
            asked=desk.asked,
            ringed=desk.ringed,
            said=desk.said,
            mistakes=self._watch.mistakes(desk.here, desk.picture, self.answer),
            answer=self.answer,
            busy=self.busy,
            save=self.save_status,
            notes=self.notes.lines,
        )

    def _mark_at(self, at: Point) -> str | None:
        return mark_near(self.desk.here.places, self.transform, at, GRAB_PX * self.screen.unit)

    def _teeth(self) -> tuple[Point | None, float | None]:
        """Give the middle of the front teeth and how far they reach up and down, px."""
        places = self._mouth_places()
        if len(places) < 2:
            return None, None
        xs = [p[0] for p in places]
        middle = sum(xs) / len(xs), sum(p[1] for p in places) / len(places)
        # four central corners span some 17 mm, a crown is some 9 mm high
        return middle, max(2.0, 0.25 * (max(xs) - min(xs)))

    def _place_here(self) -> None:
        if self.pointer is None or not self.screen.picture.holds(self.pointer):
            self.desk.said = "point at the place first, or press A for a cursor that the arrows move"
            return
        self.desk.place(self.transform.to_picture(self.pointer))
