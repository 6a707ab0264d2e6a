"""A mouth of plates, cut: where the edge stands behind the lip, whatever skin lies behind the teeth."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from bite.fit.head import Head
from bite.fit.parameters import COUNT, P
from bite.geometry.camera import Camera
from bite.geometry.render import Grid
from bite.geometry.rigid import Rigid, frozen
from bite.geometry.teeth import SKIN, UPPER
from bite.opinion.cut import mouth_cut

FORWARD, UP, RIGHT = np.array([0.0, 0, -1]), np.array([0.0, -1, 0]), np.array([1.0, 0, 0])
LIP_MM, LIP_ENDS_MM, DEPTH_MM = 6.0, 5.0, 300.0


def plate(low_up: float, high_up: float, forward: float) -> np.ndarray:
    """Give the corners of a plate 40 mm wide, mm up and forward of the incisal edge."""
    z = DEPTH_MM - forward
    return np.array([[-20, -low_up, z], [20, -low_up, z], [20, -high_up, z], [-20, -high_up, z]], float)


def head(*more_skin: np.ndarray) -> Head:
    """Give teeth whose front is at 0 and whose back is 3 mm behind, and a lip that ends above their edge."""
    plates = [plate(0, 12, 0.0), plate(0, 12, -3.0), plate(LIP_ENDS_MM, 18, LIP_MM), *more_skin]
    parts = [UPPER, UPPER, *[SKIN] * (len(plates) - 2)]
    halves = np.array([[0, 1, 2], [0, 2, 3]])
    faces = np.concatenate([4 * k + halves for k in range(len(plates))])
    points = np.concatenate(plates)
    return Head(
        points_mm=points, faces=faces.astype(np.int32), face_part=np.repeat(parts, 2).astype(np.int8),
        with_teeth=np.repeat(np.array(parts) == UPPER, 4), forward=FORWARD, right=RIGHT, up=UP,
        centre_mm=np.array([0.0, 0, DEPTH_MM]), corners={"11d": np.array([-8.5, 0.0, DEPTH_MM])},
        landmarks={},
    )  # fmt: skip


def block(made: Head, measured_mm: float = DEPTH_MM) -> SimpleNamespace:
    matrix = np.array([[150.0, 0, 39.5], [0, 150.0, 29.5], [0, 0, 1]])
    still = Rigid(frozen(np.eye(3)), frozen(np.zeros(3)))
    camera = Camera(80, 60, frozen(matrix), frozen(np.zeros(5)), still)
    grid = Grid.of(camera)
    return SimpleNamespace(
        head=made, grid=grid, measured_mm=np.full((60, 80), measured_mm), mm_per_px=DEPTH_MM / 150.0
    )


def test_the_edge_stands_as_far_behind_the_lip_as_was_built() -> None:
    found = mouth_cut(block(head()), np.zeros(COUNT))
    assert found is not None and found.lip_mm is not None
    assert found.tooth == "11"
    assert found.lip_mm[0] == pytest.approx(LIP_MM, abs=0.02)
    front, back = found.upper_mm[1], found.upper_mm[0]
    seen = np.isfinite(front)
    assert np.abs(front[seen]).max() < 0.02 and back[seen] == pytest.approx(-3.0, abs=0.02)
    # the crown is 12 mm tall, in steps of a tenth
    assert seen.sum() == pytest.approx(120, abs=2)


@pytest.mark.parametrize("forward", [-98.9, -40.0])
def test_a_neck_is_no_lip(forward: float) -> None:
    neck = plate(-30, 30, forward)
    found = mouth_cut(block(head(neck)), np.zeros(COUNT))
    assert found is not None and found.lip_mm is not None
    assert found.lip_mm[0] == pytest.approx(LIP_MM, abs=0.02)
    # without lips there is a neck, and still no lip
    bare = head(neck)
    bare = replace(bare, faces=bare.faces[[0, 1, 2, 3, 6, 7]], face_part=bare.face_part[[0, 1, 2, 3, 6, 7]])
    found = mouth_cut(block(bare), np.zeros(COUNT))
    assert found is not None and found.lip_mm is None


def test_a_palate_behind_the_teeth_is_no_lip() -> None:
    found = mouth_cut(block(head(plate(0.5, 4.5, -8.0))), np.zeros(COUNT))
    assert found is not None and found.lip_mm is not None
    assert found.lip_mm[0] == pytest.approx(LIP_MM, abs=0.02)


def test_what_was_measured_is_told_where_the_fit_put_the_head() -> None:
    made = head()
    found = mouth_cut(block(made, DEPTH_MM - 1.4), np.zeros(COUNT))
    assert found is not None and found.measured_mm[:, 0] == pytest.approx(1.4, abs=0.02)
    assert (np.diff(found.measured_mm[:, 1]) < 0).all()
    # a head that the fit carried 1 mm towards the camera takes 1 mm of it
    moved = np.zeros(COUNT)
    moved[P.HEAD_Z_MM] = -1.0
    found = mouth_cut(block(made, DEPTH_MM - 1.4), moved)
    assert found is not None and found.measured_mm[:, 0] == pytest.approx(0.4, abs=0.02)


def test_a_rig_without_upper_corners_gives_no_cut() -> None:
    assert mouth_cut(block(replace(head(), corners={})), np.zeros(COUNT)) is None
