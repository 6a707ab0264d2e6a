"""Clicks as evidence: which of them move with the teeth, which grow with them, and what a bound says."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from bite.fit.corner_block import Clicks, CornerBlock, Use
from bite.fit.parameters import COUNT, P
from tests.fit.test_solver import CORNERS, FRONT, MARKS, TRUTH, clicks, head

NAMES = (*CORNERS, *MARKS)


def placed(parameters: np.ndarray, name: str) -> np.ndarray:
    """Where a corner or landmark is put, in words: grown from its row's middle, shifted, turned, shifted."""
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
    all_directions = np.eye(linear.slope.shape[1])
    np.testing.assert_allclose(block.scatter(linear, all_directions), expected, rtol=1e-9, atol=1e-9)


def test_what_a_corner_is_off_by_moves_its_clicks_in_all_views_and_nothing_else() -> None:
    block = clicks(TRUTH, None)
    here = np.concatenate([TRUTH, np.zeros(len(block.extra_precision))])
    place = COUNT + 2 * block.corners.index("11d")
    here[place : place + 2] = 0.3, -0.2
    model, turn = head(), Rotation.from_rotvec(TRUTH[3:6])
    right_ones = np.concatenate([TRUTH, np.zeros(len(here) - COUNT)])
    np.testing.assert_array_equal(block.predict(right_ones).residual, block.predict(TRUTH).residual)
    for view in block.views:
        pixels, _ = block.seen(view, here)
        for k, name in enumerate(view.names):
            point = placed(TRUTH, name)
            if name == "11d":
                point = point + turn.apply(0.3 * model.right - 0.2 * model.up)
            # to first order: a shift of 0.36 mm leaves less than 0.01 px
            np.testing.assert_allclose(pixels[k], view.camera.project(point[None])[0], rtol=0, atol=0.01)


@pytest.mark.parametrize("said_mm", [None, 0.1])
def test_clicks_in_many_views_do_not_average_away_what_the_corner_is_off_by(said_mm: float | None) -> None:
    """Twenty clicks of one corner of 1 px each: up is then known to 0.2 mm, or as said, and no better."""
    one = one_click(Use.CORNER, np.zeros(2), 1.0)
    block = CornerBlock(one.head, one.views * 20, *([] if said_mm is None else [said_mm]))
    linear = block.predict(np.zeros(COUNT + 2))
    both = linear.slope[:, [P.UP_MM, COUNT + 1]]
    known = both.T @ both + np.diag([0.0, block.extra_precision[1]])
    per_click = float((both[:, 0] ** 2).sum()) / 20
    expected = np.sqrt((said_mm or 0.2) ** 2 + 1.0 / (20 * per_click))
    assert np.sqrt(np.linalg.inv(known)[0, 0]) == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize("shape_mm", [0.2, 0.1])
def test_the_scatter_of_a_click_holds_its_own_and_the_corners(shape_mm: float) -> None:
    block = clicks(TRUTH, None)
    if shape_mm != 0.2:  # what nobody has said is 0.2 mm
        block = replace(block, shape_sd_mm=shape_mm)
    view = block.views[0]
    _, slopes = block.project(view, TRUTH)
    scatter = block.scatter_px(view, slopes)
    for k, (name, use) in enumerate(zip(view.names, view.use, strict=True)):
        if use == Use.LANDMARK:
            assert scatter[k] == view.sigma_px[k]
        else:
            depth_mm = view.camera.camera_from_reference.apply(placed(TRUTH, name)[None])[0, 2]
            expected = np.hypot(view.sigma_px[k], shape_mm * view.camera.matrix[0, 0] / depth_mm)
            # right and up are nearly across the line of sight
            assert scatter[k] == pytest.approx(expected, rel=0.03)
