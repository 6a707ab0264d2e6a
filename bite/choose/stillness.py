"""How far a picture moved since its neighbour, where nobody has clicked yet: flow of strong features."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bite.choose.row_match import FORWARD_BACKWARD_PX

WORKING_PX = 480
"""The longer side that flow is measured on; answers are in pixels of the picture."""
_FEATURES, _LEAST = 120, 8
"""So many strong features tell a head's motion, and fewer than eight do not (our choice)."""
_QUANTILE = 0.9
"""A tenth of the tracks may have slipped (our choice)."""


def small_grey(grey: NDArray[np.uint8]) -> tuple[NDArray[np.uint8], float]:
    """Shrink a grey picture for flow; give it and how many of its pixels one of the small one stands for."""
    import cv2

    scale = max(1.0, max(grey.shape) / WORKING_PX)
    if scale == 1.0:
        return grey, 1.0
    size = (round(grey.shape[1] / scale), round(grey.shape[0] / scale))
    return np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_AREA), dtype=np.uint8), scale


def motion_between(before: NDArray[np.uint8], after: NDArray[np.uint8]) -> float | None:
    """Give how far what moves has moved from one small picture to the next, small px.

    The ninth tenth of the features' ways: most of a picture may be a wall behind a moving head.

    Parameters
    ----------
    before, after : array, shape (h, w), uint8, of one size

    Returns
    -------
    float, or None with fewer than eight features that come back to within 0.5 px
    """
    import cv2

    found = cv2.goodFeaturesToTrack(before, _FEATURES, 0.02, 6.0)
    if found is None or before.shape != after.shape:
        return None
    side = (15, 15)
    there, went, _ = cv2.calcOpticalFlowPyrLK(before, after, found, found.copy(), winSize=side, maxLevel=3)
    back, came, _ = cv2.calcOpticalFlowPyrLK(after, before, there, found.copy(), winSize=side, maxLevel=3)
    off = np.hypot(*(back - found).reshape(-1, 2).T)
    good = (went.ravel() == 1) & (came.ravel() == 1) & (off <= FORWARD_BACKWARD_PX)
    if int(good.sum()) < _LEAST:
        return None
    ways = np.hypot(*(there - found).reshape(-1, 2)[good].T)
    return float(np.quantile(ways, _QUANTILE))
