"""The shadow of a lip on a tooth, by plain geometry; areas."""

from __future__ import annotations

import numpy as np
import pytest

from bite.geometry.render import Grid, Window
from bite.geometry.teeth import SKIN, UPPER
from bite.opinion.relief import AMBIENT, IN_SHADOW, Relief, Surface, far_camera, lamp, relief

FORWARD, UP, RIGHT = np.array([0.0, 0, -1]), np.array([0.0, -1, 0]), np.array([1.0, 0, 0])
AT = np.array([0.0, 0.0, 300.0])


def plate(left: float, right: float, top: float, bottom: float, z: float) -> np.ndarray:
    return np.array([[left, top, z], [right, top, z], [right, bottom, z], [left, bottom, z]])


def mouth(behind_mm: float) -> Surface:
    """A tooth plane at 300 mm, 20 mm tall, and a lip plate before its upper half."""
    points = np.concatenate([plate(-12, 12, -10, 10, 300.0), plate(-14, 14, -14, 0, 300.0 - behind_mm)])
    faces = np.array([[0, 1, 2], [0, 2, 3], [4, 5, 6], [4, 6, 7]], np.int32)
    return Surface(points, faces, np.array([UPPER, UPPER, SKIN, SKIN]))


def seen(surface: Surface, above_deg: float) -> Relief:
    camera = far_camera(AT, FORWARD, UP, half_mm=15.0, side_px=150)
    tilt = np.deg2rad(above_deg)
    return relief(
        Grid.of(camera, Window(0, 0, 150, 150)),
        surface,
        lamp(AT, np.cos(tilt) * FORWARD + np.sin(tilt) * UP, UP),
    )


@pytest.mark.parametrize("behind_mm", [3.0, 5.0])
def test_the_shadow_is_as_long_as_the_lip_stands_before_the_tooth(behind_mm: float) -> None:
    found = seen(mouth(behind_mm), 50.0)
    middle = (found.part == UPPER) & (np.abs(np.nan_to_num(found.points_mm[..., 0], nan=99.0)) < 5)
    dark = found.points_mm[middle & ~found.lit]
    # the lip's lower border is at y = 0; pixels are 0.2 mm, the lamp's 0.3 mm, and 0.6 mm count as touching
    assert dark[:, 1].max() == pytest.approx(behind_mm * np.tan(np.deg2rad(50)), abs=0.6)
    area = found.area_mm2[middle & ~found.lit].sum() / 10.0
    assert area == pytest.approx(behind_mm * np.tan(np.deg2rad(50)), abs=0.7)
    # a plane under one lamp: one brightness in the light, a stated share of it in the shadow
    strength = np.cos(np.deg2rad(50)) * (1 - AMBIENT)
    assert found.shade[middle & found.lit] == pytest.approx(AMBIENT + strength, abs=1e-3)
    assert found.shade[middle & ~found.lit] == pytest.approx(AMBIENT + strength * IN_SHADOW, abs=1e-3)


def test_areas_are_those_of_the_surface() -> None:
    whole = seen(mouth(0.5), 0.0)
    assert whole.area_mm2[whole.part == UPPER].sum() == pytest.approx(24 * 10, rel=0.03)
    assert whole.lit[whole.part == UPPER].all()
