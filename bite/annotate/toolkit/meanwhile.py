"""What hands did while a frame was being read: keys wait for it, clicks were meant for another picture."""

from __future__ import annotations

from collections import deque
from typing import Any

from bite.annotate.state.keys import Action, action_of

_STEPS = {Action.NEXT_FRAME: 1, Action.PREVIOUS_FRAME: -1}


class Meanwhile:
    """Keys in the order in which they were typed, and how many clicks there were.

    Examples
    --------
    >>> from types import SimpleNamespace as Event
    >>> hands = Meanwhile()
    >>> for key in ("pagedown", "pagedown", "h"):
    ...     hands.note(Event(name="key_press_event", key=key))
    >>> hands.frame_steps(), hands.next_action(), hands.next_action()
    (2, <Action.HIDDEN: 'the corner asked for cannot be seen: go on'>, None)
    """

    def __init__(self) -> None:
        self._waiting: deque[Action] = deque()
        self._clicks = 0

    def note(self, event: Any) -> None:
        """Take note of an event; moves of the pointer are forgotten."""
        if event.name == "key_press_event":
            action = action_of(event.key)
            if action is not None:
                self._waiting.append(action)
        elif event.name == "button_press_event":
            self._clicks += 1

    def frame_steps(self) -> int:
        """Take the keys for other frames off the front, as one step: no frame between is read for nothing."""
        steps = 0
        while self._waiting and self._waiting[0] in _STEPS:
            steps += _STEPS[self._waiting.popleft()]
        return steps

    def next_action(self) -> Action | None:
        """Take the next key off the front."""
        return self._waiting.popleft() if self._waiting else None

    def lost_clicks(self) -> str:
        """Say that clicks were not taken, once."""
        count, self._clicks = self._clicks, 0
        if not count:
            return ""
        clicks = "a click" if count == 1 else f"{count} clicks"
        return f"{clicks} made while this frame was being read {'was' if count == 1 else 'were'} not taken"
