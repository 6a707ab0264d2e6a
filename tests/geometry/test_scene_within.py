"""Rays beside the centres of pixels, against formulas, OpenCV's lens and a search written out ray by ray."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from bite.geometry import nearest_face
from bite.geometry.camera import Camera
from bite.geometry.render import Grid, Scene, Window
from bite.geometry.rigid import frozen

WIDTH, HEIGHT = 48, 40
MATRIX = np.array([[150.0, 0.0, 23.3], [0.0, 152.0, 19.1], [0.0, 0.0, 1.0]])
STRAIGHT = (0.0,) * 5
BARREL = (-0.3, 0.1, 0.002, -0.001, 0.0)
WINDOW = Window(4, 3, 41, 34)
RAYS_PX = np.random.default_rng(8).uniform(-0.5, 0.5, (24, 2))


def grid_of(lens: tuple[float, ...]) -> Grid:
    return Grid.of(Camera(WIDTH, HEIGHT, frozen(MATRIX), frozen(lens)), WINDOW)


def places_px(chosen: np.ndarray) -> np.ndarray:
    """Where in the picture each ray goes through, shape (p, k, 2), px: pixels row by row."""
    rows, columns = np.nonzero(chosen)
    centres = np.column_stack([columns + WINDOW.left, rows + WINDOW.top]).astype(float)
    return centres[:, None] + RAYS_PX


def slopes_by_opencv(pixels: np.ndarray, lens: tuple[float, ...]) -> np.ndarray:
    """Undistort each place by itself; the default criteria of OpenCV are pixels off under strong lenses."""
    ending = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 100, 1e-12)
    flat = np.ascontiguousarray(pixels.reshape(-1, 1, 2))
    if hasattr(cv2, "undistortPointsIter"):
        found = cv2.undistortPointsIter(flat, MATRIX, np.array(lens), None, None, ending)
    else:
        found = cv2.undistortPoints(flat, MATRIX, np.array(lens), criteria=ending)
    return np.asarray(found).reshape(pixels.shape)


def rectangle(low_px: tuple[float, float], high_px: tuple[float, float], z_mm: float) -> np.ndarray:
    """Corners of a rectangle that faces a camera without lens faults, given by its sides in the picture."""
    corners = [low_px, (high_px[0], low_px[1]), high_px, (low_px[0], high_px[1])]
    slopes = (np.array(corners) - MATRIX[:2, 2]) / np.diag(MATRIX)[:2]
    return np.column_stack([slopes, np.ones(4)]) * z_mm


TWO = np.array([[0, 1, 2], [0, 2, 3]])


def met_one_by_one(points: np.ndarray, faces: np.ndarray, rays: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Intersect every ray with every triangle (Moeller and Trumbore 1997, J. Graphics Tools 2(1):21-28)."""
    depth, face = np.full(len(rays), np.inf), np.full(len(rays), -1)
    for number, (a, b, c) in enumerate(points[faces]):
        p = np.cross(rays, c - a)
        scale = p @ (b - a)
        u = p @ -a / scale
        q = np.cross(-a, b - a)
        v = rays @ q / scale
        t = (c - a) @ q / scale
        nearer = (u >= 0) & (v >= 0) & (u + v <= 1) & (t > 0) & (t < depth)
        depth[nearer], face[nearer] = t[nearer], number
    return np.where(face >= 0, depth, np.nan), face


def triangles(rng: np.random.Generator, count: int) -> tuple[np.ndarray, np.ndarray]:
    """Triangles of 0.3 to 10 px all over the picture and about it, through each other, 200 to 400 mm off."""
    centre = rng.uniform([-0.2, -0.17, 1.0], [0.2, 0.17, 1.0], (count, 3)) * rng.uniform(200, 400, (count, 1))
    size = np.geomspace(0.6, 15.0, count)[:, None, None]
    corners = centre[:, None] + size * rng.normal(0.0, 1.0, (count, 3, 3))
    return corners.reshape(-1, 3), np.arange(3 * count).reshape(-1, 3)


