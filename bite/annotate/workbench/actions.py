"""What each key does."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bite.annotate.state.keys import NUDGES, PANS, Action
from bite.annotate.state.sheet import frames_sheet, help_sheet, leaving_sheet
from bite.annotate.state.snapping import snap_ringed
from bite.annotate.workbench.sheets import act_on_sheet
from bite.files.corners import CornerState

if TYPE_CHECKING:
    from bite.annotate.workbench.bench import Workbench

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


def act(bench: Workbench, action: Action) -> None:
    """Do what a key asks for."""
    if bench.sheet is not None:
        act_on_sheet(bench, bench.sheet, action)
    elif action in NUDGES:
        _arrow(bench, *NUDGES[action])
    elif action in PANS:
        step = PAN_SHARE * bench.screen.picture.height
        bench.looking.pan(bench.desk.view, PANS[action][0] * step, PANS[action][1] * step)
    elif action is Action.AIM:
        _aim(bench)
    elif action in _STATES:
        bench.desk.state_ringed(_STATES[action])
    elif action is Action.SNAP:
        snap_ringed(bench.desk, bench.frame.views[bench.desk.view].image)
    elif action is Action.DEPTH:
        teeth = bench.mouth.teeth(bench.desk, bench.answer)
        bench.desk.said = bench.aids.switch_depth(bench.desk.view, *teeth)
    elif action is Action.SAVE:
        bench.save(again=True)
    elif action is Action.CLOSE:
        _close(bench)
    elif not _act_on_desk(bench, action):
        _act_on_view(bench, action)


def _act_on_desk(bench: Workbench, action: Action) -> bool:
    desk = bench.desk
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
            bench.open_on_mouth()
        case Action.PLACE:
            _place_here(bench)
        case _:
            return False
    return True


def _act_on_view(bench: Workbench, action: Action) -> None:
    area, view = bench.screen.picture, bench.desk.view
    middle = (area.left + area.right) / 2, (area.top + area.bottom) / 2
    at = bench.pointer if bench.pointer is not None and area.holds(bench.pointer) else middle
    match action:
        case Action.NEARER:
            bench.looking.zoom(view, WHEEL_FACTOR**2, at)
        case Action.FARTHER:
            bench.looking.zoom(view, WHEEL_FACTOR**-2, at)
        case Action.FIT:
            bench.looking.show_whole(view)
        case Action.ONE_TO_ONE:
            bench.looking.zoom(view, 1.0 / bench.transform.scale, at)
        case Action.MOUTH:
            bench.show_mouth()
        case Action.BRIGHTER:
            bench.desk.said = bench.aids.switch_lift()
        case Action.GHOSTS:
            bench.desk.said = bench.aids.switch_ghosts(bench.desk.view, bench.answer)
        case Action.OUTLINE | Action.SHADED | Action.BLINK | Action.WIPE:
            _act_on_overlay(bench, action)
        case Action.HELP:
            bench.sheet = help_sheet()
        case Action.LEAVE:
            bench.desk.said = ""
        case Action.LIST if bench.frames is not None and bench.frames.several:
            bench.sheet = frames_sheet(bench.frames)
        case Action.NEXT_FRAME | Action.PREVIOUS_FRAME if bench.frames is not None and bench.frames.several:
            want_frame(bench, bench.frames.at + (1 if action is Action.NEXT_FRAME else -1))
        case Action.LIST | Action.NEXT_FRAME | Action.PREVIOUS_FRAME:
            bench.desk.said = "this is the only frame: name more, or a cast file, on the command line"
        case _:
            raise AssertionError(f"nothing is done for {action}")


def _aim(bench: Workbench) -> None:
    """Put a cursor where the pointer is, or in the middle, for the arrows to move."""
    bench.aiming = not bench.aiming
    if not bench.aiming:
        bench.desk.said = "arrows move the ringed mark again"
        return
    if bench.pointer is None or not bench.screen.picture.holds(bench.pointer):
        area = bench.screen.picture
        bench.pointer = (area.left + area.width // 2, area.top + area.height // 2)
    bench.desk.said = "arrows move the cursor, with Shift far; Space clicks; A ends it"


def _arrow(bench: Workbench, dx: float, dy: float) -> None:
    if not bench.aiming or bench.pointer is None:
        bench.desk.nudge(dx, dy)
        return
    step, area = AIM_FAR_PX if max(abs(dx), abs(dy)) >= 1.0 else 1.0, bench.screen.picture
    x = bench.pointer[0] + step * ((dx > 0) - (dx < 0))
    y = bench.pointer[1] + step * ((dy > 0) - (dy < 0))
    bench.pointer = (
        min(max(x, area.left), area.right - 1.0),
        min(max(y, area.top), area.bottom - 1.0),
    )


def _place_here(bench: Workbench) -> None:
    if bench.pointer is None or not bench.screen.picture.holds(bench.pointer):
        bench.desk.said = "point at the place first, or press A for a cursor that the arrows move"
        return
    bench.desk.place(bench.transform.to_picture(bench.pointer))


def _act_on_overlay(bench: Workbench, action: Action) -> None:
    if not bench.overlays.on and not bench.render():
        waits = bench.busy and bench.answer is None
        bench.desk.said = (
            "the check has not answered yet" if waits else "there is no solved mouth to be shown"
        )
        return
    bench.desk.said = bench.overlays.act(action, bench.desk.picture.name)


def want_frame(bench: Workbench, index: int) -> None:
    """Ask for another frame by its number; where there is none it is said."""
    assert bench.frames is not None
    if 0 <= index < len(bench.frames.stands):
        bench.wanted = index
    else:
        bench.desk.said = f"this is the {'first' if index < 0 else 'last'} frame; L lists all"


def _close(bench: Workbench) -> None:
    """Close, where nothing would be lost by it; else ask."""
    bench.desk.let_go()
    bench.save()
    status = bench.save_status
    if status.saved:
        bench.closing = True
    else:
        bench.sheet = leaving_sheet(status.why_not)
