"""Something slow, made once beside the window: there when it is done, and never waited for."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Generic, TypeVar

Made = TypeVar("Made")


class Later(Generic[Made]):
    """A thing that is being made in a thread of its own.

    Parameters
    ----------
    make : function without arguments; what it raises becomes ``why_not``
    """

    def __init__(self, make: Callable[[], Made]) -> None:
        self._make = make
        self._made: Made | None = None
        self.why_not = ""
        self._finished = threading.Event()
        threading.Thread(target=self._work, name="bite later", daemon=True).start()

    @property
    def finished(self) -> bool:
        """Whether it is done or has failed."""
        return self._finished.is_set()

    @property
    def made(self) -> Made | None:
        """The thing; None until it is done, and where it has failed."""
        return self._made if self.finished else None

    def _work(self) -> None:
        try:
            self._made = self._make()
        except Exception as error:  # the window goes on and says it
            self.why_not = f"{type(error).__name__}: {error}"
        self._finished.set()
