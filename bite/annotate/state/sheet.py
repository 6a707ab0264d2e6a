"""What lies over the picture for a while: help, the list of frames, the question before leaving."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum

from bite.annotate.state.frames import Frames
from bite.annotate.state.keys import Action, help_rows


class Kind(Enum):
    """Which sheet."""

    HELP = "help"
    FRAMES = "frames"
    LEAVING = "leaving"
    KEPT = "kept"


@dataclass(frozen=True, slots=True)
class Sheet:
    """Rows of text over the picture. Keys that are not its own do nothing while it lies there.

    Parameters
    ----------
    kind : Kind
    title : str
    rows : tuple of (left, right)
    marked : int or None, the row that the arrows have reached
    page : int, counted up without end: the drawing knows how many there are
    """

    kind: Kind
    title: str
    rows: tuple[tuple[str, str], ...]
    marked: int | None = None
    page: int = 0

    def moved(self, step: int) -> Sheet:
        """Mark another row; without a marked row turn the page."""
        if self.marked is None:
            return replace(self, page=max(0, self.page + step))
        return replace(self, marked=min(max(self.marked + step, 0), len(self.rows) - 1))


def help_sheet() -> Sheet:
    """Give the sheet of keys."""
    return Sheet(Kind.HELP, "Keys and mouse (Esc closes)", help_rows())


def frames_sheet(frames: Frames) -> Sheet:
    """Give the list of frames."""
    told = f"{frames.progress}. Enter or a click opens, Esc closes"
    return Sheet(Kind.FRAMES, told, frames.rows(), frames.at)


def leaving_sheet(why_not: str) -> Sheet:
    """Give the question that is asked before clicks are lost."""
    rows = (
        ("Esc", "go on working: nothing is lost while this window is open"),
        ("B", "save these clicks beside the picture under another name, then close"),
        ("Q", "close without them"),
        ("why", why_not),
    )
    return Sheet(Kind.LEAVING, "These clicks are not on disk. Close all the same?", rows)


def kept_sheet(found: Sequence[tuple[str, str, str]], now: str) -> Sheet:
    """Give the question whether clicks that were kept under another name are to be taken.

    Parameters
    ----------
    found : sequence of (file name, what is clicked, when it was written), one a picture
    now : str, what the corner files themselves hold
    """
    what = "; ".join(f"{name}: {clicked}, {saved or 'at a time not told'}" for name, clicked, saved in found)
    rows = (
        ("Enter", "take them in place of what is there now (Z takes that back)"),
        ("Esc", "leave them: asked again next time"),
        ("Del", "put them away: not asked again, and not thrown away"),
        ("kept", what),
        ("now", now),
    )
    return Sheet(Kind.KEPT, "Clicks that could not be saved were kept beside. Take them?", rows)


STEPS = {
    Action.UP: -1,
    Action.LEFT: -1,
    Action.FAR_UP: -10,
    Action.PREVIOUS_FRAME: -10,
    Action.DOWN: 1,
    Action.RIGHT: 1,
    Action.FAR_DOWN: 10,
    Action.NEXT_FRAME: 10,
}
"""Rows that a key moves the mark of a list by: a page of a small window is about ten (our choice)."""
