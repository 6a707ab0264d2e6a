"""How much wider the skin in the depth map is than the solved skin, after both lie on one another, %.

A focal length that is stated wrong stretches a map about the camera's axis and leaves its distances as they
are: no motion of the head does that, and the waves that the fit allows the skin can only hide it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bite.fit.depth_block import DepthBlock
from bite.fit.depth_prediction import Prediction
from bite.fit.linear import MAD_TO_SD
from bite.fit.parameters import HEAD_SHIFT, HEAD_TURN
from bite.geometry.rigid import Array
from bite.geometry.teeth import SKIN
from bite.stats.estimate import Estimate

FARTHEST = 0.05
"""Nearness to the teeth from which skin is asked: some 35 mm, as the fit looks (our choice)."""
PIECE_MM = 10.0
"""Skin within such squares hangs together: usual waves of a solved skin are longer than what is left in one
(our choice)."""
LEAST_PIECES = 20
"""Fewer do not tell seven unknowns and their scatter (our choice)."""
ROUNDS, LEAST_LEFT_MM = 20, 0.1
"""Rounds after which weights stay, and the scatter below which all readings count fully (our choice)."""
_TUNING = 2.4
"""Of the Cauchy weights, in robust sds: 95 % efficiency at the normal (from memory)."""
_HEAD = (*range(HEAD_SHIFT.start, HEAD_SHIFT.stop), *range(HEAD_TURN.start, HEAD_TURN.stop))


def lens_found(block: DepthBlock, seen: Prediction) -> Estimate | None:
    """Fit the map's width beside the place of the head; None where too little skin is measured.

    Parameters
    ----------
    block : DepthBlock
    seen : Prediction, with the solved skin's waves left as they were solved

    Returns
    -------
    Estimate or None
        By how much the true focal length seems longer than the stated one, %; its sd from the scatter between
        pieces of skin (a sandwich over clusters: Liang and Zeger 1986, Biometrika 73:13-22, from memory).
    """
    slopes = block.grid.slopes
    down, across = np.gradient(seen.depth_mm)
    per_px = np.gradient(slopes[..., 0], axis=1), np.gradient(slopes[..., 1], axis=0)
    # a map of a lens longer by a share shows at a place what a shorter one shows so much nearer the axis
    wider = -(across * slopes[..., 0] / per_px[0] + down * slopes[..., 1] / per_px[1])
    used = seen.readable & (seen.part == SKIN) & (seen.teeth_share < 0.02) & (seen.nearness > FARTHEST)
    used &= np.isfinite(wider)
    row, column = np.nonzero(used)
    side = max(1, int(PIECE_MM / block.mm_per_px))
    piece = np.unique(row // side * used.shape[1] + column // side, return_inverse=True)[1]
    if not len(piece) or piece.max() + 1 < LEAST_PIECES:
        return None
    columns = np.column_stack([*(seen.slopes[k][used] for k in _HEAD), wider[used]])
    return _last_fitted(columns, (block.measured_mm - seen.depth_mm)[used], piece)


def _last_fitted(columns: Array, off_mm: Array, piece: NDArray[np.intp]) -> Estimate | None:
    """Fit all columns to what is off, wild readings counting little, and give the last one's share, %."""
    size = np.sqrt((columns**2).mean(0))
    if not (size > 0).all():
        return None
    columns = columns / size
    found: Array = np.zeros(columns.shape[1])
    for _ in range(ROUNDS):
        left = off_mm - columns @ found
        scale = max(MAD_TO_SD * float(np.median(np.abs(left - np.median(left)))), LEAST_LEFT_MM)
        weight = 1.0 / (1.0 + (left / (_TUNING * scale)) ** 2)
        information = (columns.T * weight) @ columns
        found = np.asarray(np.linalg.lstsq(information, (columns.T * weight) @ off_mm, rcond=None)[0])
    left = off_mm - columns @ found
    pushes = np.zeros((piece.max() + 1, columns.shape[1]))
    np.add.at(pushes, piece, columns * (weight * left)[:, None])
    inverse = np.linalg.pinv(information, hermitian=True)
    variance = float((inverse @ (pushes.T @ pushes) @ inverse)[-1, -1])
    return Estimate(100.0 * float(found[-1] / size[-1]), 100.0 * float(np.sqrt(variance) / size[-1]))
