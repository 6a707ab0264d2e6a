"""What keys and clicks do while a sheet lies over the picture."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bite.annotate.drawing.draw_sheet import page_count, row_at
from bite.annotate.state.keys import Action
from bite.annotate.state.sheet import STEPS, Kind, Sheet
from bite.annotate.state.view import Point

if TYPE_CHECKING:
    from bite.annotate.workbench.bench import Workbench


def act_on_sheet(bench: Workbench, sheet: Sheet, action: Action) -> None:
    """Obey a sheet's own keys; all others do nothing while it lies there."""
    if action is Action.LEAVE or (action is Action.LIST and sheet.kind is Kind.FRAMES):
        bench.sheet = None
    elif sheet.kind is Kind.LEAVING:
        if action in (Action.BRIGHTER, Action.CLOSE):
            bench.given_up = action is Action.CLOSE
            bench.closing = True
    elif sheet.kind is Kind.KEPT:
        _act_on_offer(bench, action)
    elif action is Action.HELP and sheet.kind is Kind.HELP:
        last = sheet.page + 1 >= page_count(bench.screen.picture, sheet, unit=bench.screen.unit)
        bench.sheet = None if last else sheet.moved(1)
    elif action is Action.PLACE and sheet.marked is not None:
        _open_row(bench, sheet.marked)
    elif action in STEPS:
        step = STEPS[action]
        bench.sheet = sheet.moved(step if sheet.marked is not None else (-1, 1)[step > 0])


def _act_on_offer(bench: Workbench, action: Action) -> None:
    if action is Action.PLACE:
        bench.sheet = None
        bench.desk.take(bench.offer.over(bench.desk.clicks), "the kept clicks were taken")
        bench.save()
        if bench.save_status.saved:  # else the copy is all there is of them
            bench.offer.put_away()
    elif action is Action.REMOVE:
        bench.sheet = None
        bench.desk.said = "; ".join(bench.offer.put_away())


def press_on_sheet(bench: Workbench, sheet: Sheet, at: Point) -> None:
    """Take a click on a sheet: it goes away, and the frame in whose row the click lies is opened."""
    if sheet.kind in (Kind.LEAVING, Kind.KEPT):
        return
    row = row_at(bench.screen.picture, sheet, at, unit=bench.screen.unit)
    bench.sheet = None
    if sheet.kind is Kind.FRAMES and row is not None:
        _open_row(bench, row)


def _open_row(bench: Workbench, row: int) -> None:
    bench.sheet = None
    if bench.frames is not None and row != bench.frames.at:
        bench.wanted = row
