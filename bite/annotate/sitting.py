"""A sitting over several frames: one on the bench at a time, and nothing lost on the way between them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from bite.annotate.state.clicks import Clicks
from bite.annotate.state.desk import Desk
from bite.annotate.state.frames import Frames, FrameStand, clicked_told, is_done
from bite.annotate.store.corner_files import CornerStore
from bite.annotate.workbench import Workbench
from bite.errors import BiteError


@dataclass(frozen=True, slots=True)
class Visited:
    """What became of a frame that was on the bench: its corner files, its clicks, what is to be told."""

    stores: tuple[CornerStore, ...]
    clicks: Clicks
    notes: tuple[str, ...]


class Sitting:
    """The frames of a sitting.

    Pictures and meshes are held of one frame only; of the others the clicks with their undo steps are kept,
    and taken up again where the disk still holds the same.

    Parameters
    ----------
    paths : sequence of Path, frame files
    open_frame : function from a frame file to a Workbench, raising BiteError
    stand_on_disk : function from a frame file to how it stands on disk

    Raises
    ------
    BiteError
        Where no frame can be opened: the first one's.
    """

    def __init__(
        self,
        paths: Sequence[Path],
        open_frame: Callable[[Path], Workbench],
        stand_on_disk: Callable[[Path], FrameStand],
    ) -> None:
        self._paths, self._open_frame = tuple(paths), open_frame
        self._stands = (
            [stand_on_disk(path) for path in paths]
            if len(self._paths) > 1
            else [FrameStand(paths[0].name, "", "", False)]
        )
        self._desks: dict[int, Desk] = {}
        self.visited: dict[int, Visited] = {}
        self.failed: dict[int, str] = {}
        self._at, self.bench = self._first()
        self._put_on_bench()

    def follow(self) -> bool:
        """Go where the bench was asked to go; tell whether another frame is on it now."""
        wanted, self.bench.wanted = self.bench.wanted, None
        if wanted is None or wanted == self._at:
            return False
        old = self.bench
        old.desk.let_go()
        old.save()
        if not old.save_status.saved:
            old.desk.said = "not saved: this frame stays until its clicks are on disk; Q asks what to do"
            return False
        found = self._opened_from(wanted, 1 if wanted > self._at else -1)
        if found is None:
            old.desk.said = f"cannot be opened: {self.failed[wanted]}"
            return False
        self._leave()
        self._at, self.bench = found
        if self._at != wanted:
            told = f"{self._stands[wanted].name} was passed over: {self.failed[wanted]}"
            self.bench.notes.add(told)
        self._put_on_bench()
        return True

    def refresh(self) -> None:
        """Bring the list up to date with the frame on the bench."""
        bench = self.bench
        answer = bench.answer
        verdict = "" if answer is None or bench.busy else answer.short
        clicks = bench.desk.clicks
        stand = FrameStand(bench.frame.name, clicked_told(clicks), verdict, is_done(clicks))
        if verdict == "" and self._stands[self._at].clicked == stand.clicked and not bench.desk.revision:
            # nothing changed since the verdict that stands on disk
            stand = replace(stand, verdict=self._stands[self._at].verdict)
        if stand != self._stands[self._at] or bench.frames is None:
            self._stands[self._at] = stand
            bench.frames = Frames(tuple(self._stands), self._at)

    def finish(self) -> None:
        """Save the frame on the bench and close it."""
        self._leave()

    def _first(self) -> tuple[int, Workbench]:
        error: BiteError | None = None
        for index, path in enumerate(self._paths):
            try:
                return index, self._open_frame(path)
            except BiteError as found:
                self._note_failure(index, found)
                error = error or found
        assert error is not None
        raise error

    def _opened_from(self, index: int, step: int) -> tuple[int, Workbench] | None:
        """Open a frame, or the nearest one beyond it that can be."""
        while 0 <= index < len(self._paths) and index != self._at:
            try:
                return index, self._open_frame(self._paths[index])
            except BiteError as error:
                self._note_failure(index, error)
            index += step
        return None

    def _note_failure(self, index: int, error: BiteError) -> None:
        self.failed[index] = str(error)
        self._stands[index] = replace(self._stands[index], clicked="cannot be opened", verdict=str(error))

    def _leave(self) -> None:
        bench = self.bench
        bench.finish()
        self.refresh()
        self._desks[self._at] = bench.desk
        self.visited[self._at] = Visited(bench.stores, bench.desk.clicks, bench.notes.lines)

    def _put_on_bench(self) -> None:
        desk = self._desks.get(self._at)
        if desk is not None:
            self.bench.take_over(desk)
        self.failed.pop(self._at, None)
        self.bench.frames = None
        self.refresh()
