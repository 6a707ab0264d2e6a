"""A depth map that is too wide for the solved face: measured on a face of formulas, and told."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from bite.check.checks.depth_lens import depth_lens
from bite.check.finding import Severity
from bite.evidence.depth.lens_found import lens_found
from bite.geometry.teeth import SKIN
from bite.stats.estimate import Estimate

AWAY_MM, FOCAL_PX, SIDE_PX = 300.0, 500.0, 110


def _surface(x_mm: np.ndarray, y_mm: np.ndarray) -> np.ndarray:
    """Give the depth of a face with a nose, a chin and a dent, mm."""
    nose = -14.0 * np.exp(-((x_mm - 2) ** 2 / 90.0 + (y_mm + 18) ** 2 / 160.0))
    chin = -6.0 * np.exp(-((x_mm**2) / 200.0 + (y_mm - 22) ** 2 / 120.0))
    return AWAY_MM + 0.012 * x_mm**2 + 0.006 * y_mm**2 + nose + chin


def _map(lens: float, turn: float = 0.0, shift: float = 0.0) -> np.ndarray:
    """Give the map of a lens so many times longer, of a face that is turned and shifted a little."""
    y, x = (np.indices((SIDE_PX, SIDE_PX)) - (SIDE_PX - 1) / 2.0) / (FOCAL_PX * lens)
    depth = np.full_like(x, AWAY_MM)
    for _ in range(60):
        depth = 0.5 * depth + 0.5 * (_surface(x * depth, y * depth) + shift + turn * x * depth)
    return depth


def _seen() -> SimpleNamespace:
    y, x = (np.indices((SIDE_PX, SIDE_PX)) - (SIDE_PX - 1) / 2.0) / FOCAL_PX
    depth = _map(1.0)
    down, across = np.gradient(depth)
    px_per_mm = FOCAL_PX / depth
    slopes = np.zeros((6, SIDE_PX, SIDE_PX))
    slopes[0], slopes[1], slopes[2] = -across * px_per_mm, -down * px_per_mm, 1.0
    slopes[3], slopes[4] = y * depth, -x * depth
    slopes[5] = across * px_per_mm * y * depth - down * px_per_mm * x * depth
    ones = np.ones((SIDE_PX, SIDE_PX))
    return SimpleNamespace(
        depth_mm=depth,
        slopes=slopes,
        readable=ones > 0,
        part=np.full(ones.shape, SKIN),
        teeth_share=0 * ones,
        nearness=ones,
    )


def _block(measured_mm: np.ndarray) -> SimpleNamespace:
    y, x = (np.indices((SIDE_PX, SIDE_PX)) - (SIDE_PX - 1) / 2.0) / FOCAL_PX
    grid = SimpleNamespace(slopes=np.stack([x, y], axis=-1))
    return SimpleNamespace(grid=grid, measured_mm=measured_mm, mm_per_px=AWAY_MM / FOCAL_PX)


@pytest.mark.parametrize("percent", [0.0, 3.0, -5.0])
def test_a_lens_is_told_from_a_turn_and_a_shift(percent: float) -> None:
    rng = np.random.default_rng(4)
    measured = _map(1.0 + percent / 100.0, turn=0.01, shift=0.6) + rng.normal(0.0, 0.3, (SIDE_PX, SIDE_PX))
    found = lens_found(_block(measured), _seen())  # type: ignore[arg-type]  # a stand-in
    assert found is not None
    # slopes are those of no difference, so that turn, shift and lens leave products of one another
    assert abs(found.value - percent) < 3 * found.sd + 0.3 + 0.1 * abs(percent) and found.sd < 0.5


def test_too_little_skin_says_nothing() -> None:
    seen = _seen()
    seen.readable = np.zeros_like(seen.readable)
    assert lens_found(_block(_map(1.0)), seen) is None  # type: ignore[arg-type]  # a stand-in
    assert depth_lens(None).severity is Severity.OK


@pytest.mark.parametrize(
    ("wider", "severity"),
    [
        (Estimate(-5.2, 0.1), Severity.FAIL),
        (Estimate(7.4, 0.2), Severity.FAIL),
        (Estimate(4.0, 1.6), Severity.OK),
        (Estimate(1.3, 0.1), Severity.OK),
    ],
)
def test_what_is_too_wide_or_narrow_names_the_focal_length(wider: Estimate, severity: Severity) -> None:
    found = depth_lens(wider)
    assert found.severity is severity
    if severity is Severity.FAIL:
        assert "focal length" in found.text and "camera file" in found.todo
        assert ("shorter" in found.todo) == (wider.value < 0)