def test_a_plane_is_met_where_its_formula_says() -> None:
    grid, chosen = grid_of(STRAIGHT), np.ones((WINDOW.height, WINDOW.width), bool)
    normal = np.array([0.35, -0.5, 1.0])
    corners = np.array([[-900.0, -900], [900, -900], [900, 900], [-900, 900]])
    # cut smaller than the steepest ray of the picture reaches, so that no corner lies behind the camera
    corners *= 0.2
    points = np.column_stack([corners, 300.0 - corners @ normal[:2]])
    found = Scene.of(grid, points, TWO).within(chosen, RAYS_PX)
    slopes = (places_px(chosen) - MATRIX[:2, 2]) / np.diag(MATRIX)[:2]
    assert found.depth_mm.shape == (chosen.sum(), 24)
    # a ray (x, y, 1) t meets n . p = 300 at t = 300 / (n . (x, y, 1))
    np.testing.assert_allclose(found.depth_mm, 300.0 / (slopes @ normal[:2] + 1.0), rtol=0, atol=1e-9)


@pytest.mark.parametrize("lens", [STRAIGHT, BARREL])
def test_rays_bend_through_the_lens_as_opencv_bends_them(lens: tuple[float, ...]) -> None:
    """Two slanted planes tell a ray's two slopes: t = 300 / (0.5 x + 1) and t = 300 / (0.5 y + 1)."""
    grid, chosen = grid_of(lens), np.ones((WINDOW.height, WINDOW.width), bool)
    far = np.array([[-190.0, -190], [190, -190], [190, 190], [-190, 190]])
    slopes = []
    for axis in (0, 1):
        points = np.column_stack([far, 300.0 - 0.5 * far[:, axis]])
        slopes.append((300.0 / Scene.of(grid, points, TWO).within(chosen, RAYS_PX).depth_mm - 1.0) / 0.5)
    off_px = (np.dstack(slopes) - slopes_by_opencv(places_px(chosen), lens)) * np.diag(MATRIX)[:2]
    assert np.isfinite(off_px).all()
    # within a pixel rays are taken as linear: the bend of this lens, 1.8 x a squared slope, times half the
    # square of half a pixel is 2.3e-4 px along a row at its edge, x = 0.15; measured 3.2e-4 px along
    # diagonals, and 8.9e-4 px at a window's rim, where one neighbour only is known
    allowed = np.full(chosen.shape, 1.1e-3)
    allowed[1:-1, 1:-1] = 4e-4
    assert (np.abs(off_px).max((1, 2)) < (1e-9 if lens == STRAIGHT else allowed.ravel())).all()


@pytest.mark.parametrize(
    ("low_px", "high_px"),
    [
        ((18.27, 11.61), (30.83, 24.44)),
        ((20.6, 5.0), (20.7, 30.0)),  # a strip between two columns of centres
        ((5.0, 14.2), (40.0, 14.45)),
        ((22.1, 17.05), (22.45, 17.45)),  # a speck between centres
    ],
)
def test_an_edge_within_a_pixel_takes_just_the_rays_beyond_it(low_px, high_px) -> None:
    grid, chosen = grid_of(STRAIGHT), np.ones((WINDOW.height, WINDOW.width), bool)
    points = np.concatenate([rectangle((-40, -40), (90, 90), 300.0), rectangle(low_px, high_px, 290.0)])
    found = Scene.of(grid, points, np.concatenate([TWO, TWO + 4])).within(chosen, RAYS_PX)
    places = places_px(chosen)
    inside = ((places > low_px) & (places < high_px)).all(2)
    assert (inside.any(1) & ~inside.all(1)).any()
    np.testing.assert_array_equal(found.face >= 2, inside)
    np.testing.assert_allclose(found.depth_mm, np.where(inside, 290.0, 300.0), rtol=0, atol=1e-9)


