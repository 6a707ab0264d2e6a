"""A take: a video, or a folder of pictures with or without depth maps; read frame by frame."""

from __future__ import annotations

import os
import re
import stat
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from bite.errors import InputError
from bite.files.image import read_image
from bite.files.picture_header import picture_kind, read_header
from bite.files.source import is_file, is_folder, read_bytes
from bite.files.video import MEND_TAKE, Video, mark_of

PICTURES = (".png", ".jpg", ".jpeg", ".tif", ".tiff")
DEPTHS = (".png", ".tif", ".tiff", ".pfm", ".npy", ".exr")
_NOT_OF_THE_TAKE = (".depth", ".choose", ".before-after", ".opinion")
_MOST_PICTURES = 100_000
"""An hour at 28 frames a second; no take of a bite is longer."""


class TakeKind(StrEnum):
    """What a take is on disk."""

    VIDEO = "video"
    PICTURES = "folder of pictures"


@dataclass(frozen=True, slots=True)
class TakePicture:
    """One frame: RGB picture, shape (height, width, 3), and where it lies; ``mark`` tells it from others."""

    number: int
    name: str
    image: NDArray[np.uint8]
    path: Path | None
    depth_path: Path | None
    mark: int


@dataclass(frozen=True, slots=True)
class Unreadable:
    """A frame, or the rest of a video, that cannot be read; ``why`` is one line."""

    number: int
    name: str
    why: str


@dataclass(frozen=True, slots=True)
class Take:
    """A take on disk.

    Parameters
    ----------
    path : Path
    name : str, the file's or folder's own, without ending
    kind : TakeKind
    count : int, frames; of a video what its header states, 0 where it states nothing
    width_px, height_px : int, of most of its frames
    pictures : tuple of Path, in order; empty for a video
    bad : mapping from frame number to the line that says what is wrong with it, for pictures
    """

    path: Path
    name: str
    kind: TakeKind
    count: int
    width_px: int
    height_px: int
    pictures: tuple[Path, ...]
    bad: tuple[tuple[int, str], ...]

    def read(
        self, start: int = 0, stop: int | None = None, marks: Sequence[int] = ()
    ) -> Iterator[TakePicture | Unreadable]:
        """Read frames one by one, those that cannot be read as ``Unreadable``.

        Parameters
        ----------
        start, stop : int, frame numbers from 0, the last one left out
        marks : sequence of int
            Marks of the frames as they were read before, by number. A video is entered in its middle only
            where they prove that the right frame came; else it is read through from its start.
        """
        if self.kind is TakeKind.PICTURES:
            yield from self._read_pictures(start, stop)
        else:
            yield from self._read_video(start, stop, marks)

    def frame_name(self, number: int) -> str:
        """Name a frame: its file, or the take and the number, as its still is called."""
        return self.pictures[number].name if self.pictures else f"{self.name}-f{number:05d}"

    def number_of(self, file_name: str) -> int | None:
        """Give the number of a frame by its picture's or still's file name; None where there is none."""
        names = [path.name for path in self.pictures]
        if file_name in names:
            return names.index(file_name)
        found = re.fullmatch(re.escape(self.name) + r"-f(\d{5,9})(\.png)?", file_name)
        return int(found[1]) if found and not self.pictures else None

    def _read_pictures(self, start: int, stop: int | None) -> Iterator[TakePicture | Unreadable]:
        bad = dict(self.bad)
        for number, path in list(enumerate(self.pictures))[start:stop]:
            if number in bad:
                yield Unreadable(number, path.name, bad[number])
                continue
            try:
                image = read_image(path)
            except InputError as error:
                yield Unreadable(number, path.name, str(error))
                continue
            yield TakePicture(number, path.name, image, path, depth_beside(path), mark_of(image))

    def _read_video(
        self, start: int, stop: int | None, marks: Sequence[int]
    ) -> Iterator[TakePicture | Unreadable]:
        with closing(Video(self.path)) as video:
            number = start if start and video.enter(start, marks) else 0
            while stop is None or number < stop:
                image = video.next(wanted=number >= start)
                if image is None:
                    break
                if number >= start:
                    yield TakePicture(number, self.frame_name(number), image, None, None, mark_of(image))
                number += 1
        if stop is None and number < self.count:
            why = f"{self.path}: the video ends after {number} frames, its header states {self.count}"
            yield Unreadable(number, self.frame_name(number), f"{why}; was it cut short?")


