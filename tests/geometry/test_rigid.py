"""Rotations, rigid motions and point set alignment, against SciPy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from bite.errors import DegenerateGeometryError
from bite.geometry.rigid import Rigid, align, cross_matrix, frozen, left_jacobian, rotation_from_vector

ANGLES = [0.0, 1e-12, 1e-8, 1e-5, 9.9e-3, 1.01e-2, 0.3, 2.0, 3.1, np.pi, 6.0]


def vector(angle: float, seed: int = 0) -> np.ndarray:
    axis = np.random.default_rng(seed).normal(size=3)
    return angle * axis / np.linalg.norm(axis)


@pytest.mark.parametrize("angle", ANGLES)
def test_rotation_like_scipy(angle) -> None:
    expected = Rotation.from_rotvec(vector(angle)).as_matrix()
    np.testing.assert_allclose(rotation_from_vector(vector(angle)), expected, rtol=0, atol=1e-14)


@pytest.mark.parametrize("angle", ANGLES[:-2])
def test_left_jacobian_against_differences(angle) -> None:
    w, found = vector(angle), left_jacobian(vector(angle))
    step = 1e-6
    for axis in range(3):
        move = step * np.eye(3)[axis]
        after, before = Rotation.from_rotvec(w + move), Rotation.from_rotvec(w - move)
        numeric = (after * before.inv()).as_rotvec() / (2 * step)
        np.testing.assert_allclose(found[:, axis], numeric, rtol=0, atol=1e-8)


def test_left_jacobian_is_continuous_where_its_series_takes_over() -> None:
    below, above = left_jacobian(vector(1e-2 - 1e-12)), left_jacobian(vector(1e-2 + 1e-12))
    np.testing.assert_allclose(below, above, rtol=0, atol=1e-11)


def test_cross_matrix() -> None:
    a, b = np.array([1.0, -2.0, 3.0]), np.array([0.5, 4.0, -1.0])
    np.testing.assert_array_equal(cross_matrix(a) @ b, np.cross(a, b))


def test_motions_compose_and_invert() -> None:
    a_from_b = Rigid(frozen(rotation_from_vector(vector(1.0))), frozen([1.0, 2, 3]))
    b_from_c = Rigid(frozen(rotation_from_vector(vector(2.0, 1))), frozen([-4.0, 0, 9]))
    points = np.random.default_rng(2).normal(0, 50, (10, 3))
    np.testing.assert_allclose(
        (a_from_b @ b_from_c).apply(points), a_from_b.apply(b_from_c.apply(points)), atol=1e-12
    )
    np.testing.assert_allclose(a_from_b.inverse().apply(a_from_b.apply(points)), points, atol=1e-12)
    np.testing.assert_allclose(a_from_b.turn(points) + a_from_b.translation_mm, a_from_b.apply(points))
    np.testing.assert_array_equal(Rigid().apply(points), points)


def test_frozen_is_a_copy_that_cannot_be_written() -> None:
    source = np.zeros(3)
    kept = frozen(source)
    source[0] = 1.0
    assert kept[0] == 0.0
    with pytest.raises(ValueError, match="read-only"):
        kept[0] = 2.0


@pytest.mark.parametrize("noise", [0.0, 0.3])
@pytest.mark.parametrize("count", [3, 4, 200])
def test_align_like_scipy(count, noise) -> None:
    rng = np.random.default_rng(count)
    source = rng.normal(0, 20, (count, 3))
    motion = Rigid(frozen(rotation_from_vector(vector(2.5, 3))), frozen([10.0, -40, 300]))
    target = motion.apply(source) + noise * rng.normal(size=(count, 3))
    found = align(source, target)
    expected, rssd = Rotation.align_vectors(target - target.mean(0), source - source.mean(0))
    np.testing.assert_allclose(found.rotation, expected.as_matrix(), rtol=0, atol=1e-9)
    assert found.scale == 1.0
    # SciPy's is a difference of large sums, so compare squares at float noise of those sums
    assert found.rms**2 * count == pytest.approx(rssd**2, rel=1e-9, abs=1e-14 * (source**2).sum())
    np.testing.assert_allclose(target - found.rigid.apply(source), found.residuals, atol=1e-9)
    np.testing.assert_allclose(found.residuals.mean(0), 0, atol=1e-9)


def test_scale_is_found() -> None:
    source = np.random.default_rng(4).normal(0, 20, (12, 3))
    turn = rotation_from_vector(vector(0.7))
    found = align(source, 10.0 * source @ turn.T + [1.0, 2, 3], with_scale=True)
    assert found.scale == pytest.approx(10.0, rel=1e-12)
    np.testing.assert_allclose(found.rotation, turn, atol=1e-12)
    np.testing.assert_allclose(found.translation, [1, 2, 3], atol=1e-9)


def test_a_mirrored_copy_gets_a_rotation_and_a_bad_fit() -> None:
    source = np.random.default_rng(5).normal(0, 20, (12, 3))
    found = align(source, source * [-1.0, 1, 1])
    assert np.linalg.det(found.rotation) == pytest.approx(1.0)
    assert found.rms > 1.0


def test_points_in_a_plane_are_enough_and_on_a_line_are_not() -> None:
    plane = np.array([[0.0, 0, 0], [10, 0, 0], [0, 8, 0], [3, 3, 0]])
    turn = rotation_from_vector(vector(1.2))
    np.testing.assert_allclose(align(plane, plane @ turn.T).rotation, turn, atol=1e-12)
    line = np.outer(np.arange(5.0), [1.0, 2, 3])
    with pytest.raises(DegenerateGeometryError, match="line"):
        align(line, line)
    with pytest.raises(DegenerateGeometryError, match="line"):
        align(np.ones((4, 3)), np.ones((4, 3)))


def test_too_few_or_unpaired_points_are_refused() -> None:
    with pytest.raises(DegenerateGeometryError, match="at least 3"):
        align(np.eye(3)[:2], np.eye(3)[:2])
    with pytest.raises(DegenerateGeometryError, match="paired"):
        align(np.eye(3), np.zeros((4, 3)))