@pytest.mark.parametrize("lens", [STRAIGHT, BARREL])
def test_random_triangles_are_met_as_one_by_one(lens: tuple[float, ...]) -> None:
    grid, rng = grid_of(lens), np.random.default_rng(3)
    chosen = rng.random((WINDOW.height, WINDOW.width)) < 0.4
    points, faces = triangles(rng, 200)
    found = Scene.of(grid, points, faces).within(chosen, RAYS_PX)
    slopes = slopes_by_opencv(places_px(chosen), lens).reshape(-1, 2)
    rays = np.column_stack([slopes, np.ones(len(slopes))])
    depth, face = met_one_by_one(points, faces, rays)
    same = found.face.ravel() == face
    assert 0.1 < (face < 0).mean() < 0.9 and len(np.unique(face)) > 50
    # a ray that lies off by 3e-4 px (above) meets another face only where an edge runs that close
    assert same.all() if lens == STRAIGHT else same.mean() > 0.998
    met = same & (face >= 0)
    # 3e-4 px are 6e-4 mm on the faces, and as much of depth where they lie at 45 degrees
    off = np.abs(found.depth_mm.ravel()[met] - depth[met])
    assert off.max() < 1e-8 if lens == STRAIGHT else np.quantile(off, 0.9) < 6e-4


def test_small_batches_and_few_pixels_give_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    grid, rng = grid_of(BARREL), np.random.default_rng(4)
    scene = Scene.of(grid, *triangles(rng, 40))
    every = np.ones((WINDOW.height, WINDOW.width), bool)
    few = rng.random(every.shape) < 0.1
    whole = scene.within(every, RAYS_PX)
    np.testing.assert_array_equal(scene.within(few, RAYS_PX).depth_mm, whole.depth_mm[few.ravel()])
    np.testing.assert_array_equal(scene.within(few, RAYS_PX).face, whole.face[few.ravel()])
    monkeypatch.setattr(nearest_face, "_CANDIDATES_AT_ONCE", 301)
    np.testing.assert_array_equal(scene.within(few, RAYS_PX).depth_mm, whole.depth_mm[few.ravel()])
    assert scene.within(np.zeros(every.shape, bool), RAYS_PX).depth_mm.shape == (0, len(RAYS_PX))


def test_the_ray_through_the_centre_is_the_pixels_own() -> None:
    grid, rng = grid_of(BARREL), np.random.default_rng(5)
    scene = Scene.of(grid, *triangles(rng, 40))
    centres, every = scene.at_centres(), np.ones((WINDOW.height, WINDOW.width), bool)
    found = scene.within(every, np.zeros((1, 2)))
    np.testing.assert_array_equal(found.depth_mm[:, 0], centres.depth_mm.ravel())
    np.testing.assert_array_equal(found.face[:, 0], centres.face.ravel())


@pytest.mark.parametrize("size", [1.0, 0.05])
@pytest.mark.parametrize("seed", range(4))
def test_faces_passed_over_are_met_by_no_ray(seed: int, size: float) -> None:
    """Told what the centres meet, the search leaves faces out; asked of all of them, it gives the same."""
    grid, rng = grid_of(BARREL), np.random.default_rng(seed)
    points, faces = triangles(rng, 300)
    # and a wall behind them, so that most rays meet something: small triangles lie between centres
    wall = np.column_stack([rng.uniform(-0.3, 0.3, (90, 2)), np.ones(90)]) * 410.0
    middle = points[faces].mean(1, keepdims=True)
    points = np.concatenate([(middle + size * (points[faces] - middle)).reshape(-1, 3), wall])
    faces = np.concatenate([faces, np.arange(90).reshape(-1, 3) + 900])
    scene = Scene.of(grid, points, faces)
    chosen = rng.random((WINDOW.height, WINDOW.width)) < 0.3
    told, plain = (scene.within(chosen, RAYS_PX, centres) for centres in (scene.at_centres(), None))
    assert (plain.face >= 0).any()
    np.testing.assert_array_equal(told.depth_mm, plain.depth_mm)
    np.testing.assert_array_equal(told.face, plain.face)
