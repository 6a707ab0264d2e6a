"""The side panel: what is asked for and ringed, what looks wrong, what the check says, what is saved."""

from __future__ import annotations

from dataclasses import dataclass

from bite.annotate.drawing.lettering import Colour, Pixels, colour_of, line_height, text_width, wrapped, write
from bite.annotate.drawing.teeth_drawing import ASKED, draw_teeth, undone_landmarks
from bite.annotate.state.answer import Answer
from bite.annotate.state.clicks import ViewClicks
from bite.annotate.state.order import is_corner, is_needed, short_name, words
from bite.annotate.state.view import Area
from bite.annotate.store.corner_files import SaveStatus
from bite.files.corners import CornerState
from bite.geometry.teeth import is_upper
from bite.plots.style import INK

PAPER: Colour = (246, 245, 242)
"""Off-white: less glare than white in a dark room (our choice)."""
_INK = colour_of(INK)
_SOFT: Colour = (95, 95, 95)
"""Grey of what is read second; contrast 6 to 1 on the paper (our choice)."""
_RULE: Colour = (205, 203, 198)
"""Grey of the lines between parts of the panel, lighter than any letter."""
_ALERT = colour_of("#A63D00")
_ALERT_PAPER: Colour = (255, 233, 214)
"""A warm tint behind what looks wrong; the word beside it says so too."""
_DONE = colour_of("#006B4E")
_KEYS = "? all keys   Z undo   E fit edge   H hidden   M mouth"


@dataclass(frozen=True, slots=True)
class PanelFacts:
    """All that the panel shows; two equal ones look the same.

    Parameters
    ----------
    frame, view : str, names
    several_views : bool
    clicks : ViewClicks, of the view that is worked on
    asked, ringed : str or None
    said : str, the last thing said to the person
    mistakes : tuple of str
    answer : Answer or None
    busy : bool, a newer answer is being worked out
    save : SaveStatus
    notes : tuple of str, things that hold for the whole sitting
    progress : str, where a sitting over several frames stands; empty for one frame
    then : str, what comes once nothing more is to be clicked
    """

    frame: str
    view: str
    several_views: bool
    clicks: ViewClicks
    asked: str | None
    ringed: str | None
    said: str
    mistakes: tuple[str, ...]
    answer: Answer | None
    busy: bool
    save: SaveStatus
    notes: tuple[str, ...]
    progress: str = ""
    then: str = ""

    @property
    def end(self) -> str:
        """Why nothing more is to be clicked; empty while something is."""
        fine = self.answer is not None and not self.busy and self.save.saved and not self.mistakes
        return self.answer.end if fine and self.answer is not None else ""


def drawing_area(panel: Area, unit: float) -> Area:
    """Give where the drawing of the teeth lies in the panel, px of the screen."""
    top = panel.top + round(52 * unit)
    return Area(panel.left + round(10 * unit), top, panel.right - round(10 * unit), top + round(142 * unit))


