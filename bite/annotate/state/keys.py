"""What each key does: one table for the window and for its help sheet, so that the two cannot differ."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum


class Action(Enum):
    """What a key asks for."""

    LEFT = "move it left"
    RIGHT = "move it right"
    UP = "move it up"
    DOWN = "move it down"
    FAR_LEFT = "move it far left"
    FAR_RIGHT = "move it far right"
    FAR_UP = "move it far up"
    FAR_DOWN = "move it far down"
    UNDO = "undo, as often as you like"
    REDO = "redo"
    SEEN = "the ringed corner is seen"
    UNSURE = "the ringed corner is seen, but not to be trusted"
    COVERED = "ringed point is where a lower tooth's side goes under the upper edge"
    HIDDEN = "the corner asked for cannot be seen: go on"
    REMOVE = "take the ringed mark away"
    PLACE = "set the corner asked for at the cursor, however near another mark is"
    NEXT = "ask for the next corner"
    BACK = "ask for the one before"
    SNAP = "fit edge and side at the ringed corner, offer their meeting point"
    MOUTH = "show the mouth"
    PAN_LEFT = "move the picture left"
    PAN_RIGHT = "move the picture right"
    PAN_UP = "move the picture up"
    PAN_DOWN = "move the picture down"
    AIM = "a cursor that the arrows move, with Shift far; Space clicks there"
    FIT = "show the whole picture"
    ONE_TO_ONE = "one picture pixel on one screen pixel"
    NEARER = "zoom in at the cursor"
    FARTHER = "zoom out at the cursor"
    BRIGHTER = "lift a dark mouth: three steps, then as stored"
    DEPTH = "depth over the picture, in mm at the cursor and along its column"
    GHOSTS = "the solved model's corners: before, before and after, off"
    OUTLINE = "outlines of the solved mouth, before and after the move"
    SHADED = "the solved mouth itself: before, after, off"
    BLINK = "blink between photograph, before and after"
    WIPE = "wipe at the pointer: before and after, photograph and after, off"
    OTHER_VIEW = "the other picture of a stereo pair"
    SAVE = "save now (each change is saved anyway)"
    NEXT_FRAME = "next frame"
    PREVIOUS_FRAME = "previous frame"
    LIST = "all frames: what is clicked and what was said; Enter opens one"
    HELP = "this sheet; a second time turns its page"
    LEAVE = "close a sheet"
    CLOSE = "close; asks first where clicks are not on disk"


@dataclass(frozen=True, slots=True)
class Binding:
    """Some keys and what they do; ``shown`` is how the help sheet writes the keys."""

    keys: tuple[str, ...]
    action: Action
    shown: str


BINDINGS = (
    Binding(("left",), Action.LEFT, ""),
    Binding(("right",), Action.RIGHT, ""),
    Binding(("up",), Action.UP, ""),
    Binding(("down",), Action.DOWN, ""),
    Binding(("shift+left",), Action.FAR_LEFT, ""),
    Binding(("shift+right",), Action.FAR_RIGHT, ""),
    Binding(("shift+up",), Action.FAR_UP, ""),
    Binding(("shift+down",), Action.FAR_DOWN, ""),
    Binding(("z", "ctrl+z", "cmd+z"), Action.UNDO, "Z"),
    Binding(("y", "ctrl+y", "ctrl+shift+z", "cmd+shift+z"), Action.REDO, "Y"),
    Binding(("s",), Action.SEEN, "S"),
    Binding(("u",), Action.UNSURE, "U"),
    Binding(("c",), Action.COVERED, "C"),
    Binding(("h",), Action.HIDDEN, "H"),
    Binding(("delete", "backspace"), Action.REMOVE, "Del"),
    Binding((" ", "space", "enter"), Action.PLACE, "Space"),
    Binding(("n", "tab"), Action.NEXT, "N"),
    Binding(("p", "shift+tab"), Action.BACK, "P"),
    Binding(("e",), Action.SNAP, "E"),
    Binding(("m",), Action.MOUTH, "M"),
    Binding(("ctrl+left", "4"), Action.PAN_LEFT, ""),
    Binding(("ctrl+right", "6"), Action.PAN_RIGHT, ""),
    Binding(("ctrl+up", "8"), Action.PAN_UP, ""),
    Binding(("ctrl+down", "2"), Action.PAN_DOWN, ""),
    Binding(("a",), Action.AIM, "A"),
    Binding(("f",), Action.FIT, "F"),
    Binding(("1",), Action.ONE_TO_ONE, "1"),
    Binding(("+", "="), Action.NEARER, "+"),
    Binding(("-",), Action.FARTHER, "-"),
    Binding(("b",), Action.BRIGHTER, "B"),
    Binding(("d",), Action.DEPTH, "D"),
    Binding(("g",), Action.GHOSTS, "G"),
    Binding(("o",), Action.OUTLINE, "O"),
    Binding(("t",), Action.SHADED, "T"),
    Binding(("k",), Action.BLINK, "K"),
    Binding(("w",), Action.WIPE, "W"),
    Binding(("v",), Action.OTHER_VIEW, "V"),
    Binding(("ctrl+s", "cmd+s"), Action.SAVE, "Ctrl+S"),
    Binding(("pagedown", "."), Action.NEXT_FRAME, "PgDn ."),
    Binding(("pageup", ","), Action.PREVIOUS_FRAME, "PgUp ,"),
    Binding(("l",), Action.LIST, "L"),
    Binding(("?", "f1"), Action.HELP, "?"),
    Binding(("escape",), Action.LEAVE, "Esc"),
    Binding(("q", "ctrl+w", "cmd+w"), Action.CLOSE, "Q"),
)
_BY_KEY = {key: binding.action for binding in BINDINGS for key in binding.keys}

POINTER_HELP = (
    ("click", "set the corner asked for; keep pressed and pull to place it"),
    ("click on a mark", "take hold of it: pull it, or move it with the arrows"),
    ("arrows", "move the ringed mark by 0.1 picture pixel; with Shift by 1"),
    ("wheel", "zoom; the place under the cursor stays there"),
    ("right, middle or Shift drag", "move the picture"),
    ("Ctrl+arrows, or 4 6 8 2", "move the picture without a pointer"),
    ("click in the drawing", "ask for that corner"),
)

NUDGES = {
    Action.LEFT: (-0.1, 0.0),
    Action.RIGHT: (0.1, 0.0),
    Action.UP: (0.0, -0.1),
    Action.DOWN: (0.0, 0.1),
    Action.FAR_LEFT: (-1.0, 0.0),
    Action.FAR_RIGHT: (1.0, 0.0),
    Action.FAR_UP: (0.0, -1.0),
    Action.FAR_DOWN: (0.0, 1.0),
}
"""Picture pixels a press of an arrow moves a mark by."""


PANS = {
    Action.PAN_LEFT: (-1, 0),
    Action.PAN_RIGHT: (1, 0),
    Action.PAN_UP: (0, -1),
    Action.PAN_DOWN: (0, 1),
}
"""Which way the picture goes."""


def action_of(key: str | None) -> Action | None:
    """Give what a key asks for; None for other keys.

    Caps lock and a reported Shift make no difference for letters.

    Examples
    --------
    >>> [action_of(key).name for key in ("Z", "shift+?", "shift+left")], action_of("x")
    (['UNDO', 'HELP', 'FAR_LEFT'], None)
    """
    if key is None:
        return None
    if len(key) == 1:
        key = key.lower()
    found = _BY_KEY.get(key)
    if found is None and key.startswith("shift+") and len(key) == len("shift+") + 1:
        found = _BY_KEY.get(key[-1].lower())
    if found is None and key.startswith(("ctrl+", "cmd+")) and key[-1].isupper() and key[-2] == "+":
        # with Shift held some toolkits report ctrl+Z, others ctrl+shift+z
        found = _BY_KEY.get(f"{key[:-1]}shift+{key[-1].lower()}") or _BY_KEY.get(key.lower())
    return found


def help_rows() -> tuple[tuple[str, str], ...]:
    """Give the help sheet's rows: keys or mouse action, and what it does."""
    return POINTER_HELP + tuple((b.shown, b.action.value) for b in BINDINGS if b.shown)
