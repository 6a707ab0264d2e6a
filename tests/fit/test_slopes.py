"""Analytic slopes of every block against central differences, on scenes without edges (facets larger than
the picture)."""

import numpy as np
import pytest

from bite.fit.corner_block import Clicks, CornerBlock, Use
from bite.fit.depth_block import DepthBlock
from bite.fit.head import Head
from bite.fit.noise import assumed_noise
from bite.fit.parameters import COUNT, P
from bite.fit.profile_block import ProfileBlock
from bite.fit.skin_moves import skin_moves
from bite.geometry.camera import Camera
from bite.geometry.render import Grid, Window
from bite.geometry.rigid import Rigid, frozen, rotation_from_vector
from bite.geometry.teeth import OTHER, SKIN, UPPER

LENS = frozen([-0.12, 0.05, 0.001, -0.0007, 0.01])
SIDE = Rigid(frozen(rotation_from_vector(np.array([0.02, 0.2, -0.03]))), frozen([-60.0, 2.0, 5.0]))


def camera(placed: Rigid | None = None) -> Camera:
    return Camera(160, 120, frozen([[300.0, 0, 80.0], [0, 305.0, 61.0], [0, 0, 1]]), LENS, placed or Rigid())


def plane_head(part: int) -> Head:
    """One tilted facet that fills the picture, as skin or as enamel."""
    points = np.array([[-900.0, -700, 260], [900, -700, 300], [0, 1500, 420]])
    unit = np.linalg.qr(np.array([[0.1, -0.2, -0.97], [0.95, 0.1, 0.1], [0.1, -0.9, 0.2]]).T)[0].T
    rng = np.random.default_rng(7)
    corners = {c: rng.normal([0, 0, 300], [9, 3, 2]) for c in ("11d", "21d", "41d", "31d")}
    return Head(
        points,
        np.array([[0, 1, 2]], dtype=np.int32),
        np.array([part], dtype=np.int8),
        np.full(3, part != SKIN),
        *unit,
        np.array([1.0, 2.0, 300.0]),
        corners,
        {"subnasale": np.array([0.0, -20.0, 290.0])},
    )


PLACE = np.array([0.4, -0.3, 0.8, 0.02, -0.03, 0.015, 1.3, -0.6, 0.5, 1.7, 0.2, 0.03, 0.5, 0.01])


def central(function, at, index, step):
    high, low = at.copy(), at.copy()
    high[index] += step
    low[index] -= step
    return (function(high) - function(low)) / (2 * step)


@pytest.mark.slow
@pytest.mark.parametrize("part", [SKIN, UPPER, OTHER])
@pytest.mark.parametrize("placed", [Rigid(), SIDE], ids=["reference", "side"])
def test_depth_slopes(part: int, placed: Rigid) -> None:
    grid = Grid.of(camera(placed), Window(40, 30, 70, 60))
    head = plane_head(part)
    flat, noise = np.full((60, 70), 300.0), assumed_noise(0.4, 1.5)
    block = DepthBlock(head, skin_moves(head, 30.0), grid, flat, noise, 0.0, 1.0)
    seen = block.predict(PLACE)
    assert np.isfinite(seen.depth_mm).all()
    for index in range(COUNT):
        numeric = central(lambda p: block.predict(p).depth_mm, PLACE, index, 1e-4)
        scale = max(np.abs(numeric).max(), 1e-2)
        # central differences at 1e-4 carry about 1e-9 of truncation and 1e-10 / 1e-4 of rounding
        assert np.abs(numeric - seen.slopes[index]).max() < 1e-6 * scale, P(index).name


def test_corner_slopes_in_two_views() -> None:
    head = plane_head(UPPER)
    names = ("11d", "21d", "41d", "31d", "subnasale")
    use = np.array([Use.CORNER, Use.CORNER, Use.BOUND, Use.BOUND, Use.LANDMARK], dtype=np.int8)
    views = tuple(
        Clicks(str(k), camera(place), names, use, np.zeros((5, 2)) - 50.0, np.full(5, 0.5 + k))
        for k, place in enumerate((Rigid(), SIDE))
    )
    block = CornerBlock(head, views)
    linear = block.predict(PLACE)
    assert len(linear.residual) == 2 * (2 * 3 + 2)
    for index in range(COUNT):
        numeric = -central(lambda p: block.predict(p).residual, PLACE, index, 1e-5)
        rows = np.arange(len(numeric))
        bound = [6, 7, 14, 15]
        full = np.setdiff1d(rows, bound)
        scale = max(np.abs(numeric).max(), 1e-2)
        assert np.abs(numeric - linear.slope[:, index])[full].max() < 1e-6 * scale, P(index).name


def test_bound_speaks_only_below_the_click() -> None:
    head = plane_head(UPPER)
    view = camera()
    at = view.project(head.corners["41d"][None])[0]
    up_px = (
        CornerBlock(
            head, (Clicks("a", view, ("41d",), np.array([Use.CORNER], np.int8), at[None], np.ones(1)),)
        )
        .predict(np.zeros(COUNT))
        .slope[:, P.UP_MM]
    )
    up_px = up_px / np.linalg.norm(up_px)
    for shift, active in ((3.0, True), (-3.0, False)):
        # the model's corner lies `shift` pixels below the click
        clicks = Clicks(
            "a", view, ("41d",), np.array([Use.BOUND], np.int8), (at + shift * up_px)[None], np.ones(1)
        )
        linear = CornerBlock(head, (clicks,)).predict(np.zeros(COUNT))
        assert linear.residual[0] == pytest.approx(-3.0 if active else 0.0, abs=1e-9)
        assert np.any(linear.slope != 0) == active


def test_profile_slopes() -> None:
    along = np.linspace(-20, 20, 60)
    solved = 300 + 0.01 * along**2
    solved[np.abs(along) < 4] += 8.0
    solved[5:7] = np.nan
    teeth = np.abs(along) < 4
    block = ProfileBlock(
        along,
        solved + 0.3,
        solved,
        teeth,
        teeth & (along > 0),
        np.full(60, 0.3),
        np.array([-0.98, 0.0, 0.17]),
    )
    seen = block.predict(PLACE)
    inside = np.isfinite(seen.depth_mm)
    for index in range(COUNT):
        numeric = central(lambda p: block.predict(p).depth_mm, PLACE, index, 1e-5)[inside]
        scale = max(np.abs(numeric).max(), 1e-2)
        assert np.abs(numeric - seen.slopes[inside, index]).max() < 1e-6 * scale, P(index).name
