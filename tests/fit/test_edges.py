"""Rims: which pixels they lie between, which surface they belong to, and what their motion does to depth."""

from __future__ import annotations

import numpy as np
import pytest

from bite.fit.edges import Rims, add_rim_motion, find_rims

FLAT = np.zeros((6, 7))


def step(column: int = 0, row: int = 0, near: float = 292.0, far: float = 300.0) -> np.ndarray:
    """A near surface before a far one, up to a column or a row."""
    y, x = np.mgrid[:6, :7]
    before = x < column if column else y < row
    return np.where(before, near, far)


def test_a_rim_belongs_to_the_nearer_surface_whichever_side_it_is_on() -> None:
    for depth, side in ((step(column=3), 2), (step(column=3, near=300.0, far=292.0), 3)):
        rims = find_rims(depth, FLAT, FLAT)
        assert (rims.axis == 0).all() and len(rims.axis) == 6
        assert (rims.first % 7 == 2).all() and (rims.second % 7 == 3).all()
        assert (rims.front % 7 == side).all()
    rims = find_rims(step(row=4), FLAT, FLAT)
    assert (rims.axis == 1).all() and (rims.first // 7 == 3).all() and (rims.front // 7 == 3).all()
    assert rims.jump_mm == pytest.approx(8.0)


def test_what_slanted_surfaces_explain_is_no_step() -> None:
    y, x = np.mgrid[:6, :7]
    slanted = 300.0 + 3.0 * x - 2.0 * y
    assert len(find_rims(slanted, np.full((6, 7), 3.0), np.full((6, 7), -2.0)).first) == 0
    # beside a slant of 3 mm a pixel, a step of 8 mm is one of 5
    rims = find_rims(slanted + np.where(x < 3, 0.0, 5.0), np.full((6, 7), 3.0), np.full((6, 7), -2.0))
    assert rims.jump_mm == pytest.approx(5.0) and len(rims.jump_mm) == 6


@pytest.mark.parametrize(("jump", "count"), [(0.9, 0), (1.1, 6)])
def test_steps_below_a_millimetre_are_no_rims(jump: float, count: int) -> None:
    assert len(find_rims(step(column=3, near=300.0 - jump), FLAT, FLAT).first) == count


def test_beside_nothing_there_is_no_rim() -> None:
    depth = step(column=3)
    depth[:, 3:] = np.nan
    assert len(find_rims(depth, FLAT, FLAT).first) == 0


def moved(rims: Rims, motion_px: tuple[float, float], spread: np.ndarray) -> np.ndarray:
    maps = np.zeros((1, 6, 7))
    add_rim_motion(maps, rims, np.broadcast_to(motion_px, (1, len(rims.first), 2)), spread)
    return maps[0]


@pytest.mark.parametrize("turned", [False, True], ids=["across a row", "down a column"])
def test_a_rim_that_moves_by_a_pixel_changes_as_much_depth_as_it_uncovers(turned: bool) -> None:
    """The step moved by one whole pixel, summed over the map, against what the slope says of it."""
    now, then = (step(column=3), step(column=4)) if not turned else (step(row=3), step(row=4))
    along = (0.4, 1.0) if turned else (1.0, 0.4)  # what moves along the rim itself uncovers nothing
    change = moved(find_rims(now, FLAT, FLAT), along, np.zeros((6, 7)))
    assert change.sum() == pytest.approx((then - now).sum())
    assert change.sum() == pytest.approx(-8.0 * (7 if turned else 6))
    behind = moved(find_rims(now[::-1, ::-1], FLAT, FLAT), along, np.zeros((6, 7)))
    assert behind.sum() == pytest.approx(-change.sum())


def test_the_pixel_that_holds_both_surfaces_takes_the_change() -> None:
    rims = find_rims(step(column=3), FLAT, FLAT)
    even = moved(rims, (1.0, 0.0), np.zeros((6, 7)))
    assert even[:, 2] == pytest.approx(-4.0) and even[:, 3] == pytest.approx(-4.0)
    mixed = np.zeros((6, 7))
    mixed[:, 3] = 16.0  # half of it 8 mm farther
    change = moved(rims, (1.0, 0.0), mixed)
    assert change[:, 3] == pytest.approx(-8.0, rel=2e-3) and abs(change[:, 2]).max() < 0.01
