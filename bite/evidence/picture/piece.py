"""A piece of a picture, averaged down by whole pixels: a large one holds more than measuring needs."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from bite.evidence.clicks.tooth_row import ToothRow
from bite.evidence.picture.luminance import Picture
from bite.geometry.rigid import Array, frozen


@dataclass(frozen=True, slots=True)
class Piece:
    """Pixels from ``left``, ``top`` on, ``binned`` by ``binned`` of the picture's pixels averaged to one.

    Parameters
    ----------
    image : array, shape (h, w, 3), uint8
    left, top : int, in averaged pixels
    binned : int
    """

    image: Picture
    left: int
    top: int
    binned: int

    def into(self, pixels: Array) -> Array:
        """Turn pixels of the whole picture, shape (n, 2), into pixels of the piece."""
        return np.asarray((pixels + 0.5) / self.binned - 0.5 - (self.left, self.top))

    def back(self, pixels: Array) -> Array:
        """Turn pixels of the piece, shape (n, 2), into pixels of the whole picture."""
        return np.asarray((pixels + (self.left, self.top) + 0.5) * self.binned - 0.5)

    def row(self, row: ToothRow) -> ToothRow:
        """Give a tooth row in pixels of the piece."""
        return replace(
            row,
            upper_edge_px=frozen(self.into(row.upper_edge_px)),
            lower_edge_px=frozen(self.into(row.lower_edge_px)),
            crown_width_px=row.crown_width_px / self.binned,
        )


def piece_of(image: Picture, low_px: Array, high_px: Array, binned: int) -> Piece | None:
    """Cut a piece between two pixels, averaging over whole blocks; None where there is no picture.

    Examples
    --------
    >>> piece = piece_of(np.zeros((40, 60, 3), np.uint8), np.array([10.0, 0.0]), np.array([30.0, 20.0]), 2)
    >>> piece.image.shape, piece.back(piece.into(np.array([[12.0, 7.0]]))).tolist()
    ((10, 10, 3), [[12.0, 7.0]])
    """
    size = np.array([image.shape[1], image.shape[0]])
    low = np.clip(np.floor(low_px), 0, size).astype(int) // binned
    high = np.clip(np.ceil(high_px), 0, size).astype(int) // binned
    if (high - low < 4).any():
        return None
    (left, top), (width, height) = low, high - low
    cut = image[top * binned : (top + height) * binned, left * binned : (left + width) * binned]
    if binned > 1:
        blocks = cut.reshape(height, binned, width, binned, 3)
        total = np.zeros((height, width, 3), dtype=np.uint32)
        for row in range(binned):
            for column in range(binned):
                total += blocks[:, row, :, column]
        cut = np.asarray((total + binned**2 // 2) // binned**2, dtype=np.uint8)
    return Piece(cut, int(left), int(top), binned)
