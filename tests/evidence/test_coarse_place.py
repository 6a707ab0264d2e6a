"""The solved skin laid on a measured one that formulas make: tens of millimetres and degrees come back."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from bite.errors import InputError
from bite.evidence.depth.coarse_place import coarse_place, placed_head, where_a_fit_starts
from bite.fit.head import Head
from bite.geometry.camera import Camera
from bite.geometry.rigid import Rigid, frozen, rotation_from_vector
from bite.geometry.teeth import SKIN

WIDE, HIGH, FOCAL_PX, AWAY_MM = 200, 200, 500.0, 300.0
AXES = (np.array([0.0, 0.0, -1.0]), np.array([1.0, 0.0, 0.0]), np.array([0.0, -1.0, 0.0]))
CENTRE = np.array([0.0, 0.0, AWAY_MM])
STILL = Rigid(frozen(np.eye(3)), frozen(np.zeros(3)))


def surface(x_mm: np.ndarray, y_mm: np.ndarray) -> np.ndarray:
    """Give the depth of a face with a nose, a chin and one cheek more than the other, mm."""
    nose = -15.0 * np.exp(-(x_mm**2 / 80.0 + (y_mm + 20.0) ** 2 / 160.0))
    chin = -7.0 * np.exp(-(x_mm**2 / 180.0 + (y_mm - 24.0) ** 2 / 120.0))
    cheek = -3.0 * np.exp(-((x_mm - 24.0) ** 2 / 150.0 + (y_mm + 6.0) ** 2 / 200.0))
    return AWAY_MM + 0.014 * x_mm**2 + 0.007 * y_mm**2 + nose + chin + cheek


def head() -> Head:
    step = np.arange(-44.0, 44.5, 1.0)
    y, x = np.meshgrid(step, step, indexing="ij")
    points = np.column_stack([x.ravel(), y.ravel(), surface(x, y).ravel()])
    at = np.arange(len(points)).reshape(x.shape)
    corners = [at[:-1, :-1], at[1:, :-1], at[1:, 1:], at[:-1, 1:]]
    a, b, c, d = (corner.ravel() for corner in corners)
    faces = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])]).astype(np.int32)
    part = np.full(len(faces), SKIN, np.int8)
    return Head(points, faces, part, np.zeros(len(points), bool), *AXES, CENTRE, {}, {})


def frame(pose: np.ndarray | None = None) -> SimpleNamespace:
    """Give a frame with the map of the face as it is, and the stated pose."""
    y, x = (np.indices((HIGH, WIDE)) - 99.5) / FOCAL_PX
    depth = np.full((HIGH, WIDE), AWAY_MM)
    for _ in range(80):
        depth = 0.5 * depth + 0.5 * surface(x * depth, y * depth)
    depth += np.random.default_rng(3).normal(0.0, 0.3, depth.shape)
    matrix = frozen([[FOCAL_PX, 0.0, 99.5], [0.0, FOCAL_PX, 99.5], [0.0, 0.0, 1.0]])
    file = SimpleNamespace(path=Path("a.bite.toml"), solved=SimpleNamespace(pose=pose))
    return SimpleNamespace(
        depth_map=SimpleNamespace(depth_mm=depth),
        depth_camera=Camera(WIDE, HIGH, matrix, frozen(np.zeros(5)), STILL),
        file=file,
    )


def motion(turn_deg: tuple[float, float, float], shift_mm: tuple[float, float, float]) -> Rigid:
    turn = rotation_from_vector(np.radians(turn_deg))
    return Rigid(frozen(turn), frozen(CENTRE - turn @ CENTRE + shift_mm))


@pytest.fixture(scope="module")
def shot() -> SimpleNamespace:
    return frame()


@pytest.mark.parametrize(
    ("turn_deg", "shift_mm"),
    [((0, 0, 0), (0, 0, 8)), ((0, 0, 0), (0, 0, -30)), ((3, -10, 2), (2, -3, 5)), ((0, 0, 0), (6, 0, 0))],
)
def test_a_head_that_was_solved_elsewhere_comes_back(
    shot: SimpleNamespace, turn_deg: tuple[float, ...], shift_mm: tuple[float, ...]
) -> None:
    away = motion(turn_deg, shift_mm)  # type: ignore[arg-type]  # a stand-in
    placed = coarse_place(shot, placed_head(head(), away))
    assert placed is not None and placed.far
    assert placed.shift_mm == pytest.approx(np.linalg.norm(shift_mm), abs=0.6)
    assert placed.turn_deg == pytest.approx(np.linalg.norm(turn_deg), abs=0.8)
    assert np.linalg.norm(placed.shift + np.asarray(shift_mm)) < 0.6
    back = placed.motion.apply(placed_head(head(), away).points_mm)
    near = np.linalg.norm(head().points_mm[:, :2], axis=1) < 25.0
    assert np.sqrt(((back - head().points_mm)[near] ** 2).sum(1).mean()) < 0.8


def test_a_head_that_stands_right_is_left_alone(shot: SimpleNamespace) -> None:
    placed = coarse_place(shot, head())
    assert placed is not None and not placed.far and placed.shift_mm < 0.3 and placed.left_mm < 0.5
    solved = SimpleNamespace(head=head(), posed_by_landmarks=False)
    # a stand-in is no dataclass: it would not survive being moved
    assert where_a_fit_starts(shot, solved) == (solved, None)  # type: ignore[arg-type]  # a stand-in


def test_what_cannot_be_placed_gives_nothing(shot: SimpleNamespace) -> None:
    assert coarse_place(SimpleNamespace(depth_map=None, depth_camera=None), head()) is None
    far = placed_head(head(), motion((0, 0, 0), (0, 0, 90)))
    assert coarse_place(shot, far) is None
    empty = frame()
    empty.depth_map.depth_mm[:] = np.nan
    assert coarse_place(empty, head()) is None


def test_a_pose_the_other_way_round_is_named() -> None:
    right = motion((2, 4, -3), (4, -6, 0))
    there = right.inverse()  # the mesh whose right pose lays it on the map
    mesh = placed_head(head(), there)
    wrong = right.inverse()
    stated = np.eye(4)
    stated[:3, :3], stated[:3, 3] = wrong.rotation, wrong.translation_mm
    solved = SimpleNamespace(head=placed_head(mesh, wrong), posed_by_landmarks=False)
    with pytest.raises(InputError, match="the other way round"):
        where_a_fit_starts(frame(stated), solved)  # type: ignore[arg-type]  # a stand-in
