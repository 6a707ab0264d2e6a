"""The picture at several sizes, laid over the screen by one affine map at any zoom in a few milliseconds."""

from __future__ import annotations

from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from bite.annotate.drawing.lettering import Pixels
from bite.annotate.state.view import Area, ViewTransform

SURROUND = (52, 52, 54)
"""Grey around the picture."""


class Lift(IntEnum):
    """How a dark mouth is brightened on the screen; the picture itself stays as it is."""

    NONE = 0
    BRIGHTER = 1
    BRIGHTEST = 2
    STRETCHED = 3


LIFT_WORDS = {
    Lift.NONE: "",
    Lift.BRIGHTER: "shown brighter",
    Lift.BRIGHTEST: "shown much brighter",
    Lift.STRETCHED: "contrast stretched to what is in sight",
}


class Pyramid:
    """A picture and its halves, with the fourth channel that the screen wants.

    Parameters
    ----------
    image : array, shape (height, width, 3) or (height, width, 4), uint8
    """

    def __init__(self, image: NDArray[np.uint8]) -> None:
        import cv2

        self.height_px, self.width_px = image.shape[:2]
        level: Pixels = (
            np.dstack([image, np.full(image.shape[:2], 255, np.uint8)]) if image.shape[2] == 3 else image
        )
        self.levels: list[Pixels] = [level]
        while max(level.shape[:2]) > 256:
            half = (max(1, (level.shape[1] + 1) // 2), max(1, (level.shape[0] + 1) // 2))
            level = np.asarray(cv2.resize(level, half, interpolation=cv2.INTER_AREA), np.uint8)
            self.levels.append(level)

    def lay(self, target: Pixels, view: ViewTransform, area: Area, *, smooth: bool = False) -> None:
        """Draw the picture into an area of the screen.

        Parameters
        ----------
        target : array, shape (area height, area width, 4)
        view : ViewTransform, of the whole screen
        area : Area, the part of the screen that ``target`` is
        smooth : bool
            Cubic between pixels, for the loupe; linear otherwise.
        """
        import cv2

        level = self._level_for(view.scale)
        pixels = self.levels[level]
        along_x, along_y = pixels.shape[1] / self.width_px, pixels.shape[0] / self.height_px
        # centres of pixels are whole numbers on every level: p = (p_level + 0.5) / ratio - 0.5
        map_ = np.array(
            [
                [view.scale / along_x, 0.0, view.scale * (0.5 / along_x - 0.5) + view.shift_x - area.left],
                [0.0, view.scale / along_y, view.scale * (0.5 / along_y - 0.5) + view.shift_y - area.top],
            ]
        )
        cv2.warpAffine(
            pixels,
            map_,
            (area.width, area.height),
            dst=target,
            flags=cv2.INTER_CUBIC if smooth else cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_CONSTANT,
            borderValue=(*SURROUND, 255),
        )

    def _level_for(self, scale: float) -> int:
        # a level is fine enough while one of its pixels covers at most one on the screen, with a little slack
        level = int(np.floor(np.log2(1.0 / scale) + 0.15)) if scale < 1.0 else 0
        return min(max(level, 0), len(self.levels) - 1)


def lift_table(lift: Lift, shown: Pixels) -> NDArray[np.uint8] | None:
    """Give the brightness table for what is in sight, shape (256,); None to leave it.

    Parameters
    ----------
    lift : Lift
    shown : array, shape (height, width, 4): the screen as laid, for the stretched one
    """
    stored = np.arange(256) / 255.0
    if lift is Lift.NONE:
        return None
    if lift is Lift.STRETCHED:
        some = shown[::4, ::4, :3].reshape(-1, 3)
        bright = some[~(some == SURROUND).all(1)] @ np.array([0.2126, 0.7152, 0.0722])
        low, high = np.percentile(bright, [1.0, 99.0]) / 255.0 if bright.size else (0.0, 1.0)
        table = np.clip((stored - low) / max(high - low, 0.02), 0.0, 1.0) ** 0.8
    else:
        table = stored ** (0.6 if lift is Lift.BRIGHTER else 0.35)
    return np.asarray(np.round(table * 255), np.uint8)


def lift_in_place(target: Pixels, table: NDArray[np.uint8] | None) -> None:
    """Apply a brightness table to a part of the screen."""
    import cv2

    if table is not None:
        four = np.stack([table, table, table, np.full(256, 255, np.uint8)], 1)[None]
        cv2.LUT(target, four, dst=target)
