"""A photograph in axes, brought by OpenCV to the very pixels that it takes on paper.

Matplotlib's own resampling goes through floating point and transparency and takes several times as long, for
the same pixels to one level. Imports matplotlib at its top: import it where a figure is drawn.
"""

from __future__ import annotations

import cv2
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backend_bases import RendererBase
from matplotlib.image import AxesImage
from matplotlib.transforms import Affine2D
from numpy.typing import NDArray


class PlacedPicture(AxesImage):
    """A photograph that fills its axes; where the axes reach beyond it, they stay as they are.

    Parameters
    ----------
    axes : Axes, with straight scales
    pixels : array, shape (h, w, 3), uint8, RGB
    extent : left, right, bottom, top of the pixels' outer edges in the data of the axes
    """

    def __init__(
        self, axes: Axes, pixels: NDArray[np.uint8], extent: tuple[float, float, float, float]
    ) -> None:
        super().__init__(axes, extent=extent, interpolation="bilinear")
        self.set_data(pixels)
        self._pixels = cv2.cvtColor(np.ascontiguousarray(pixels), cv2.COLOR_RGB2RGBA)

    def make_image(
        self, renderer: RendererBase, magnification: float = 1.0, unsampled: bool = False
    ) -> tuple[NDArray[np.uint8], float, float, Affine2D]:
        """Give RGBA pixels of paper, the lowest row first, and where their lower left corner lies."""
        if unsampled:
            pixels, left, bottom, moved = super().make_image(renderer, magnification, unsampled)
            return np.asarray(pixels, np.uint8), left, bottom, moved
        paper = np.array(self.axes.bbox.extents) * magnification
        low, high = np.floor(paper[:2] + 0.5), np.floor(paper[2:] + 0.5)
        width, height = (max(1, int(size)) for size in high - low)
        shown = np.array([self.axes.get_xlim(), self.axes.get_ylim()])
        per_paper = (shown[:, 1] - shown[:, 0]) / (paper[2:] - paper[:2])
        at_first = shown[:, 0] + (low + 0.5 - paper[:2]) * per_paper
        left, right, bottom, top = self.get_extent()
        rows, columns = self._pixels.shape[:2]
        per_data = np.array([columns / (right - left), rows / (bottom - top)])
        # pixel of the picture = first + scale * pixel of paper
        scale, first = per_data * per_paper, per_data * (at_first - (left, top)) - 0.5
        pixels = cv2.warpAffine(
            self._pixels,
            np.column_stack([np.diag(scale), first]),
            (width, height),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        )
        for axis, (count, size) in enumerate(((width, columns), (height, rows))):
            at = first[axis] + scale[axis] * np.arange(count)
            beyond = (at < -0.5) | (at > size - 0.5)
            np.moveaxis(pixels, 1 - axis, 0)[beyond, :, 3] = 0
        pixels = np.asarray(pixels, np.uint8)
        return pixels, float(low[0] / magnification), float(low[1] / magnification), Affine2D()
