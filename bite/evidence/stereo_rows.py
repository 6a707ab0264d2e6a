"""Whether two rectified pictures show the same things in the same rows.

If not, the cameras are not calibrated to each other: one was moved since, or the file belongs to another
set-up.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bite.evidence.stereo_search import stretched
from bite.geometry.rigid import Array

REACH_PX = 16
"""Rows above and below that are searched."""
MOST_OFF_PX = 1.0
"""Matching along rows tolerates this (our choice)."""
LEAST_PLACES = 20
"""Fewer places found again cannot tell a wrong calibration from chance (our choice)."""
PLACES = 160
ALIKE = 0.85
"""Correlation coefficient from which a patch counts as found again (our choice)."""
_HALF_PX = 7
_APART_PX = 9.0
_AGREE_PX = 0.75


@dataclass(frozen=True, slots=True)
class RowsOff:
    """How far the second picture's rows lie from the first's.

    Parameters
    ----------
    off_px : float, median distance of a place found again from its row, px, without sign
    down_px : float, its median with sign, downwards
    places : int, found again
    """

    off_px: float
    down_px: float
    places: int

    @property
    def calibrated(self) -> bool:
        """Whether rows agree, or too little was found to say that they do not."""
        return self.places < LEAST_PLACES or self.off_px <= MOST_OFF_PX


def rows_off(left: Array, right: Array, most_px: float) -> RowsOff:
    """Find well-marked patches of the left picture again in the right one, along and across rows.

    Parameters
    ----------
    left, right : arrays, shape (h, w), grey levels, NaN for nothing seen
    most_px : float, disparities from 0 to this are searched

    Examples
    --------
    >>> from scipy.ndimage import gaussian_filter
    >>> scene = 128.0 + 90.0 * gaussian_filter(np.random.default_rng(3).normal(size=(140, 240)), 2.0)
    >>> found = rows_off(scene[10:130, 20:200], scene[13:133, 27:207], 16.0)
    >>> round(found.down_px), found.calibrated
    (-3, False)
    """
    import cv2

    a, b = stretched(left, right)
    mask = cv2.erode(np.isfinite(left).astype(np.uint8) * 255, np.ones((2 * _HALF_PX + 1,) * 2, np.uint8))
    corners = cv2.goodFeaturesToTrack(a, PLACES, 0.02, _APART_PX, mask=mask)
    found = []
    for x, y in [] if corners is None else np.rint(corners[:, 0]).astype(int):
        patch = a[y - _HALF_PX : y + _HALF_PX + 1, x - _HALF_PX : x + _HALF_PX + 1]
        top, low = max(0, y - _HALF_PX - REACH_PX), max(0, x - _HALF_PX - int(most_px))
        area = b[top : y + _HALF_PX + REACH_PX + 1, low : x + _HALF_PX + 1]
        if patch.shape != (2 * _HALF_PX + 1,) * 2 or area.shape[0] < patch.shape[0]:
            continue
        if area.shape[1] < patch.shape[1]:
            continue
        score = np.asarray(cv2.matchTemplate(area, patch, cv2.TM_CCOEFF_NORMED), np.float64)
        _, best, _, at = cv2.minMaxLoc(score)
        if best >= ALIKE:
            found.append(top + at[1] + _peak(score[:, at[0]], at[1]) - (y - _HALF_PX))
    down = np.array(found)
    if not down.size:
        return RowsOff(0.0, 0.0, 0)
    # places found by chance lie anywhere within reach; those that tell something agree with each other
    middle = float(np.median(down))
    return RowsOff(float(np.median(np.abs(down))), middle, int((np.abs(down - middle) < 4 * _AGREE_PX).sum()))


def _peak(scores: Array, at: int) -> float:
    """Give how far the top of a parabola through three scores lies from the middle one."""
    if not 0 < at < len(scores) - 1:
        return 0.0
    before, here, after = (float(s) for s in scores[at - 1 : at + 2])
    bend = before - 2.0 * here + after
    return 0.5 * (before - after) / bend if bend < 0 else 0.0
