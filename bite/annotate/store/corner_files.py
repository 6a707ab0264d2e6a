"""Corner files on disk while somebody clicks: saved after each change, never over what was not read.

A save is one atomic replacement, so that a crash at any instant leaves the last complete file or the one
before. A file that cannot be read is set aside under a number, and so is one that another program changed
meanwhile.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from bite.annotate.state.clicks import ViewClicks, clicks_of_file
from bite.annotate.store.kept_beside import Kept, keep_beside, kept_copies
from bite.errors import InputError
from bite.files.atomic import write_bytes
from bite.files.corners import Corners, read_corners, write_corners
from bite.files.source import is_file

_MOST_ASIDE = 1000
"""Damaged files kept beside one picture: more are a fault of another kind (our choice)."""


@dataclass(frozen=True, slots=True)
class SaveStatus:
    """Whether all that was clicked is on disk.

    Parameters
    ----------
    saved : bool
    at : str, when the file was last written, empty when not yet in this sitting
    why_not : str, the reason while it is not saved
    new_trouble : bool, the reason differs from the one told before: say it once
    """

    saved: bool
    at: str = ""
    why_not: str = ""
    new_trouble: bool = False


class CornerStore:
    """The corner file of one picture.

    Parameters
    ----------
    path : Path, the corner file
    image_file : str, the picture's name as the file is to state it
    width_px, height_px : int
    annotator : str
    now : function that gives the time of a save
    first_saved : function called once, after the first save that made the file
    """

    def __init__(
        self,
        path: Path,
        *,
        image_file: str,
        width_px: int,
        height_px: int,
        annotator: str,
        now: Callable[[], datetime],
        first_saved: Callable[[], None] | None = None,
    ) -> None:
        self.path = path
        self._image_file, self._width_px, self._height_px = image_file, width_px, height_px
        self._annotator, self._now, self._first_saved = annotator, now, first_saved
        self._known: str | None = None
        self.status = SaveStatus(True)
        self.set_aside: list[Path] = []

    def load(self) -> ViewClicks:
        """Read what was clicked before; a damaged file is set aside under a number.

        Raises
        ------
        InputError
            When the file belongs to another picture, cannot be opened at all, or cannot be set aside.
        """
        # a link to nowhere is no file either: the first save writes through it
        if not os.path.exists(self.path):
            return ViewClicks()
        self._known = self._on_disk()
        try:
            corners = read_corners(self.path)
        except InputError:
            if self._known is None:
                raise
            try:
                self._put_aside()
            except OSError as error:
                what = f"damaged, and cannot be set aside ({error.strerror})"
                raise InputError(self.path, "", what, "move it away, then try again") from None
            self._known = None
            return ViewClicks()
        self._check_picture(corners)
        return clicks_of_file(corners)

    def save(self, clicks: ViewClicks) -> SaveStatus:
        """Write the clicks; a failure is a status, not an exception: the window stays open and says it."""
        if self._known is None and not clicks.done and not os.path.exists(self.path):
            self.status = SaveStatus(True)
            return self.status
        stamp = self._now()
        try:
            found = self._on_disk()
            if found is not None and found != self._known:
                self._put_aside(keep=True)
            write_corners(self.path, self.corners(clicks, stamp))
            self._known = self._on_disk()
        except (InputError, OSError) as error:
            reason = str(error)
            self.status = SaveStatus(False, self.status.at, reason, reason != self.status.why_not)
            return self.status
        self.status = SaveStatus(True, stamp.astimezone().strftime("%H:%M:%S"))
        if self._first_saved is not None:
            told, self._first_saved = self._first_saved, None
            told()
        return self.status

    def save_beside(self, clicks: ViewClicks) -> Path | None:
        """Write clicks that cannot go where they belong under another name; None where nothing takes them."""
        return keep_beside(self.path, self.corners(clicks, self._now()))

    def kept(self, clicks: ViewClicks) -> tuple[Kept, ...]:
        """Find clicks of this picture under other names that are not the present ones, the latest first."""
        found = kept_copies(self.path, lambda corners: not self._other_picture(corners))
        return tuple(kept for kept in found if kept.clicks != clicks)

    def corners(self, clicks: ViewClicks, stamp: datetime) -> Corners:
        """Give the clicks as the content of the file."""
        return Corners(
            self.path,
            self._image_file,
            self._width_px,
            self._height_px,
            clicks.points,
            clicks.landmarks,
            self._annotator,
            stamp.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
        )

    def _other_picture(self, corners: Corners) -> str:
        """Name the picture that corners were clicked in where it is another one."""
        stated = corners.image_file.replace("\\", "/").rsplit("/", 1)[-1]
        same = stated == self._image_file and (corners.width_px, corners.height_px) == (
            self._width_px,
            self._height_px,
        )
        return "" if same else f"{stated} {corners.width_px} x {corners.height_px}"

    def _check_picture(self, corners: Corners) -> None:
        if other := self._other_picture(corners):
            raise InputError(
                self.path,
                "image",
                f"clicked in {other}, "
                f"but the view's picture is {self._image_file} {self._width_px} x {self._height_px}",
                "name this picture's own corner file in the frame, or move the other one away",
            )

    def _on_disk(self) -> str | None:
        """Give the hash of the file as it is now; None where it cannot be read, or is a pipe."""
        if not is_file(self.path):  # to open a pipe is to wait, and a device may never end
            return None
        try:
            return hashlib.sha256(self.path.read_bytes()).hexdigest()
        except OSError:
            return None

    def _put_aside(self, *, keep: bool = False) -> None:
        """Give the file a name with a number; take the first name away unless it is replaced at once."""
        for number in range(1, _MOST_ASIDE):
            aside = self.path.with_name(f"{self.path.name}.aside-{number}")
            try:
                # a hard link fails where the name is taken, a rename would replace it
                os.link(self.path, aside)
            except FileExistsError:
                continue
            except OSError:  # file systems without links
                if aside.exists():
                    continue
                write_bytes(aside, self.path.read_bytes())
            if not keep:
                self.path.unlink()
            self.set_aside.append(aside)
            return
        what = f"{_MOST_ASIDE - 1} files were set aside already"
        raise InputError(self.path, "", what, "tidy the folder up first")
