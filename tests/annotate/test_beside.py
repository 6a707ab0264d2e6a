"""The other picture of a pair, small, beneath the panel."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from bite.annotate.drawing.beside import Beside, beside_area, draw_beside
from bite.annotate.drawing.pyramid import Pyramid
from bite.annotate.state.clicks import ViewClicks
from bite.annotate.state.view import Area
from bite.files.corners import CornerPoint, CornerState

PANEL = Area(900, 0, 1230, 800)
GREY = Pyramid(np.full((300, 400, 3), 90, np.uint8))


def seen(x: float, y: float) -> CornerPoint:
    return CornerPoint(CornerState.SEEN, x, y)


def drawn(beside: Beside) -> np.ndarray:
    target = np.zeros((800, 1230, 4), np.uint8)
    draw_beside(target, beside_area(PANEL), beside, unit=1.0)
    return target


def test_it_lies_at_the_foot_of_the_panel_and_nowhere_else() -> None:
    area = beside_area(PANEL)
    assert (area.left, area.right, area.bottom) == (PANEL.left, PANEL.right, PANEL.bottom)
    target = drawn(Beside("side", GREY, ViewClicks(), {}))
    assert target[area.top : area.bottom, area.left : area.right, 3].all()
    target[area.top : area.bottom, area.left : area.right] = 0
    assert not target.any()


def test_clicks_and_lines_of_the_other_picture_are_in_it() -> None:
    bare = Beside("side", GREY, ViewClicks(), {})
    clicks = ViewClicks({"11d": seen(190, 150), "21d": seen(210, 150)})
    marked = drawn(replace(bare, clicks=clicks))
    line = np.array([[180.0, 140.0], [220.0, 160.0]])
    lined = drawn(replace(bare, clicks=clicks, sights={"11m": line}))
    assert (marked != drawn(bare)).any()
    assert (lined != marked).any()


def test_it_is_drawn_again_only_when_something_changed() -> None:
    sights = {}
    one = Beside("side", GREY, ViewClicks(), sights)
    assert one.same(Beside("side", GREY, ViewClicks(), sights))
    assert not one.same(None)
    assert not one.same(replace(one, sights={"11d": np.zeros((2, 2))}))
    assert not one.same(replace(one, clicks=ViewClicks({"11d": seen(1, 2)})))
