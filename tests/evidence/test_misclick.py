"""Which click is off: planted errors of 5 px, and points found in space."""

from dataclasses import replace

import numpy as np
import pytest

from bite.evidence.clicks.misclick import worst_click
from bite.evidence.clicks.triangulated import triangulated_corners
from bite.files.bundle import LoadedView
from bite.fit.offset import fit_offset
from bite.geometry.teeth import UPPER_CORNERS
from tests.coverage.corner_scene import HEADS, PRIOR, corner_frame, draw_planted, performer


def scene(seed, click_px):
    rng = np.random.default_rng(seed)
    return rng, corner_frame(
        rng, performer(seed % HEADS), draw_planted(rng), views=2, click_px=click_px, landmark_px=2.0
    ).block


@pytest.mark.slow
@pytest.mark.parametrize("click_px", [0.5, 0.8])
def test_five_pixels_in_one_view_are_named_by_corner_and_view(click_px) -> None:
    named = 0
    count = 40
    for seed in range(count):
        rng, block = scene(seed, click_px)
        view, corner, angle = rng.integers(2), rng.integers(4), rng.uniform(0, 2 * np.pi)
        pixels = block.views[view].pixels.copy()
        pixels[corner] += 5.0 * np.array([np.cos(angle), np.sin(angle)])
        views = list(block.views)
        views[view] = replace(views[view], pixels=pixels)
        wrong = replace(block, views=tuple(views))
        fit = fit_offset([wrong], PRIOR)
        fault = worst_click(wrong, fit.parameters, fit.solution.bread)
        assert fault is not None
        named += fault.name == UPPER_CORNERS[corner] and fault.view == views[view].view
    # asked for in 95 % of cases; measured in 98 to 100 %
    assert named >= 0.95 * count


@pytest.mark.slow
def test_clean_clicks_are_seldom_named() -> None:
    alarms = 0
    for seed in range(60):
        _, block = scene(1000 + seed, 0.5)
        fit = fit_offset([block], PRIOR)
        fault = worst_click(block, fit.parameters, fit.solution.bread)
        alarms += fault is not None and fault.chance < 0.01
    # 1 of 60 expected; more than 4 once in 130 at 2 %
    assert alarms <= 4


@pytest.mark.slow
def test_corners_are_found_in_space_with_an_honest_covariance() -> None:
    rng = np.random.default_rng(2)
    _, block = scene(7, 0.5)
    fit = fit_offset([block], PRIOR)
    cameras = [view.camera for view in block.views]
    truth = np.array([block.head.corners[code] for code in UPPER_CORNERS])
    views = [LoadedView(f"v{k}", None, np.zeros((1, 1, 3), np.uint8), c, None) for k, c in enumerate(cameras)]
    squares = []
    for _ in range(60):
        seen = [
            {
                code: (camera.project(point[None])[0] + rng.normal(0, 0.5, 2), 0.5)
                for code, point in zip(UPPER_CORNERS, truth, strict=True)
            }
            for camera in cameras
        ]
        for corner, point in zip(triangulated_corners(views, seen), truth, strict=True):
            off = corner.point_mm - point
            squares.append(off @ np.linalg.solve(corner.covariance_mm2, off))
            assert corner.dof == 1 and corner.off_px.shape == (2, 2)
    # chi-square with 3 degrees of freedom, 240 of them: mean 3 +- 0.16; 4 of that
    assert np.mean(squares) == pytest.approx(3.0, abs=0.64)
    assert fit.solution.converged
    assert triangulated_corners(views, [seen[0], {}]) == ()
