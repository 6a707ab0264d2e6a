"""Undo and redo without limit, over values that are never changed in place."""

from __future__ import annotations

from typing import Generic, TypeVar

Value = TypeVar("Value")


class History(Generic[Value]):
    """A present value with all that came before and all that was undone.

    Examples
    --------
    >>> history = History("a"); history.step("write b", "b"); history.amend("B")
    >>> history.undo(), history.present, history.redo(), history.present
    ('write b', 'a', 'write b', 'B')
    """

    def __init__(self, start: Value) -> None:
        self._past: list[tuple[str, Value]] = []
        self._future: list[tuple[str, Value]] = []
        self.present = start

    def step(self, told: str, value: Value) -> None:
        """Make a new present; what was undone before is then gone."""
        self._past.append((told, self.present))
        self._future.clear()
        self.present = value

    def amend(self, value: Value) -> None:
        """Change the latest step without adding one: the middle of a drag."""
        self.present = value

    def undo(self) -> str | None:
        """Go one step back and say which; None at the start."""
        if not self._past:
            return None
        told, before = self._past.pop()
        self._future.append((told, self.present))
        self.present = before
        return told

    def redo(self) -> str | None:
        """Go one step forward again and say which; None where nothing was undone."""
        if not self._future:
            return None
        told, after = self._future.pop()
        self._past.append((told, self.present))
        self.present = after
        return told

    @property
    def depth(self) -> tuple[int, int]:
        """How many steps can be undone and redone."""
        return len(self._past), len(self._future)