class _Column:
    """A place to write that moves down; what would not fit is left out and counted."""

    def __init__(self, target: Pixels, panel: Area, unit: float, bottom: int) -> None:
        self.target, self.unit, self.bottom = target, unit, bottom
        self.left, self.right = panel.left + round(12 * unit), panel.right - round(12 * unit)
        self.y = panel.top + round(8 * unit)

    def size(self, points: float) -> int:
        return max(9, round(points * self.unit))

    def say(self, text: str, points: float, colour: Colour = _INK, *, bold: bool = False) -> bool:
        """Write a paragraph whole, or not at all where it does not fit."""
        size = self.size(points)
        lines = wrapped(text, self.right - self.left, size, bold=bold)
        if self.y + len(lines) * line_height(size) > self.bottom:
            return False
        for line in lines:
            write(self.target, line, (self.left, self.y), size, colour, bold=bold)
            self.y += line_height(size)
        return True

    def gap(self, points: float, *, rule: bool = False) -> None:
        self.y += round(points * self.unit)
        if rule and self.y < self.bottom:
            self.target[self.y, self.left : self.right, :3] = _RULE
            self.y += round(points * self.unit)

    def boxed(self, lines: list[tuple[str, bool]], points: float) -> None:
        """Write alert paragraphs on a ground of their own."""
        size = self.size(points)
        broken = [
            (p, b) for text, b in lines for p in wrapped(text, self.right - self.left - 12, size, bold=b)
        ]
        room = max(0, (self.bottom - self.y - 8) // line_height(size))
        cut, broken = len(broken) > room, broken[:room]
        end = self.y + len(broken) * line_height(size) + 8
        self.target[self.y : end, self.left - 4 : self.right + 4, :3] = _ALERT_PAPER
        self.target[self.y : end, self.left - 4 : self.left - 1, :3] = _ALERT
        self.y += 4
        for k, (text, bold) in enumerate(broken):
            last = " ..." if cut and k == len(broken) - 1 else ""
            write(self.target, text + last, (self.left + 4, self.y), size, _ALERT, bold=bold)
            self.y += line_height(size)
        self.y += 4


def draw_panel(target: Pixels, panel: Area, facts: PanelFacts, *, unit: float = 1.0) -> None:
    """Draw the panel into its area of the screen."""
    import cv2

    cv2.rectangle(target, (panel.left, panel.top), (panel.right - 1, panel.bottom - 1), (*PAPER, 255), -1)
    target[panel.top : panel.bottom, panel.left : panel.left + 1, :3] = _RULE
    foot = panel.bottom - round(26 * unit)
    column = _Column(target, panel, unit, foot)
    _head(column, facts)
    area = drawing_area(panel, unit)
    draw_teeth(target, area, facts.clicks, facts.asked, unit=unit)
    column.y = area.bottom + round(8 * unit)
    _asked(column, facts)
    _ringed(column, facts)
    if facts.mistakes:
        column.gap(4)
        column.boxed([("Look again", True), *((text, False) for text in facts.mistakes)], 12)
    _answer(column, facts)
    size = column.size(11)
    target[foot, column.left : column.right, :3] = _RULE
    keys = _KEYS
    while text_width(keys, size) > column.right - column.left and "   " in keys:
        keys = keys.rpartition("   ")[0]
    write(target, keys, (column.left, foot + round(5 * unit)), size, _SOFT)


def _head(column: _Column, facts: PanelFacts) -> None:
    title = facts.frame + (f": {facts.view}" if facts.several_views else "")
    size = column.size(14)
    while text_width(title, size, True) > column.right - column.left and len(title) > 8:
        title = title[:-2].rstrip(".") + "."
    write(column.target, title, (column.left, column.y), size, _INK, bold=True)
    column.y += line_height(size)
    if facts.save.saved:
        told = f"saved {facts.save.at}" if facts.save.at else "saved: nothing new"
        told = f"{facts.progress}  -  {told}" if facts.progress else told
        told += "  -  V: the other picture" if facts.several_views else ""
        column.say(told, 11.5, _SOFT)
    else:
        column.say("NOT SAVED (reason below)", 12, _ALERT, bold=True)


def _asked(column: _Column, facts: PanelFacts) -> None:
    if not facts.save.saved:
        column.boxed([("These clicks are not on disk", True), (facts.save.why_not, False)], 12)
        column.gap(4)
    name = facts.asked
    if facts.end:
        column.say(facts.end, 16, _DONE, bold=True)
        column.say(facts.then, 12.5, _INK, bold=True)
        if name is not None:
            column.say(f"A click would still set {short_name(name)}.", 11.5, _SOFT)
        return
    if name is None:
        column.say("All is clicked.", 16, _INK, bold=True)
        return
    what, whose = words(name)
    optional = "" if is_needed(name) else "  (helps, not needed)"
    column.say(f"Next: {short_name(name)}{optional}", 16, ASKED, bold=True)
    column.say(what, 13, _INK)
    if whose:
        column.say(whose, 13, _INK, bold=True)
    if is_corner(name) and not is_upper(name):
        column.say(
            "Goes under the upper edge? Click where its side disappears, then press C. Not to be seen: H.",
            11.5,
            _SOFT,
        )
    elif not is_corner(name):
        column.say(f"{undone_landmarks(facts.clicks)} landmarks open; N goes past this one.", 11.5, _SOFT)


def _ringed(column: _Column, facts: PanelFacts) -> None:
    if not (facts.ringed or facts.said or facts.notes):
        return
    column.gap(5, rule=True)
    place = facts.clicks.places.get(facts.ringed) if facts.ringed is not None else None
    if facts.ringed is not None and place is not None:
        state = facts.clicks.state_of(facts.ringed)
        told = f"Ringed: {short_name(facts.ringed)}" + (f", {state}" if state else "")
        column.say(f"{told}, at {place[0]:.2f}, {place[1]:.2f}", 12.5, _INK, bold=True)
        if state is CornerState.COVERED:
            column.say("a bound, no corner: its side goes under the upper edge here", 11.5, _SOFT)
    if facts.said:
        column.say(facts.said, 12, _SOFT)
    for note in facts.notes:
        column.say(note, 11.5, _ALERT)


def _answer(column: _Column, facts: PanelFacts) -> None:
    column.gap(5, rule=True)
    answer = facts.answer
    working = "  (being checked: what stands here is older)" if facts.busy and answer is not None else ""
    column.say("Check of these clicks" + working, 12, _SOFT)
    if answer is None:
        column.say("being checked" if facts.busy else "not run", 12, _SOFT)
        return
    if facts.mistakes:
        column.say("put the clicks above right first", 12, _SOFT)
        return
    # an answer to older clicks stays readable while the next is worked out, but grey
    ink = _SOFT if facts.busy else _INK
    if answer.provisional:
        # nothing to be typed into a rig: neither the word in large letters nor the dial's value
        ink = _SOFT
        column.say(f"Provisional: {answer.provisional}", 14, _SOFT, bold=True)
        column.say(f"so far it looks like {answer.verdict}; that may still change", 12, _SOFT)
    else:
        column.say(answer.verdict.upper(), 16, ink, bold=True)
        column.say(answer.headline, 12.5, ink)
    if answer.next_click and not facts.end:
        column.gap(2)
        column.say(answer.next_click, 12, _SOFT if facts.busy else _INK, bold=True)
    column.gap(2)
    for label, value in answer.rows:
        column.say(f"{label}: {value}", 12, ink)
    left_out = 0
    for text in answer.troubles:
        column.gap(2)
        if not column.say(text, 11.5, _SOFT if facts.busy else _ALERT):
            left_out += 1
    if left_out:
        column.say(f"and {left_out} more: run bite check", 11, _SOFT)
