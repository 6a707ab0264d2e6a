"""The forward models against pixels cut exactly and filtered by SciPy and OpenCV."""

from __future__ import annotations

from itertools import pairwise

import cv2
import numpy as np
import pytest
from scipy import ndimage

from bite.device.filters import edge_preserving_profile, median_profile, step_profile
from tests.device.simulated import covered

SIZE = 120


def lattice(angle_deg: float) -> tuple[np.ndarray, np.ndarray, tuple[float, float]]:
    """Share of the wall in each pixel, its distance from the edge, and the edge's normal."""
    angle, through = np.deg2rad(angle_deg), (60.3, 59.8)
    y, x = np.mgrid[0:SIZE, 0:SIZE].astype(float)
    normal = (float(np.cos(angle)), float(np.sin(angle)))
    distance = (x - through[0]) * normal[0] + (y - through[1]) * normal[1]
    return 1 - covered(SIZE, SIZE, angle, through), distance, normal


def inner(values: np.ndarray) -> np.ndarray:
    return values[25:-25, 25:-25]


@pytest.mark.parametrize("angle_deg", [3, -8, 20, 40, 85])
def test_a_pixel_is_an_area(angle_deg: float) -> None:
    step, distance, normal = lattice(angle_deg)
    # float error of differences of squares of up to 60
    assert np.abs(step_profile(distance, normal) - step).max() < 1e-9


@pytest.mark.parametrize("window", [3, 5, 7])
def test_a_box_of_pixels_is_a_larger_pixel(window: int) -> None:
    step, distance, normal = lattice(6)
    boxed = ndimage.uniform_filter(step, window)
    assert np.abs(inner(step_profile(distance, normal, window_px=window) - boxed)).max() < 1e-9


@pytest.mark.parametrize(("sd", "tolerance"), [(1.0, 0.012), (2.0, 0.002), (3.5, 0.001)])
def test_a_gaussian(sd: float, tolerance: float) -> None:
    """SciPy samples its kernel at whole pixels and cuts it at 4 sd: 1 % of the step at sd 1, less beyond."""
    step, distance, normal = lattice(6)
    smoothed = ndimage.gaussian_filter(step, sd)
    assert np.abs(inner(step_profile(distance, normal, gauss_px=sd) - smoothed)).max() < tolerance


@pytest.mark.parametrize("window", [3, 5, 7])
def test_a_median_leaves_a_straight_edge_alone(window: int) -> None:
    step, distance, normal = lattice(6)
    assert np.abs(inner(ndimage.median_filter(step, window) - step)).max() < 1e-9
    quiet = median_profile(distance, normal, window_px=window, noise=(0.0, 0.0))
    assert np.abs(quiet - step).max() < 1e-9


@pytest.mark.slow
def test_a_median_of_noise_is_drawn_to_the_other_side() -> None:
    """The pull by order statistics against 200 noisy maps: within 0.2 raw sds, where it is up to 1.1."""
    step, distance, normal = lattice(6)
    rng, raw = np.random.default_rng(3), 0.02
    noisy = step + raw * rng.standard_normal((200, *step.shape))
    mean, after = np.zeros(step.shape), 0.0
    for one in noisy:
        filtered = ndimage.median_filter(one, 5)
        mean += filtered / len(noisy)
        after += filtered[25:95, 30:40].std() / len(noisy)
    predicted = median_profile(distance, normal, window_px=5, noise=(after, after))
    rows = np.abs(np.indices(step.shape)[0] - SIZE / 2) < 35
    edges = (-5.0, -3.0, -2.0, -1.2, -0.7)
    for low, high in (*pairwise(edges), (-0.3, 0.3), *((-high, -low) for low, high in pairwise(edges))):
        here = (distance > low) & (distance < high) & rows
        assert abs(np.mean((mean - predicted)[here])) < 0.2 * raw
    near = (distance > -2) & (distance < -1) & rows
    assert np.mean((mean - step)[near]) > 0.5 * raw  # there is a pull to predict


@pytest.mark.parametrize("share", [0.1, 0.3, 0.6])
def test_an_edge_preserving_filter_is_opencvs(share: float) -> None:
    """Against OpenCV's bilateral filter: mean over phases against single pixels, 0.3 % of the step rms."""
    step, distance, normal = lattice(6)
    filtered = cv2.bilateralFilter(step.astype(np.float32), 13, share, 2.0)
    profile = edge_preserving_profile(normal, reach_px=2.0, range_share=share)
    near = np.abs(inner(distance)) < 8
    off = np.sqrt(np.mean(inner(profile(distance) - filtered)[near] ** 2))
    sharp = np.sqrt(np.mean(inner(step - filtered)[near] ** 2))
    assert off < 0.004 and off < 0.3 * sharp
