"""Matched depth against measured depth: the open Middlebury pair, the error law, and OpenCV's chessboards."""

from __future__ import annotations

import re
from pathlib import Path

import cv2
import numpy as np
import pytest

from bite.evidence.stereo.match import Matched, match
from bite.geometry.camera import Camera
from bite.geometry.rectify import Rectified, rectify_around
from bite.geometry.rigid import Rigid, frozen
from tests.evidence.stereo_scenes import pair, robust_sd

FOCAL_PX, BASELINE_MM, DOFFS_PX = 994.978, 193.001, 31.086
"""Calibration of the quarter-size pair: Middlebury 2014, as scikit-image's documentation prints it."""
MOST_PX = 72.0
BANDS_MM = ((2000, 2500), (2500, 3200), (3200, 4000), (4000, 5500))
CHESS_CORNER_PX = 0.1
"""Sd of a refined chessboard corner (common practice, no source)."""
CHESSBOARDS = (Path("/usr/share/doc/opencv-doc/examples"), Path("/usr/share/opencv4/samples"))


@pytest.fixture(scope="module")
def against_truth(motorcycle) -> tuple[Matched, np.ndarray, Rectified]:
    left, right = (
        cv2.cvtColor(cv2.imdecode(np.fromfile(path, np.uint8), cv2.IMREAD_COLOR), cv2.COLOR_BGR2GRAY)
        for path in motorcycle[:2]
    )
    with np.load(motorcycle[2]) as stored:
        truth = stored["arr_0"].astype(np.float64)
    truth[~np.isfinite(truth)] = np.nan  # a missing value is stored as infinity
    # room for the search to the left of the picture
    margin = 80
    padded = [
        np.pad(p.astype(np.float64), ((0, 0), (margin, 0)), constant_values=np.nan) for p in (left, right)
    ]
    found = match(*padded, MOST_PX)
    cut = Matched(
        found.disparity_px[:, margin:], found.sigma_px[:, margin:], found.noise_level, found.scatter
    )
    return cut, truth, geometry(left.shape)


def geometry(shape) -> Rectified:
    """The pair's own geometry: Z = f B / (d + doffs)."""
    cameras = [
        Camera(
            shape[1], shape[0], frozen([[FOCAL_PX, 0, cx], [0, FOCAL_PX, 254.877], [0, 0, 1]]),
            frozen(np.zeros(5)), Rigid(translation_mm=frozen([-x, 0.0, 0.0])),
        )
        for cx, x in ((311.193, 0.0), (311.193 + DOFFS_PX, BASELINE_MM))
    ]  # fmt: skip
    return Rectified(cameras[0], cameras[1], BASELINE_MM, DOFFS_PX, MOST_PX)


@pytest.mark.slow
def test_the_open_pair_is_matched_without_bias_worth_the_name(against_truth):
    found, truth, _ = against_truth
    error = found.disparity_px - truth
    known = np.isfinite(error)
    share = known.sum() / np.isfinite(truth).sum()
    assert share > 0.4
    # the truth is good to about 0.2 px of the full-size picture, 0.05 px here (from memory); the pair's own
    # rectification drifts by 0.1 px from its left to its right side
    assert abs(np.median(error[known])) < 0.08
    assert robust_sd(error[known]) < 0.12
    assert (np.abs(error[known]) > 1.0).mean() < 0.015


@pytest.mark.slow
def test_the_stated_sd_is_the_observed_one_in_every_depth_band(against_truth):
    found, truth, pair_geometry = against_truth
    measured, true = pair_geometry.depth_mm(found.disparity_px), pair_geometry.depth_mm(truth)
    sigma = pair_geometry.depth_sd_mm(measured, found.sigma_px)
    assert found.scatter.measured
    for low, high in BANDS_MM:
        band = np.isfinite(measured) & (true >= low) & (true < high)
        assert band.sum() > 10_000
        # observed over stated, robust: within 10 %
        assert robust_sd(((measured - true) / sigma)[band]) == pytest.approx(1.0, abs=0.1)
        assert abs(np.median((measured - true)[band])) < np.median(sigma[band])


