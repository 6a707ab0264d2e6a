"""Clicks of an earlier sitting that were kept under other names: offered, taken, or put away."""

from __future__ import annotations

from collections.abc import Sequence

from bite.annotate.state.clicks import Clicks
from bite.annotate.state.frames import clicked_told
from bite.annotate.store.corner_files import CornerStore
from bite.annotate.store.kept_beside import Kept, put_away


class Offer:
    """The latest kept clicks of each of a frame's pictures.

    Parameters
    ----------
    stores : sequence of CornerStore, one a view
    start : Clicks, what the corner files hold
    """

    def __init__(self, stores: Sequence[CornerStore], start: Clicks) -> None:
        found = [store.kept(own) for store, own in zip(stores, start, strict=True)]
        self._latest: tuple[Kept | None, ...] = tuple(kept[0] if kept else None for kept in found)

    def __bool__(self) -> bool:
        return any(kept is not None for kept in self._latest)

    def rows(self) -> tuple[tuple[str, str, str], ...]:
        """Give file name, what is clicked and when it was written, one a picture that has any."""
        return tuple(
            (kept.path.name, clicked_told((kept.clicks,)), kept.saved)
            for kept in self._latest
            if kept is not None
        )

    def over(self, clicks: Clicks) -> Clicks:
        """Give the kept clicks in place of the present ones, in the pictures that have any."""
        pairs = zip(self._latest, clicks, strict=True)
        return tuple(own if kept is None else kept.clicks for kept, own in pairs)

    def put_away(self) -> list[str]:
        """Give the copies names that are not looked for again; say in a sentence each which."""
        told = []
        for kept in self._latest:
            if kept is None:
                continue
            away = put_away(kept)
            told.append(
                f"{kept.path.name} cannot be renamed: it will be offered again"
                if away is None
                else f"{kept.path.name} is called {away.name} now"
            )
        self._latest = (None,) * len(self._latest)
        return told
