"""The annotation of one frame without a toolkit: pointer and keys in, scenes out, saves and checks in between."""

from __future__ import annotations

from collections.abc import Sequence
from math import hypot

from bite.annotate.aids import Aids
from bite.annotate.answer import Answer
from bite.annotate.clicks import Clicks
from bite.annotate.desk import Desk, PictureSize
from bite.annotate.keys import NUDGES, Action
from bite.annotate.live import LiveCheck
from bite.annotate.mistakes import mistakes_in
from bite.annotate.order import ORDER, short_name
from bite.annotate.panel import PanelFacts, drawing_area
from bite.annotate.pyramid import LIFT_WORDS
from bite.annotate.screen import Pointer, Scene, Screen
from bite.annotate.store import CornerStore, SaveStatus
from bite.annotate.teeth_drawing import item_at
from bite.annotate.view import Point, ViewTransform, fit_view, view_of_points
from bite.evidence.corner_snap import Snap, snap_corner
from bite.files.bundle import BiteFrame
from bite.files.corners import CornerState

GRAB_PX = 6.0
"""A press this near to a mark's middle takes hold of it, screen pixels."""
WHEEL_FACTOR = 1.25
_STATES = {Action.SEEN: CornerState.SEEN, Action.UNSURE: CornerState.UNSURE, Action.COVERED: CornerState.COVERED}


class Notes:
    """What the person should know for the rest of the sitting, in sentences."""

    def __init__(self) -> None:
        self.lines: tuple[str, ...] = ()

    def add(self, line: str) -> None:
        """Add a sentence."""
        self.lines = (*self.lines, line)


