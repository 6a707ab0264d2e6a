"""The flats' noise of `bite device` on measured depth: flat pieces of the open Middlebury scene.

Chessboard corners of calibration pictures are no map and are left to test_stereo_depth.py.
"""

from __future__ import annotations

import numpy as np
import pytest

from bite.device.flat_noise import flat_noise
from bite.device.plane import fit_plane
from tests.external.test_stereo_depth import BASELINE_MM, DOFFS_PX, FOCAL_PX

pytestmark = pytest.mark.slow
SIDE_PX, STRIDE_PX = 48, 16


@pytest.fixture(scope="module")
def disparity(motorcycle) -> np.ndarray:
    with np.load(motorcycle[2]) as stored:
        found = stored["arr_0"].astype(np.float64)
    found[~np.isfinite(found)] = np.nan
    return found


def flattest(disparity: np.ndarray) -> list[tuple[int, int, float, float]]:
    """Row, column, rms and mean disparity of the eight flattest squares, by a plane in disparity.

    A plane in space is a plane in disparity. Least squares on the raw disparities, without bite's robust fit,
    its inverse depth or its bend.
    """
    found = []
    v, u = np.mgrid[0:SIDE_PX, 0:SIDE_PX].reshape(2, -1) - SIDE_PX / 2
    design = np.column_stack((np.ones(SIDE_PX**2), u, v))
    for row in range(0, disparity.shape[0] - SIDE_PX, STRIDE_PX):
        for column in range(0, disparity.shape[1] - SIDE_PX, STRIDE_PX):
            d = disparity[row : row + SIDE_PX, column : column + SIDE_PX].ravel()
            seen = np.isfinite(d)
            if seen.mean() < 0.99:
                continue
            plane = np.linalg.lstsq(design[seen], d[seen], rcond=None)[0]
            off = d[seen] - design[seen] @ plane
            found.append((row, column, float(np.sqrt(np.mean(off**2))), float(d[seen].mean())))
    return sorted(found, key=lambda square: square[2])[:8]


def test_noise_and_bend_add_up_to_what_is_off_a_plane(disparity) -> None:
    """Off a plane, squared: noise^2 + bend^2, by dZ = Z^2 / (f B) dd; to 15 %, as readings beyond 4 sd go."""
    depth = FOCAL_PX * BASELINE_MM / (disparity + DOFFS_PX)
    squares = flattest(disparity)
    assert len(squares) == 8
    for row, column, rms_px, mean_px in squares:
        where = np.zeros(depth.shape, dtype=bool)
        where[row : row + SIDE_PX, column : column + SIDE_PX] = True
        plane = fit_plane(depth, where)
        flat = flat_noise(depth, where, plane)
        z = FOCAL_PX * BASELINE_MM / (mean_px + DOFFS_PX)
        rms_mm = rms_px * z**2 / (FOCAL_PX * BASELINE_MM)
        assert plane.middle_mm == pytest.approx(z, rel=0.01)
        assert np.hypot(flat.noise_mm, flat.flatness_mm) == pytest.approx(rms_mm, rel=0.15)
        # a disparity that was matched and filled in has neighbours alike
        assert flat.correlation_px > 0
