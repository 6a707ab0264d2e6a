"""Whether two rectified pictures show the same things in the same rows.

If not, the cameras are not calibrated to each other: one was moved since, or the file belongs to another
set-up.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.evidence.stereo.search import stretched
from bite.geometry.rigid import Array

REACH_PX = 16
"""Rows above and below that are searched."""
MOST_OFF_PX = 1.0
"""Matching along rows tolerates this (our choice)."""
LEAST_PLACES = 20
"""Fewer places found again cannot tell a wrong calibration from chance (our choice)."""
PLACES = 160
"""So many places tell a line of row differences though many be wrong (our choice)."""
ALIKE = 0.85
"""Correlation coefficient from which a patch counts as found again (our choice)."""
ALONE = 0.1
"""By so much a place must fit better than anywhere else: along an outline it fits everywhere (our choice)."""
AGREED = 0.6
"""Share of the places that must tell one and the same fault: those on outlines and in shadows slide, each its
own way (our choice)."""
_EVEN_PX = 12.0
"""Shading wider than this is taken away before patches are compared."""
_HALF_PX = 7
"""Patches of 15 pixels: an edge or two of skin texture lies in each."""
_APART_PX = 9.0
"""Places are apart by more than a patch's half, so that none counts twice."""
_AGREE_PX = 1.5
"""Places that lie farther off the line belong to wrong matches."""
_BESIDE_PX = 4
"""Another peak within so little is the same one."""


@dataclass(frozen=True, slots=True)
class RowsOff:
    """How far the second picture's rows lie from the first's.

    Parameters
    ----------
    off_px : float, median distance of a place from its row, px, without sign
    down_px : float, its median with sign, downwards
    places : int, found again, and telling the same: a shift and a tilt of the rows
    share : float, of all that were found again
    """

    off_px: float
    down_px: float
    places: int
    share: float

    @property
    def told(self) -> bool:
        """Whether enough places agree to say anything."""
        return self.places >= LEAST_PLACES and self.share >= AGREED

    @property
    def calibrated(self) -> bool:
        """Whether rows agree, or too little was found to say that they do not."""
        return not self.told or self.off_px <= MOST_OFF_PX


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
    inside = cv2.erode(np.isfinite(left).astype(np.uint8), np.ones((2 * _HALF_PX + 1,) * 2, np.uint8))
    corners = cv2.goodFeaturesToTrack(_evened(a), PLACES, 0.02, _APART_PX, mask=255 * inside)
    found: list[tuple[float, float, float, float]] = []
    height, width = a.shape
    for x, y in [] if corners is None else np.rint(corners[:, 0]).astype(int):
        lower = _found_again(a, b, int(x), int(y), int(most_px))
        if lower is not None:
            found.append((1.0, float(x) / width - 0.5, float(y) / height - 0.5, lower))
    if len(found) < 3:
        return RowsOff(0.0, 0.0, len(found), 0.0)
    table = np.array(found)
    where, down = table[:, :3], table[:, 3]
    weight = np.ones(len(down))
    for _ in range(30):
        # least absolute distances, by weights: the places on outlines are many and far off
        fit = np.linalg.lstsq(where * weight[:, None], down * weight, rcond=None)[0]
        weight = 1.0 / np.sqrt(np.maximum(np.abs(down - where @ fit), 0.05))
    agree = np.abs(down - where @ fit) < _AGREE_PX
    off = where[agree] @ fit
    if not agree.any():
        return RowsOff(0.0, 0.0, 0, 0.0)
    middle = float(np.median(off))
    return RowsOff(float(np.median(np.abs(off))), middle, int(agree.sum()), float(agree.mean()))


def _evened(picture: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Bring the contrast of a picture to one level, so that places are not all taken from its outlines."""
    import cv2

    values = np.asarray(picture, np.float32)
    level = values - np.asarray(cv2.GaussianBlur(values, (0, 0), _EVEN_PX), np.float32)
    spread = np.sqrt(np.asarray(cv2.GaussianBlur(level**2, (0, 0), _EVEN_PX), np.float32))
    return np.asarray(level / (spread + 2.0), np.float32)


def _found_again(
    a: NDArray[np.uint8], b: NDArray[np.uint8], x: int, y: int, most: int
) -> float | None:
    """Give how far down a patch of one picture lies in the other; None where not found, or not alone."""
    import cv2

    patch = a[y - _HALF_PX : y + _HALF_PX + 1, x - _HALF_PX : x + _HALF_PX + 1]
    top, low = max(0, y - _HALF_PX - REACH_PX), max(0, x - _HALF_PX - most)
    area = b[top : y + _HALF_PX + REACH_PX + 1, low : x + _HALF_PX + 1]
    if patch.shape != (2 * _HALF_PX + 1,) * 2 or min(np.subtract(area.shape, patch.shape)) < 0:
        return None
    score = np.asarray(cv2.matchTemplate(area, patch, cv2.TM_CCOEFF_NORMED), np.float64)
    row, column = (int(k) for k in np.unravel_index(int(np.argmax(score)), score.shape))
    best = float(score[row, column])
    down = top + row + _peak(score[:, column], row) - (y - _HALF_PX)
    rows, columns = (slice(max(0, at - _BESIDE_PX), at + _BESIDE_PX + 1) for at in (row, column))
    score[rows, columns] = -1.0
    return down if best >= ALIKE and best - float(score.max()) >= ALONE else None


def _peak(scores: Array, at: int) -> float:
    """Give how far the top of a parabola through three scores lies from the middle one."""
    if not 0 < at < len(scores) - 1:
        return 0.0
    before, here, after = (float(s) for s in scores[at - 1 : at + 2])
    bend = before - 2.0 * here + after
    return 0.5 * (before - after) / bend if bend < 0 else 0.0