class Workbench:
    """One frame on the bench.

    Parameters
    ----------
    frame : BiteFrame, as read from disk
    stores : sequence of CornerStore, one a view
    start : Clicks, what was clicked before
    live : LiveCheck or None
    notes : Notes, optional
    """

    def __init__(
        self,
        frame: BiteFrame,
        stores: Sequence[CornerStore],
        start: Clicks,
        live: LiveCheck | None,
        notes: Notes | None = None,
    ) -> None:
        self.frame, self.stores, self.notes = frame, tuple(stores), notes or Notes()
        sizes = [PictureSize(v.name, v.image.shape[1], v.image.shape[0]) for v in frame.views]
        self.desk = Desk(sizes, start)
        self._live = live
        self.answer: Answer | None = None
        self._transforms: dict[int, ViewTransform] = {}
        self._on_disk: Clicks = start
        self._asked_revision = -1
        self._mistakes: tuple[object, tuple[str, ...]] = (None, ())
        self.screen = Screen(1280, 800)
        self.pointer: Point | None = None
        self._panning: Point | None = None
        self.aids = Aids(frame)
        self.help_on, self.closing = False, False

    @property
    def transform(self) -> ViewTransform:
        """Where the present view's picture lies on the screen."""
        if self.desk.view not in self._transforms:
            size = self.desk.picture
            self._transforms[self.desk.view] = fit_view(size.width_px, size.height_px, self.screen.picture)
        return self._transforms[self.desk.view]

    def resize(self, width_px: int, height_px: int, *, least_unit: float = 1.0) -> None:
        """Take a new size of the screen; the picture place in the middle stays there, a whole picture stays whole."""
        old = self.screen.picture
        self.screen = Screen(width_px, height_px, least_unit=least_unit)
        new = self.screen.picture
        for index, view in list(self._transforms.items()):
            size = self.desk.pictures[index]
            if view == fit_view(size.width_px, size.height_px, old):
                self._transforms[index] = fit_view(size.width_px, size.height_px, new)
            else:
                dx = (new.left + new.right - old.left - old.right) / 2
                self._transforms[index] = view.panned(dx, (new.top + new.bottom - old.top - old.bottom) / 2)

    def press(self, at: Point) -> None:
        """Press the main button at a screen place."""
        self.pointer = at
        if self.help_on:
            self.help_on = False
        elif self.screen.picture.holds(at):
            place = self.transform.to_picture(at)
            self.desk.press(place, self._mark_at(at), at_screen=at)
        else:
            item = item_at(drawing_area(self.screen.panel, self.screen.unit), at, 16 * self.screen.unit)
            if item is not None:
                self.desk.ask(item)

    def press_pan(self, at: Point) -> None:
        """Press a button that moves the picture."""
        self._panning = at if self.screen.picture.holds(at) else None

    def move(self, at: Point | None) -> None:
        """Move the pointer; None where it leaves the window."""
        self.pointer = at
        if at is None:
            return
        if self._panning is not None:
            moved = self.transform.panned(at[0] - self._panning[0], at[1] - self._panning[1])
            self._look(moved)
            self._panning = at
        elif self.desk.pulling is not None:
            self.desk.pull_to(self.transform.to_picture(at), at_screen=at)

    def release(self) -> None:
        """Release all buttons."""
        self._panning = None
        self.desk.let_go()

    def wheel(self, at: Point, steps: float) -> None:
        """Turn the wheel: positive steps zoom in."""
        if self.screen.picture.holds(at) and not self.help_on:
            self._look(self.transform.zoomed(WHEEL_FACTOR**steps, at))

    def act(self, action: Action) -> None:
        """Do what a key asks for."""
        if action in NUDGES:
            self.desk.nudge(*NUDGES[action])
        elif action in _STATES:
            self.desk.state_ringed(_STATES[action])
        elif action is Action.SNAP:
            self._snap()
        elif action is Action.DEPTH:
            self.desk.said = self.aids.switch_depth(self.desk.view, self._mouth())
        elif action is Action.SAVE:
            self.save(again=True)
        elif action is Action.CLOSE:
            self.closing = True
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
            case Action.PLACE:
                self._place_here()
            case _:
                return False
        return True

    def _act_on_view(self, action: Action) -> None:
        area, size = self.screen.picture, self.desk.picture
        middle = (area.left + area.right) / 2, (area.top + area.bottom) / 2
        at = self.pointer if self.pointer is not None and area.holds(self.pointer) else middle
        match action:
            case Action.NEARER:
                self._look(self.transform.zoomed(WHEEL_FACTOR**2, at))
            case Action.FARTHER:
                self._look(self.transform.zoomed(WHEEL_FACTOR**-2, at))
            case Action.FIT:
                self._transforms[self.desk.view] = fit_view(size.width_px, size.height_px, area)
            case Action.ONE_TO_ONE:
                self._look(self.transform.zoomed(1.0 / self.transform.scale, at))
            case Action.MOUTH:
                self.show_mouth()
            case Action.BRIGHTER:
                self.desk.said = self.aids.switch_lift()
            case Action.GHOSTS:
                self.desk.said = self.aids.switch_ghosts(self.desk.view, self.answer)
            case Action.HELP:
                self.help_on = not self.help_on
            case _:
                raise AssertionError(f"nothing is done for {action}")

    def show_mouth(self) -> None:
        """Show the clicked corners, or else where the solved model has them."""
        places = [p for name, p in self.desk.here.places.items() if name[0].isdigit()]
        if len(places) < 2:
            places = list(self.aids.before(self.desk.view, self.answer).values())
        if len(places) < 2:
            self.desk.said = "no corners yet to tell where the mouth is: zoom with the wheel"
            return
        self._look(view_of_points(places, self.screen.picture))

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
            panel=self._facts(),
            help=self.help_on,
        )

    def loupe_pointer(self) -> Pointer | None:
        """Give where the loupe looks: at the mark that is pulled, else at the pointer."""
        if self.pointer is None or self._panning is not None:
            return None
        pulled = self.desk.pulling
        place = self.desk.here.places.get(pulled) if pulled is not None else None
        near = self._mark_at(self.pointer) if pulled is None else None
        label = pulled or (f"hold {near}" if near else self.desk.asked) or ""
        return Pointer(self.pointer, place or self.transform.to_picture(self.pointer), short_name(label))

    def settle(self) -> None:
        """Save what changed and put the question to the check; call it after drawing."""
        if self.desk.pulling is None:
            self.save()
        if self._live is not None and self.desk.revision != self._asked_revision and self.desk.pulling is None:
            self._asked_revision = self.desk.revision
            self._live.ask(self.desk.revision, self.desk.clicks)

    def save(self, *, again: bool = False) -> None:
        """Write the corner files of the views whose clicks changed, and of those that failed before."""
        for index, (store, clicks) in enumerate(zip(self.stores, self.desk.clicks, strict=True)):
            if clicks is self._on_disk[index] and store.status.saved and not again:
                continue
            status = store.save(clicks)
            if status.saved:
                self._on_disk = (*self._on_disk[:index], clicks, *self._on_disk[index + 1 :])
            elif status.new_trouble:
                self.desk.said = "not saved"

    def finish(self) -> None:
        """Save what is not saved and let the worker go."""
        self.desk.let_go()
        self.save()
        if self._live is not None:
            self._live.close()

    @property
    def save_status(self) -> SaveStatus:
        """The state of the worst store, or of the one in use."""
        bad = next((s.status for s in self.stores if not s.status.saved), None)
        return bad or self.stores[self.desk.view].status

    def poll(self) -> bool:
        """Take a finished answer over; tell whether there is something new to be seen."""
        if self._live is None:
            return False
        done = self._live.take()
        if done is None:
            return False
        self.answer = done.answer
        return True

    def _facts(self) -> PanelFacts:
        desk, several = self.desk, len(self.desk.pictures) > 1
        return PanelFacts(
            frame=self.frame.name,
            view=desk.picture.name,
            several_views=several,
            clicks=desk.here,
            asked=desk.asked,
            ringed=desk.ringed,
            said=desk.said,
            mistakes=self._mistakes_now(),
            answer=self.answer,
            busy=self._live is not None and (self._live.busy or desk.revision != self._asked_revision),
            save=self.save_status,
            notes=self.notes.lines,
            shown=LIFT_WORDS[self.aids.lift],
        )

    def _mistakes_now(self) -> tuple[str, ...]:
        answer, here, name = self.answer, self.desk.here, self.desk.picture.name
        key = (here, answer)
        if self._mistakes[0] is None or self._mistakes[0] != key:
            axes = answer.axes.get(name) if answer is not None else None
            scale = answer.px_per_mm.get(name) if answer is not None else None
            self._mistakes = (key, mistakes_in(here, self.desk.picture, axes=axes, px_per_mm=scale))
        return self._mistakes[1]

    def _mark_at(self, at: Point) -> str | None:
        reach = GRAB_PX * self.screen.unit
        away = {}
        for name, place in self.desk.here.places.items():
            x, y = self.transform.to_screen(place)
            away[name] = hypot(at[0] - x, at[1] - y)
        nearest = min(away, key=lambda name: (away[name], ORDER.index(name))) if away else None
        return nearest if nearest is not None and away[nearest] <= reach else None

    def _mouth(self) -> Point | None:
        places = list(self.desk.here.places.values()) or list(self.aids.before(self.desk.view, self.answer).values())
        if not places:
            return None
        return sum(p[0] for p in places) / len(places), sum(p[1] for p in places) / len(places)

    def _place_here(self) -> None:
        if self.pointer is None or not self.screen.picture.holds(self.pointer):
            self.desk.said = "point at the place first"
            return
        self.desk.place(self.transform.to_picture(self.pointer))

    def _look(self, view: ViewTransform) -> None:
        size = self.desk.picture
        kept = view.kept_in_sight(size.width_px, size.height_px, self.screen.picture)
        self._transforms[self.desk.view] = kept

    def _snap(self) -> None:
        desk, name = self.desk, self.desk.ringed
        if name is None or name not in desk.here.places or desk.here.state_of(name) is None:
            desk.said = "no corner is ringed: click one first"
            return
        found = snap_corner(self.frame.views[desk.view].image, desk.here.points, name)
        if isinstance(found, Snap):
            desk.move_ringed(found.place_px, f"{name} to where edge and side meet")
            desk.said = f"{name} moved {found.moved_px:.2f} px to where edge and side meet (sd {found.sd_px:.2f}); Z undoes"
        else:
            desk.said = f"{name} stays: {found.why}"
