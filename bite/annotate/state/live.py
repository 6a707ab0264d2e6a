"""The check run in the background while somebody clicks: after a pause, and only for the latest clicks."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass

from bite.annotate.state.answer import Answer
from bite.annotate.state.clicks import Clicks

PAUSE_S = 0.25
"""Seconds without a change before the check starts: a run of arrow presses is one question."""


@dataclass(frozen=True, slots=True)
class Stamped:
    """An answer and the revision of the clicks that it belongs to."""

    revision: int
    answer: Answer


class LiveCheck:
    """One worker thread that always works on the latest question.

    A finished answer is handed over only while its clicks are still the present ones; an older one is
    dropped. A fault in the check is an answer too, and the window goes on.

    Parameters
    ----------
    check : function from clicks to Answer, run in the worker
    pause_s : float, s
    """

    def __init__(self, check: Callable[[Clicks], Answer], *, pause_s: float = PAUSE_S) -> None:
        self._check, self._pause_s = check, pause_s
        self._changed = threading.Condition()
        self._question: tuple[int, Clicks] | None = None
        self._latest = -1
        self._done: Stamped | None = None
        self._closing = False
        self._working = False
        self._thread = threading.Thread(target=self._work, name="bite live check", daemon=True)
        self._thread.start()

    def ask(self, revision: int, clicks: Clicks) -> None:
        """Put a question; an older one that is still waiting is forgotten."""
        with self._changed:
            self._question, self._latest = (revision, clicks), revision
            self._changed.notify_all()

    def take(self) -> Stamped | None:
        """Give a finished answer to the latest question, once; None where there is none yet."""
        with self._changed:
            done, self._done = self._done, None
            return done if done is not None and done.revision == self._latest else None

    @property
    def busy(self) -> bool:
        """Whether the latest question has no answer yet."""
        with self._changed:
            return self._question is not None or self._working

    def close(self) -> None:
        """Let the worker end; an answer under way is dropped."""
        with self._changed:
            self._closing = True
            self._question = None
            self._changed.notify_all()

    def _work(self) -> None:
        while True:
            question = self._wait()
            if question is None:
                return
            revision, clicks = question
            answer = self._answered(clicks)
            with self._changed:
                self._working = False
                if revision == self._latest and not self._closing:
                    self._done = Stamped(revision, answer)

    def _wait(self) -> tuple[int, Clicks] | None:
        """Wait for a question, then until no newer one has come for the length of the pause."""
        with self._changed:
            while not self._closing:
                if self._question is None:
                    self._changed.wait()
                    continue
                asked = self._question
                self._changed.wait(self._pause_s)
                if self._question is asked and not self._closing:
                    self._question, self._working = None, True
                    return asked
            return None

    def _answered(self, clicks: Clicks) -> Answer:
        try:
            return self._check(clicks)
        except Exception as error:
            told = f"{type(error).__name__}: {error}"
            return Answer(
                verdict="no answer",
                headline="the check failed on these clicks; they are saved all the same",
                troubles=(f"please report this fault with the frame: {told}",),
            )
