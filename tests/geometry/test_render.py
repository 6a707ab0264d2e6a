"""The z-buffer against surfaces with a formula."""

from __future__ import annotations

import numpy as np
import pytest

from bite.geometry import nearest_face
from bite.geometry.camera import Camera
from bite.geometry.render import Grid, Window, face_normals, render
from bite.geometry.rigid import frozen

MATRIX = frozen([[300.0, 0.0, 79.5], [0.0, 300.0, 59.5], [0.0, 0.0, 1.0]])
FAR_MM = 1e-7
BARREL = [-0.3, 0.1, 0.002, -0.001, 0.0]


def camera(lens=(0.0,) * 5) -> Camera:
    return Camera(160, 120, MATRIX, frozen(lens))


def plane(normal, offset: float, half: float = 400.0, count: int = 9) -> tuple[np.ndarray, np.ndarray]:
    """Cut the plane normal . x = offset into triangles over a square around the axis."""
    x, y = (g.ravel() for g in np.meshgrid(np.linspace(-half, half, count), np.linspace(-half, half, count)))
    points = np.column_stack([x, y, (offset - normal[0] * x - normal[1] * y) / normal[2]])
    index = np.arange(count * count).reshape(count, count)
    a, b, c, d = (v.ravel() for v in (index[:-1, :-1], index[:-1, 1:], index[1:, 1:], index[1:, :-1]))
    return points, np.vstack([np.column_stack([a, b, c]), np.column_stack([a, c, d])])


def sphere(centre, radius: float, count: int) -> tuple[np.ndarray, np.ndarray]:
    theta, phi = np.linspace(0, np.pi, count), np.linspace(0, 2 * np.pi, 2 * count)
    t, p = np.meshgrid(theta, phi, indexing="ij")
    points = np.column_stack(
        [(np.sin(t) * np.cos(p)).ravel(), (np.sin(t) * np.sin(p)).ravel(), np.cos(t).ravel()]
    )
    index = np.arange(points.shape[0]).reshape(t.shape)
    a, b, c, d = (v.ravel() for v in (index[:-1, :-1], index[:-1, 1:], index[1:, 1:], index[1:, :-1]))
    return radius * points + centre, np.vstack([np.column_stack([a, b, c]), np.column_stack([a, c, d])])


@pytest.mark.parametrize("lens", [(0.0,) * 5, BARREL])
@pytest.mark.parametrize("normal", [(0.0, 0.0, 1.0), (0.4, -0.2, 1.0)])
def test_plane_is_exact(lens, normal) -> None:
    grid = Grid.of(camera(lens))
    points, faces = plane(normal, 300.0)
    found = render(grid, points, faces)
    rays = np.dstack([grid.slopes, np.ones((120, 160))])
    expected = 300.0 / (rays @ np.array(normal))
    assert np.isfinite(found.depth_mm).all()
    np.testing.assert_allclose(found.depth_mm, expected, rtol=0, atol=FAR_MM)
    # and the face that is named holds the point that was hit
    hit = rays * found.depth_mm[..., None]
    low, high = points[faces].min(1)[found.face], points[faces].max(1)[found.face]
    assert ((hit >= low - 1e-6) & (hit <= high + 1e-6)).all()


def test_sphere_to_its_facets() -> None:
    centre, radius, count = np.array([5.0, -4.0, 300.0]), 40.0, 160
    grid = Grid.of(camera(BARREL))
    found = render(grid, *sphere(centre, radius, count))
    rays = np.dstack([grid.slopes, np.ones((120, 160))])
    a, b, c = (rays**2).sum(-1), rays @ centre, centre @ centre - radius**2
    root = b * b - a * c
    expected = (b - np.sqrt(np.maximum(root, 0))) / a
    inner = root > 0.1 * (a * radius**2)  # away from the rim, where facets cut across
    sagitta = radius * (1 - np.cos(np.pi / count))  # how far a facet's middle lies inside the sphere
    assert inner.sum() > 2000
    assert np.isfinite(found.depth_mm[inner]).all()
    error = found.depth_mm[inner] - expected[inner]
    assert error.min() > -1e-9
    assert error.max() < 2 * sagitta / np.sqrt(0.1)
    assert np.isnan(found.depth_mm[root < 0]).all()
    assert ((found.face >= 0) == np.isfinite(found.depth_mm)).all()


@pytest.mark.parametrize("near_first", [True, False])
def test_the_nearer_surface_hides_the_farther_one(near_first) -> None:
    near, far = plane((0, 0, 1.0), 250.0, half=20.0), plane((0, 0, 1.0), 300.0)
    first, second = (near, far) if near_first else (far, near)
    points = np.vstack([first[0], second[0]])
    faces = np.vstack([first[1], second[1] + len(first[0])])
    found = render(Grid.of(camera()), points, faces)
    assert set(np.unique(found.depth_mm).round(6)) == {250.0, 300.0}
    near_number = found.face[60, 80] < len(first[1])
    assert near_number == near_first
    assert found.depth_mm[60, 80] == pytest.approx(250.0)
    # 20 mm at 250 mm under f 300: columns 79.5 -+ 24
    assert (found.depth_mm[60] < 275.0).sum() == 48


def test_no_holes_along_shared_edges() -> None:
    for seed in range(5):
        rng = np.random.default_rng(seed)
        points, faces = plane((0.1, 0.05, 1.0), 300.0, count=30)
        points[:, :2] += rng.normal(0, 4, (len(points), 2))
        points[:, 2] = 300.0 - 0.1 * points[:, 0] - 0.05 * points[:, 1]
        assert np.isfinite(render(Grid.of(camera(BARREL)), points, faces).depth_mm).all()


