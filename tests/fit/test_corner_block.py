"""Clicks as evidence: which of them move with the teeth, which grow with them, and what a bound says."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from bite.fit.corner_block import Clicks, CornerBlock, Use
from bite.fit.parameters import COUNT, P
from tests.fit.test_solver import CORNERS, FRONT, MARKS, TRUTH, clicks, head

NAMES = (*CORNERS, *MARKS)


def placed(parameters: np.ndarray, name: str) -> np.ndarray:
    """Where a corner or landmark is put, in words: grown from its row's middle, shifted, turned, shifted."""
    from scipy.spatial.transform import Rotation

    model = head()
    point = np.array({**CORNERS, **MARKS}[name])
    if name in CORNERS:
        row = [np.array(CORNERS[c]) for c in CORNERS if (c[0] in "12") == (name[0] in "12")]
        middle = np.mean(row, axis=0)
        point = middle + np.exp(parameters[P.LOG_SIZE]) * (point - middle)
        point = point + parameters[P.FORWARD_MM] * model.forward
        point = point + parameters[P.RIGHT_MM] * model.right + parameters[P.UP_MM] * model.up
    turn = Rotation.from_rotvec(parameters[3:6])
    return np.asarray(turn.apply(point - model.centre_mm) + model.centre_mm + parameters[:3])


def test_corners_move_and_grow_with_the_teeth_and_landmarks_with_the_head_alone() -> None:
    block = clicks(TRUTH, None)
    for view in block.views:
        pixels, _ = block.project(view, TRUTH)
        expected = [view.camera.project(placed(TRUTH, name)[None])[0] for name in NAMES]
        np.testing.assert_allclose(pixels, expected, rtol=0, atol=1e-9)


def one_click(use: Use, off_px: np.ndarray, sigma_px: float) -> CornerBlock:
    """A lower corner clicked ``off_px`` beside where the model has it."""
    at = FRONT.project(np.array(CORNERS["41d"])[None])[0] + off_px
    return CornerBlock(
        head(), (Clicks("a", FRONT, ("41d",), np.array([use], np.int8), at[None], np.array([sigma_px])),)
    )


def test_residuals_are_clicks_less_model_in_sigmas() -> None:
    linear = one_click(Use.CORNER, np.array([3.0, -1.0]), 2.0).predict(np.zeros(COUNT))
    assert linear.residual == pytest.approx([1.5, -0.5])
    assert linear.weight.tolist() == [1.0, 1.0]


@pytest.mark.parametrize(("below_px", "says"), [(4.0, -2.0), (-4.0, 0.0)])
def test_a_bound_counts_in_sigmas_and_only_when_the_model_lies_below(below_px: float, says: float) -> None:
    """The model ``below_px`` under the click: down in the picture is +y, a little askew with the teeth."""
    linear = one_click(Use.BOUND, np.array([0.0, -below_px]), 2.0).predict(np.zeros(COUNT))
    assert linear.residual == pytest.approx([says], rel=0.02)
    assert linear.slope.any() == (says != 0.0)


def test_scatter_counts_huber_weights_once() -> None:
    block = clicks(TRUTH, None)
    wild = replace(block.views[0], pixels=block.views[0].pixels + np.eye(len(NAMES))[:, :2] * 9.0)
    block = CornerBlock(head(), (wild, block.views[1]))
    linear = block.predict(TRUTH)
    size = np.abs(linear.residual)
    weight = np.where(size > 1.345, 1.345 / np.maximum(size, 1e-9), 1.0)
    assert weight.min() < 0.2
    expected = (linear.slope * weight[:, None]).T @ linear.slope
    np.testing.assert_allclose(block.scatter(linear, np.eye(COUNT)), expected, rtol=1e-9, atol=1e-9)
