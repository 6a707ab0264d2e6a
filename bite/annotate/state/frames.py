"""How a sitting over many frames stands: for each frame what is clicked, and what was said of it."""

from __future__ import annotations

from dataclasses import dataclass

from bite.annotate.state.clicks import Clicks
from bite.annotate.state.order import is_needed
from bite.geometry.teeth import DISTAL_CORNERS


@dataclass(frozen=True, slots=True)
class FrameStand:
    """One frame's line in the list.

    Parameters
    ----------
    name : str
    clicked : str, what is clicked, in words
    verdict : str, what the check last said of these clicks; empty where it has not
    done : bool, the four outer corners are dealt with in every picture
    """

    name: str
    clicked: str
    verdict: str
    done: bool


@dataclass(frozen=True, slots=True)
class Frames:
    """All frames of a sitting, and which of them is on the bench."""

    stands: tuple[FrameStand, ...]
    at: int

    @property
    def several(self) -> bool:
        """Whether there is another frame to go to."""
        return len(self.stands) > 1

    @property
    def progress(self) -> str:
        """Where the sitting stands, in one line."""
        done = sum(stand.done for stand in self.stands)
        return f"frame {self.at + 1} of {len(self.stands)}, {done} clicked"

    @property
    def next_undone(self) -> int | None:
        """The next frame that is not done, round the end; None where all others are."""
        count = len(self.stands)
        order = [(self.at + step) % count for step in range(1, count)]
        return next((index for index in order if not self.stands[index].done), None)

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Give the list's rows: number and name, state and verdict."""
        return tuple(
            (f"{number}  {stand.name}", f"{stand.clicked}, {stand.verdict or 'not checked yet'}")
            for number, stand in enumerate(self.stands, 1)
        )


def clicked_told(clicks: Clicks) -> str:
    """Say how much of the four outer corners of every picture is dealt with.

    Examples
    --------
    >>> from bite.annotate.state.clicks import ViewClicks
    >>> clicked_told((ViewClicks(),)), is_done((ViewClicks(),))
    ('nothing clicked', False)
    """
    done = sum(is_needed(name) for view in clicks for name in view.done)
    if not any(view.done for view in clicks):
        return "nothing clicked"
    return f"{done} of {len(DISTAL_CORNERS) * len(clicks)} corners"


def is_done(clicks: Clicks) -> bool:
    """Tell whether the four outer corners are dealt with in every picture."""
    return all(set(DISTAL_CORNERS) <= view.done for view in clicks)