@pytest.mark.slow
def test_depth_error_grows_with_the_square_of_distance():
    # one camera pair, one plane, textured alike in the picture; f 1400 px, B 60 mm
    camera = Camera(640, 480, frozen([[1400.0, 0, 320], [0, 1400.0, 240], [0, 0, 1]]), frozen(np.zeros(5)))
    beside = Camera(640, 480, camera.matrix, camera.distortion, Rigid(translation_mm=frozen([-60.0, 0, 0])))
    spread, stated = {}, {}
    for depth in (300.0, 600.0):
        pair_geometry = rectify_around(
            camera, beside, np.array([0, 0, depth]),
            half_mm=20.0, reach_mm=40.0, finest_px_per_mm=20.0, most_range_px=256.0,
        )  # fmt: skip
        assert pair_geometry.focal_px == pytest.approx(1400.0)
        disparity = float(pair_geometry.disparity_px(np.array(depth)))
        errors, sigmas = [], []
        for seed in range(3):
            found = match(
                *pair((240, 320), disparity, seed=seed, contrast=5.0), pair_geometry.most_px
            )
            measured = pair_geometry.depth_mm(found.disparity_px)
            errors.append((measured - depth)[np.isfinite(measured)])
            sigmas.append(np.nanmedian(pair_geometry.depth_sd_mm(measured, found.sigma_px)))
        spread[depth], stated[depth] = robust_sd(np.concatenate(errors)), np.mean(sigmas)
    # some 3000 patches each: the ratio of two sds is known to 2 %; 10 % is five of them
    assert spread[600.0] / spread[300.0] == pytest.approx(4.0, rel=0.1)
    assert stated[600.0] / stated[300.0] == pytest.approx(4.0, rel=0.1)


def chessboards() -> Path:
    for folder in CHESSBOARDS:
        if folder.exists():
            for path in folder.rglob("left01.jpg*"):
                return path.parent
    pytest.skip("OpenCV's sample chessboards are not here: Debian's package opencv-doc has them")


def test_a_chessboard_comes_out_flat_and_of_the_right_size():
    import gzip

    folder = chessboards()

    def picture(name):
        path = next(iter(folder.glob(f"{name}.jpg*")))
        data = gzip.decompress(path.read_bytes()) if path.suffix == ".gz" else path.read_bytes()
        return cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_GRAYSCALE)

    numbers = sorted(
        {m[1] for path in folder.glob("left*.jpg*") if (m := re.match(r"left(\d+)\.jpg", path.name))}
    )
    size, square = (9, 6), 25.0
    grid = np.zeros((54, 3), np.float32)
    grid[:, :2] = np.mgrid[:9, :6].T.reshape(-1, 2) * square
    boards, corners = [], ([], [])
    for number in numbers:
        both = [picture(f"{side}{number}") for side in ("left", "right")]
        seen = [cv2.findChessboardCorners(p, size) for p in both]
        if all(ok for ok, _ in seen):
            end = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 40, 1e-4)
            for side, (p, (_, at)) in enumerate(zip(both, seen, strict=True)):
                corners[side].append(cv2.cornerSubPix(p, at, (5, 5), (-1, -1), end))
            boards.append(both)
    assert len(boards) >= 8
    shape = boards[0][0].shape[::-1]
    points = [grid] * len(boards)
    lenses = [cv2.calibrateCamera(points, side, shape, None, None)[1:3] for side in corners]
    placed = cv2.stereoCalibrate(
        points, corners[0], corners[1], *lenses[0], *lenses[1], shape, flags=cv2.CALIB_FIX_INTRINSIC
    )
    turn, shift = placed[5], placed[6][:, 0]
    cameras = [
        Camera(*shape, frozen(matrix), frozen(lens.ravel()[:5]), place)
        for (matrix, lens), place in zip(lenses, (Rigid(), Rigid(frozen(turn), frozen(shift))), strict=True)
    ]
    from bite.geometry.triangulate import triangulate

    off_plane = []
    for left, right in zip(*corners, strict=True):
        found = [
            triangulate(cameras, np.vstack([a, b]), np.full(2, CHESS_CORNER_PX))
            for a, b in zip(left.reshape(-1, 2), right.reshape(-1, 2), strict=True)
        ]
        at = np.array([one.point_mm for one in found])
        steps = np.linalg.norm(np.diff(at.reshape(6, 9, 3), axis=1), axis=2)
        assert np.median(steps) == pytest.approx(square, rel=0.01)
        normal = np.linalg.svd(at - at.mean(0))[2][2]
        sd = np.sqrt([normal @ one.covariance_mm2 @ normal for one in found])
        off_plane.append((at - at.mean(0)) @ normal / sd)
    # stated sds cover the distances from a board's own plane: 95 %, and more where errors are not normal
    assert 0.92 < (np.abs(off_plane) < 1.96).mean() < 0.99
    assert np.sqrt(np.mean(np.square(off_plane))) == pytest.approx(1.0, abs=0.2)