def open_take(path: str | Path) -> Take:
    """Look at a take and make sure that it holds a frame.

    Pictures are put in the order of the numbers in their names. Pictures of another size than most, and
    those that cannot be read, are kept as bad frames with the reason.

    Raises
    ------
    InputError
        Where there is nothing, no video that can be read, or no readable picture.
    """
    path = Path(path)
    name = Path(os.path.abspath(path)).name if is_folder(path) else path.stem
    if is_folder(path):
        return _open_folder(path, name)
    data = _first_bytes(path)
    if picture_kind(data) is not None:
        what = "is one picture, needed a take of several"
        raise InputError(path, "", what, f"{MEND_TAKE}; for one picture use bite new")
    with closing(Video(path)) as video:
        first = video.next(wanted=True)
        if first is None:
            raise InputError(path, "", "no frame of it can be read", MEND_TAKE)
        height, width = first.shape[:2]
        return Take(path, name, TakeKind.VIDEO, video.count, width, height, (), ())


def _open_folder(path: Path, name: str) -> Take:
    try:
        found = [p for p in path.iterdir() if p.suffix.lower() in PICTURES and is_file(p)]
    except OSError as error:
        raise InputError(path, "", f"cannot be read ({error.strerror})", "check its permissions") from None
    kept = sorted(
        (p for p in found if not p.stem.endswith(_NOT_OF_THE_TAKE) and p.stem != "depth"),
        key=lambda p: [int(part) if part.isdigit() else part.lower() for part in re.split(r"(\d+)", p.name)],
    )
    if not kept:
        raise InputError(path, "", "holds no picture, needed PNG, JPEG or TIFF files", MEND_TAKE)
    if len(kept) > _MOST_PICTURES:
        raise InputError(path, "", f"holds {len(kept)} pictures", f"at most {_MOST_PICTURES} make a take")
    sizes: dict[int, tuple[int, int]] = {}
    bad: dict[int, str] = {}
    for number, picture in enumerate(kept):
        try:
            header = read_header(picture, read_bytes(picture))
        except InputError as error:
            bad[number] = str(error)
            continue
        turned = header.orientation >= 5
        size = (header.width_px, header.height_px)
        sizes[number] = size[::-1] if turned else size
    if not sizes:
        raise InputError(path, "", f"none of its {len(kept)} pictures can be read", "export the take again")
    width, height = Counter(sizes.values()).most_common(1)[0][0]
    for number, size in sizes.items():
        if size != (width, height):
            bad[number] = (
                f"{kept[number]}: {size[0]} x {size[1]} pixels, most of the take has {width} x {height}; "
                "export the whole take at one size"
            )
    ordered = tuple(sorted(bad.items()))
    return Take(path, name, TakeKind.PICTURES, len(kept), width, height, tuple(kept), ordered)


def _first_bytes(path: Path) -> bytes:
    try:
        if not stat.S_ISREG(os.stat(path).st_mode):  # opening a pipe would wait for a writer
            raise InputError(path, "", "is not a regular file", MEND_TAKE)
        with open(path, "rb") as stream:
            data = stream.read(16)
    except FileNotFoundError:
        raise InputError(path, "", "no such file", "check the name and the folder") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(path, "", f"cannot be read ({reason})", "check its name and permissions") from None
    if not data:
        raise InputError(path, "", "is empty", "export or copy it again")
    return data


def depth_beside(picture: Path) -> Path | None:
    """Give the depth map beside a picture, by its name; None without one."""
    for ending in DEPTHS:
        found = picture.with_name(f"{picture.stem}.depth{ending}")
        if is_file(found):
            return found
    return None
