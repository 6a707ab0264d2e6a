"""One row of teeth found again in another picture: features by optical flow, and the similarity they share.

Single corners drift, slide along edges, and are lost behind lips. The crowns of one row move together, so
that many features of a row vote for one shift, turn and size, and corners go along.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.geometry.rigid import Array, frozen

FORWARD_BACKWARD_PX = 0.5
"""A feature that does not come back to within this is lost."""
WINDOW_CROWNS = 0.6
"""Flow looks at just over half a crown at a time: one edge is in it at least (our choice)."""
LEAST_FEATURES = 6
"""A similarity has four unknowns, two features: three times as many leave a vote (our choice)."""
_MOST_FEATURES = 70
"""More take time and change no vote (our choice)."""
_REACH_CROWNS = 4.5
"""Half side of the square around the teeth that is looked at, in crown widths."""
_FINE_CROWNS, _COARSE_CROWNS = 0.4, 1.0
"""Structure coarser than the first is taken out; contrast is evened out over the second."""
_SAME_PLACE_CROWNS = 0.05
"""There and back again within a twentieth of a crown is the same place (our choice)."""
_LEVELS = 1
"""Coarser levels of the pyramid see the whole mouth and follow the lips: large shifts are found before."""
_SIZES = (0.6, 1.7)
"""Change of size since the click beyond which a match is none."""


@dataclass(frozen=True, slots=True)
class Piece:
    """A square of a picture around some place, its light and contrast evened out, and its first pixel."""

    plane: NDArray[np.uint8]
    left: int
    top: int

    @property
    def origin(self) -> Array:
        """The picture's pixel at the piece's first one."""
        return np.array([self.left, self.top], dtype=np.float64)


@dataclass(frozen=True, slots=True)
class RowMatch:
    """A row found again.

    Parameters
    ----------
    placed : array, shape (2, 3), this picture's pixels from those of the clicked picture
    rms_px : float, of the features that agree, about where the row as a whole puts them
    features : int, how many agree
    window_crowns : float, of the flow
    """

    placed: Array
    rms_px: float
    features: int
    window_crowns: float = WINDOW_CROWNS

    def place(self, points_px: Array) -> Array:
        """Give where points of the clicked picture, shape (n, 2), lie now, px."""
        return np.asarray(points_px @ self.placed[:, :2].T + self.placed[:, 2])


def piece_around(light: NDArray[np.uint8], centre_px: Array, crown_px: float) -> Piece:
    """Cut a square out of a grey picture, padded at the picture's border, with light and contrast evened out.

    Exposure that changes between frames would otherwise pass for motion.

    Parameters
    ----------
    light : array, shape (h, w), uint8
    centre_px : array, shape (2,), px
    crown_px : float, width of an upper central incisor, px
    """
    import cv2

    half = int(np.ceil(_REACH_CROWNS * crown_px)) + 8
    left, top = (int(v) - half for v in np.rint(centre_px))
    side = 2 * half + 1
    low = np.clip([left, top], 0, np.array(light.shape[::-1]) - 1)
    high = np.clip([left + side, top + side], low + 1, light.shape[::-1])
    inside = light[low[1] : high[1], low[0] : high[0]]
    before, after = low - (left, top), (left + side, top + side) - high
    cut = cv2.copyMakeBorder(
        inside, int(before[1]), int(after[1]), int(before[0]), int(after[0]), cv2.BORDER_REPLICATE
    )
    even: NDArray[np.float32] = np.asarray(cut, dtype=np.float32)
    even = even - cv2.GaussianBlur(even, (0, 0), _FINE_CROWNS * crown_px)
    spread = np.sqrt(cv2.GaussianBlur(even**2, (0, 0), _COARSE_CROWNS * crown_px))
    plane = np.clip(128.0 + 50.0 * even / (spread + 3.0), 0, 255)
    return Piece(np.asarray(plane, dtype=np.uint8), left, top)


def features_in(piece: Piece, area: NDArray[np.bool_], crown_px: float) -> Array:
    """Find what can be followed inside an area of a piece, shape (n, 2), px of the picture."""
    import cv2

    found = cv2.goodFeaturesToTrack(
        piece.plane, _MOST_FEATURES, 0.03, max(2.0, 0.12 * crown_px), mask=area.astype(np.uint8) * 255
    )
    if found is None:
        return np.zeros((0, 2))
    return np.asarray(found.reshape(-1, 2).astype(np.float64) + piece.origin)


def match_row(
    source: Piece,
    source_px: Array,
    piece: Piece,
    guess_px: Array,
    clicked_px: Array,
    crown_px: float,
    *,
    window_crowns: float = WINDOW_CROWNS,
) -> RowMatch | None:
    """Follow features from one piece into another; give the similarity from the clicked picture.

    Parameters
    ----------
    source, piece : Piece, of one size
    source_px : array, shape (n, 2), where the features lie in the source's picture, px
    guess_px : array, shape (n, 2), where they are expected in the other
    clicked_px : array, shape (n, 2), where they lie in the clicked picture
    crown_px : float
    window_crowns : float, side of the window that the flow compares, in crown widths

    Returns
    -------
    RowMatch, or None where fewer than six features, or a quarter of them, come back and agree

    Notes
    -----
    Source: Bouguet 2001 (pyramidal Lucas-Kanade), from memory; forward and backward, as in Kalal et al. 2010
    (from memory); agreement by RANSAC, as OpenCV has it.
    """
    import cv2

    if len(source_px) < LEAST_FEATURES:
        return None
    side = int(np.clip(round(window_crowns * crown_px), 11, 61)) | 1
    there, known = _flow(source, source_px, piece, guess_px, side)
    back, known_back = _flow(piece, there, source, source_px, side)
    came = known & known_back & (np.hypot(*(back - source_px).T) <= FORWARD_BACKWARD_PX)
    least = max(LEAST_FEATURES, len(source_px) // 4)
    if came.sum() < least:
        return None
    tolerance = max(0.7, _SAME_PLACE_CROWNS * crown_px)
    matrix, agree = cv2.estimateAffinePartial2D(
        clicked_px[came].astype(np.float32), there[came].astype(np.float32), method=cv2.RANSAC,
        ransacReprojThreshold=tolerance, maxIters=2000, confidence=0.999, refineIters=10,
    )  # fmt: skip
    if matrix is None or int(agree.sum()) < least:
        return None
    size = float(np.hypot(matrix[0, 0], matrix[1, 0]))
    if not _SIZES[0] < size < _SIZES[1]:
        return None
    inside = agree.ravel().astype(bool)
    match = RowMatch(frozen(np.asarray(matrix, dtype=np.float64)), 0.0, int(inside.sum()), window_crowns)
    off = there[came][inside] - match.place(clicked_px[came][inside])
    return RowMatch(match.placed, float(np.sqrt((off**2).mean())), match.features, window_crowns)


def _flow(
    source: Piece, source_px: Array, piece: Piece, guess_px: Array, side: int
) -> tuple[Array, NDArray[np.bool_]]:
    import cv2

    start = (source_px - source.origin).astype(np.float32).reshape(-1, 1, 2)
    guess = (guess_px - piece.origin).astype(np.float32).reshape(-1, 1, 2)
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 30, 0.01)
    there, status, _ = cv2.calcOpticalFlowPyrLK(
        source.plane, piece.plane, start, guess.copy(), winSize=(side, side), maxLevel=_LEVELS,
        criteria=criteria,         flags=cv2.OPTFLOW_USE_INITIAL_FLOW, minEigThreshold=1e-4,
    )  # fmt: skip
    found = there.reshape(-1, 2).astype(np.float64)
    size = np.array(piece.plane.shape[::-1])
    inside = np.isfinite(found).all(1) & (found >= 0).all(1) & (found <= size - 1).all(1)
    return found + piece.origin, (status.ravel() == 1) & inside


def likeness(source: Piece, piece: Piece, match: RowMatch, area: NDArray[np.bool_]) -> float:
    """Give the correlation of the clicked picture's area with what lies there now, -1 to 1.

    Parameters
    ----------
    source : Piece of the clicked picture
    piece : Piece of this one
    match : RowMatch
    area : array of bool, the size of the source
    """
    import cv2

    to_piece = match.placed.copy()
    to_piece[:, 2] += match.placed[:, :2] @ source.origin - piece.origin
    height, width = source.plane.shape
    now = cv2.warpAffine(
        piece.plane, to_piece, (width, height), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )  # fmt: skip
    a, b = source.plane[area].astype(np.float64), now[area].astype(np.float64)
    a, b = a - a.mean(), b - b.mean()
    below = float(np.sqrt((a * a).sum() * (b * b).sum()))
    return float((a * b).sum()) / below if below > 0 else 0.0


def find_again(
    source: Piece, area: NDArray[np.bool_], piece: Piece, *, guess: Array, reach_px: float | None
) -> tuple[Array, float]:
    """Look for an area of one piece in another by correlation; give its shift, px, and how alike it is.

    Parameters
    ----------
    source : Piece
    area : array of bool, the size of the source; the box around it is what is looked for
    piece : Piece
    guess : array, shape (2,), px, expected shift between the two pictures
    reach_px : float, how far from the guess to look; None looks all over the piece

    Notes
    -----
    No other size or tilt is tried: between neighbouring frames, and for a first guess, both change little.
    """
    import cv2

    rows, columns = np.flatnonzero(area.any(1)), np.flatnonzero(area.any(0))
    if not rows.size:
        return guess, 0.0
    top, left = int(rows[0]), int(columns[0])
    template = source.plane[top : rows[-1] + 1, left : columns[-1] + 1]
    start = np.array([left, top]) + source.origin + guess - piece.origin
    low, high = np.zeros(2, int), np.array(piece.plane.shape[::-1])
    size = np.array(template.shape[::-1])
    if reach_px is not None:
        low = np.clip(np.floor(start - reach_px).astype(int), 0, high - 1)
        high = np.clip(np.ceil(start + size + reach_px).astype(int) + 1, low + 1, high)
    if (high - low < size).any():
        return guess, 0.0
    score = cv2.matchTemplate(piece.plane[low[1] : high[1], low[0] : high[0]], template, cv2.TM_CCOEFF_NORMED)
    _, best, _, at = cv2.minMaxLoc(score)
    return np.asarray(np.array(at) + low - start + guess), float(best)