def test_small_batches_give_the_same_picture(monkeypatch) -> None:
    points, faces = sphere(np.array([0.0, 0.0, 300.0]), 40.0, 40)
    back, more = plane((0.2, 0.0, 1.0), 330.0)
    points, faces = np.vstack([back, points]), np.vstack([more, faces + len(back)])
    whole = render(Grid.of(camera(BARREL)), points, faces)
    for size in (17, 500, 3_000_000):
        monkeypatch.setattr(nearest_face, "_CANDIDATES_AT_ONCE", size)
        parts = render(Grid.of(camera(BARREL)), points, faces)
        np.testing.assert_array_equal(parts.depth_mm, whole.depth_mm)
        # on an edge two faces tie to the last bit, and the last of them is kept whatever the batches
        np.testing.assert_array_equal(parts.face, whole.face)


def test_a_window_is_a_cut_of_the_whole_picture() -> None:
    points, faces = sphere(np.array([3.0, 2.0, 300.0]), 40.0, 50)
    whole = render(Grid.of(camera(BARREL)), points, faces)
    window = Window(50, 30, 61, 47)
    part = render(Grid.of(camera(BARREL), window), points, faces)
    # the ray of a pixel is found anew, to 1e-14 of slope
    np.testing.assert_allclose(part.depth_mm, window.cut(whole.depth_mm), rtol=0, atol=FAR_MM)
    assert part.depth_mm.shape == (47, 61)


def test_surfaces_out_of_the_picture_are_not_drawn() -> None:
    points, faces = sphere(np.array([0.0, 0.0, 300.0]), 20.0, 12)
    grid = Grid.of(camera())
    for shift in ([400.0, 0, 0], [-400.0, 0, 0], [0, 400.0, 0], [0, -400.0, 0], [0, 0, -700.0]):
        found = render(grid, points + shift, faces)
        assert np.isnan(found.depth_mm).all()
        assert (found.face == -1).all()


def test_a_surface_that_reaches_behind_the_camera_loses_only_those_faces() -> None:
    # a wall far off, and a strip of triangles from it to behind the camera
    points, faces = plane((0, 0, 1.0), 300.0)
    points = np.vstack([points, [[0.0, 5.0, -50.0]]])
    faces = np.vstack([faces, [[0, 1, len(points) - 1]]])
    found = render(Grid.of(camera()), points, faces)
    np.testing.assert_allclose(found.depth_mm, 300.0, atol=FAR_MM)


def test_faces_beyond_the_fold_do_not_come_back_into_the_picture() -> None:
    cam = camera([-0.3, 0.0, 0.0, 0.0, 0.0])
    x = 2.0 * cam.fold_slope() * 300.0
    points = np.array([[x, -30.0, 300.0], [x + 50.0, 0.0, 300.0], [x, 30.0, 300.0]])
    lured = cam.pixels_from_slopes(points[:, :2] / 300.0)
    assert (lured[:, 0] < 160).any()  # the bare formula would draw it inside the picture
    assert np.isnan(render(Grid.of(cam), points, np.array([[0, 1, 2]])).depth_mm).all()


def test_both_windings_are_drawn_and_slivers_do_no_harm() -> None:
    points, faces = plane((0, 0, 1.0), 300.0)
    grid = Grid.of(camera())
    expected = render(grid, points, faces).depth_mm
    np.testing.assert_array_equal(render(grid, points, faces[:, ::-1]).depth_mm, expected)
    with_slivers = np.vstack([faces, [[0, 0, 5], [3, 3, 3]]])
    np.testing.assert_array_equal(render(grid, points, with_slivers).depth_mm, expected)


def test_nothing_to_draw() -> None:
    found = render(Grid.of(camera()), np.zeros((0, 3)), np.zeros((0, 3), dtype=int))
    assert np.isnan(found.depth_mm).all()


def test_face_normals() -> None:
    normal = face_normals(np.array([[0.0, 0, 0], [2, 0, 0], [0, 3, 0]]), np.array([[0, 1, 2], [0, 2, 1]]))
    np.testing.assert_array_equal(normal, [[0, 0, 6], [0, 0, -6]])


def test_moving_a_wall_moves_every_pixel_by_the_same_depth() -> None:
    points, faces = plane((0.3, 0.1, 1.0), 300.0)
    grid = Grid.of(camera(BARREL))
    near, far = render(grid, points, faces), render(grid, points + np.array([0, 0, 2.0]), faces)
    rays = np.dstack([grid.slopes, np.ones((120, 160))])
    # a plane n.x = c moved by m along z meets the ray n_z m / (n . ray) farther out
    expected = 2.0 / (rays @ np.array([0.3, 0.1, 1.0]))
    np.testing.assert_allclose(far.depth_mm - near.depth_mm, expected, atol=2 * FAR_MM)


@pytest.mark.parametrize("large_first", [True, False])
def test_of_faces_at_one_depth_the_last_of_the_model_is_named(large_first) -> None:
    """Large faces are asked before small ones, and that decides nothing."""
    large = plane((0, 0, 1.0), 300.0, half=60.0, count=2)
    small = plane((0, 0, 1.0), 300.0, half=20.0, count=30)
    first, second = (large, small) if large_first else (small, large)
    points = np.vstack([first[0], second[0]])
    faces = np.vstack([first[1], second[1] + len(first[0])])
    found = render(Grid.of(camera()), points, faces)
    # 20 mm at 300 mm under f 300: columns 79.5 -+ 20
    inner = found.face[45:75, 65:95]
    assert (inner >= len(first[1])).all()
    assert (found.depth_mm[45:75, 65:95] == found.depth_mm[60, 80]).all()
