"""What of a frame's clicks is on disk, over all its pictures."""

from __future__ import annotations

from collections.abc import Sequence

from bite.annotate.state.clicks import Clicks
from bite.annotate.store.corner_files import CornerStore, SaveStatus


class Notes:
    """What the person should know for the rest of the sitting, in sentences."""

    def __init__(self) -> None:
        self.lines: tuple[str, ...] = ()

    def add(self, line: str) -> None:
        """Add a sentence."""
        self.lines = (*self.lines, line)


class Saver:
    """Writes the corner files of the views whose clicks changed.

    Parameters
    ----------
    stores : sequence of CornerStore, one a view
    start : Clicks, as read from them
    """

    def __init__(self, stores: Sequence[CornerStore], start: Clicks) -> None:
        self.stores = tuple(stores)
        self._on_disk = start

    def save(self, clicks: Clicks, *, again: bool = False) -> bool:
        """Write what changed or failed before, or everything; tell whether a trouble is new and must be said.

        Parameters
        ----------
        again : bool, write even what is on disk already
        """
        new_trouble = False
        for index, (store, own) in enumerate(zip(self.stores, clicks, strict=True)):
            if own is self._on_disk[index] and store.status.saved and not again:
                continue
            status = store.save(own)
            if status.saved:
                self._on_disk = (*self._on_disk[:index], own, *self._on_disk[index + 1 :])
            new_trouble |= status.new_trouble
        return new_trouble

    def on_disk(self, clicks: Clicks) -> None:
        """Take note that these clicks are what the files hold."""
        self._on_disk = clicks

    def status(self, view: int) -> SaveStatus:
        """Give the status of the first store in trouble, else of the view's own."""
        bad = next((store.status for store in self.stores if not store.status.saved), None)
        return bad or self.stores[view].status

    def save_beside(self, clicks: Clicks) -> list[str]:
        """Write what is not on disk under other names; say in a sentence each where it went."""
        told = []
        for store, own in zip(self.stores, clicks, strict=True):
            if store.status.saved:
                continue
            beside = store.save_beside(own)
            if beside is None:
                told.append(f"{store.path.name}: these clicks could be written nowhere")
            else:
                told.append(f"the clicks for {store.path} are in {beside}: the next opening offers them")
        return told
