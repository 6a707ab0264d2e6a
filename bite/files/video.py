"""Videos as OpenCV reads them: frames one by one, the middle entered only where it is proved right."""

from __future__ import annotations

import os
import zlib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bite.errors import InputError
from bite.files.image import LARGEST_PIXELS
from bite.files.quiet import quiet_opencv

MEND_TAKE = "name a video that OpenCV reads, or a folder of PNG, JPEG or TIFF pictures"
_MARK_EVERY = 37
"""A grid of every so many pixels tells frames apart and costs next to nothing (our choice)."""


def mark_of(image: NDArray[np.uint8]) -> int:
    """Give a number that tells a frame from others: a check sum of some of its pixels."""
    return zlib.crc32(image[::_MARK_EVERY, ::_MARK_EVERY].tobytes())


class Video:
    """An open video, RGB frames one after the other.

    Raises
    ------
    InputError
        When it cannot be opened.
    """

    def __init__(self, path: Path) -> None:
        # ffmpeg's own threads write when it suits them: not only while a frame is asked for
        os.environ.setdefault("OPENCV_FFMPEG_LOGLEVEL", "-8")
        import cv2

        self._cv2, self._path = cv2, path
        self._ready: NDArray[np.uint8] | None = None
        self._open()

    def _open(self) -> None:
        with quiet_opencv(self._cv2):
            self._source: Any = self._cv2.VideoCapture(str(self._path))
        if not self._source.isOpened():
            raise InputError(self._path, "", "cannot be read as a video", MEND_TAKE)
        stated = self._source.get(self._cv2.CAP_PROP_FRAME_COUNT)
        self.count = int(stated) if 0 < stated < 1e9 else 0

    def next(self, *, wanted: bool) -> NDArray[np.uint8] | None:
        """Give the next frame; None at the end, or where decoding fails. Unwanted ones are skipped over."""
        cv2, ready = self._cv2, self._ready
        self._ready = None
        if ready is not None:
            return ready
        with quiet_opencv(cv2):
            try:
                if not wanted:
                    return np.zeros((1, 1, 3), np.uint8) if self._source.grab() else None
                came, image = self._source.read()
            except (cv2.error, MemoryError):
                return None
        if not came or image is None or image.dtype != np.uint8 or image.size > 3 * LARGEST_PIXELS:
            return None
        if image.ndim == 2:
            image = np.repeat(image[..., None], 3, axis=2)
        return np.ascontiguousarray(image[:, :, 2::-1])

    def enter(self, start: int, marks: Sequence[int]) -> bool:
        """Go to a frame by its number; False, at the start again, where another frame would come."""
        cv2 = self._cv2
        if start >= len(marks):
            return False
        with quiet_opencv(cv2):
            self._source.set(cv2.CAP_PROP_POS_FRAMES, float(start))
        image = self.next(wanted=True)
        if image is not None and mark_of(image) == marks[start]:
            self._ready = image
            return True
        self.close()
        self._open()
        return False

    def close(self) -> None:
        """Let the file go."""
        with quiet_opencv(self._cv2):
            self._source.release()
